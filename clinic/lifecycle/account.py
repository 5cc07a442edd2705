"""An account of somebody who works here."""

from __future__ import annotations

from .chart import Allows, Chart, Meets

__all__ = ["ACCOUNT", "account_state_of"]

WAITS, ON, OFF = "waits", "on", "off"


def account_state_of(*, active: bool, signs_in: bool) -> str:
    """The state of an account.

    Parameters
    ----------
    active : bool
        Whether it is switched on.
    signs_in : bool
        Whether it has a password, or the hospital's account behind it.

    Returns
    -------
    str
        A state of the chart.
    """
    if not active:
        return OFF
    return ON if signs_in else WAITS


ACCOUNT = Chart(
    "account",
    {WAITS: "Waits for its link", ON: "On", OFF: "Switched off"},
    {
        "set_password": Meets(
            "The one-time link is used",
            {
                WAITS: Allows((ON,), settles="the link"),
                (ON, OFF): "This link was used or is too old. Ask the clinic's manager for a new one.",
            },
        ),
        "reset": Meets(
            "A manager makes a new one-time link",
            {
                (WAITS, ON): Allows((WAITS,), settles="the older link; every sign-in", opens="the link"),
                OFF: "This account is switched off; switch it on first.",
            },
        ),
        "switch_off": Meets(
            "A manager switches it off",
            {
                (WAITS, ON): Allows((OFF,), settles="every sign-in; the link", opens="work to hand over"),
                OFF: "Nothing was changed.",
            },
        ),
        "switch_on": Meets(
            "A manager switches it on",
            {OFF: Allows((WAITS, ON)), (WAITS, ON): "Nothing was changed."},
        ),
    },
)
