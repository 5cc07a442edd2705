"""A device of a foot, from the signature to the day it is worn no longer."""

from __future__ import annotations

from .chart import Allows, Chart, Meets

__all__ = ["DEVICE", "device_state_of"]

UNSIGNED, CHOSEN, UNCONFIRMED = "unsigned", "chosen", "unconfirmed"
WORN, SEALED, OPENED, STOPPED = "worn", "sealed", "opened", "stopped"


def device_state_of(
    *, stopped: bool, waits_second: bool, waits_confirmation: bool, sealed: bool, opened: bool, fitted: bool
) -> str:
    """The state of a device.

    Parameters
    ----------
    stopped, sealed, opened, fitted : bool
        Whether it has the day of each.
    waits_second : bool
        A second signature is needed and has not been given.
    waits_confirmation : bool
        Signed second by telephone; nothing has come in writing.

    Returns
    -------
    str
        A state of the chart.
    """
    if stopped:
        return STOPPED
    if waits_second:
        return UNSIGNED
    if sealed and not opened:
        return SEALED
    if waits_confirmation:
        return UNCONFIRMED
    if opened:
        return OPENED
    return WORN if fitted else CHOSEN


_SIGNED = "This prescription was signed second already, or needs no second signature."
_OVER = "This device was stopped; there is nothing left to sign."
_SECOND_FIRST = "A second signature is needed first; until then it is not fitted."
_CLOSED = "This device is sealed already, to be opened by {open_by}. Record that it was opened first."
_FITTED = "the day to open it, a next visit not after it"

DEVICE = Chart(
    "device",
    {
        UNSIGNED: "Waits for a second signature",
        UNCONFIRMED: "Signed second by telephone, not confirmed",
        CHOSEN: "Signed, not fitted",
        WORN: "Fitted",
        SEALED: "Sealed on",
        OPENED: "Opened, not sealed again",
        STOPPED: "Stopped",
    },
    {
        "countersign": Meets(
            "A second clinician signs",
            {
                UNSIGNED: Allows((CHOSEN,), settles="the wait for a second signature"),
                (CHOSEN, UNCONFIRMED, WORN, SEALED, OPENED): _SIGNED,
                STOPPED: _OVER,
            },
        ),
        "telephone": Meets(
            "An outside clinician agrees by telephone",
            {
                UNSIGNED: Allows((UNCONFIRMED,), opens="a confirmation in writing"),
                (CHOSEN, UNCONFIRMED, WORN, SEALED, OPENED): _SIGNED,
                STOPPED: _OVER,
            },
        ),
        "confirm": Meets(
            "The outside clinician's confirmation has come",
            {
                UNCONFIRMED: Allows((CHOSEN, WORN, OPENED), settles="the wait for it"),
                (UNSIGNED, CHOSEN, WORN, SEALED, OPENED, STOPPED): "This prescription waits for no "
                "confirmation.",
            },
        ),
        "card": Meets(
            "An opening card is made for its next sealing",
            {
                UNSIGNED: Allows((UNSIGNED,)),
                UNCONFIRMED: Allows((UNCONFIRMED,)),
                CHOSEN: Allows((CHOSEN,)),
                WORN: Allows((WORN,)),
                OPENED: Allows((OPENED,), settles="the older card"),
                SEALED: "This device is sealed, and the card in the patient's hands says when it is opened, "
                "by {open_by}. Record that it was opened first; then make the card of the next sealing.",
                STOPPED: "This device was stopped; it has no card any more.",
            },
        ),
        "fit": Meets(
            "It is fitted, and stays unsealed",
            {
                (CHOSEN, WORN): Allows((WORN,)),
                UNCONFIRMED: Allows((UNCONFIRMED,)),
                OPENED: "A non-removable device is sealed when it is fitted.",
                UNSIGNED: _SECOND_FIRST,
                SEALED: _CLOSED,
                STOPPED: "This device was stopped; it cannot be fitted.",
            },
        ),
        "seal": Meets(
            "It is fitted and sealed on",
            {
                (CHOSEN, WORN, OPENED): Allows((SEALED,), opens=_FITTED),
                UNSIGNED: _SECOND_FIRST,
                UNCONFIRMED: "It was signed against a known danger and is not confirmed yet; until then it "
                "stays unsealed.",
                SEALED: _CLOSED,
                STOPPED: "This device was stopped; it cannot be fitted.",
            },
        ),
        "open": Meets(
            "It was opened",
            {
                SEALED: Allows((OPENED,), settles="the day to open it; the card", opens="the next sealing"),
                (UNSIGNED, UNCONFIRMED, CHOSEN, WORN, OPENED, STOPPED): "This device is not sealed.",
            },
        ),
        "leave": Meets(
            "Its wearer left, or its last ulcer ended: taken off, handed over, or not known",
            {
                (UNSIGNED, UNCONFIRMED, CHOSEN, WORN, SEALED, OPENED): Allows(
                    (STOPPED,), settles="the device; the day to open it"
                ),
                STOPPED: "This device was stopped already.",
            },
        ),
        "keep": Meets(
            "It is worn on though no ulcer of the foot is open",
            {
                UNSIGNED: Allows((UNSIGNED,)),
                UNCONFIRMED: Allows((UNCONFIRMED,)),
                CHOSEN: Allows((CHOSEN,)),
                WORN: Allows((WORN,), settles="its row on Today"),
                OPENED: Allows((OPENED,)),
                SEALED: "Worn on: the device is sealed; open it first, or record who took it off.",
                STOPPED: "This device was stopped already.",
            },
        ),
        "unopen": Meets(
            "It was not opened after all",
            {
                OPENED: Allows((SEALED,), opens="the day to open it again"),
                STOPPED: Allows((STOPPED,)),
                (UNSIGNED, UNCONFIRMED, CHOSEN, WORN, SEALED): "This device is not opened; there is nothing "
                "to take back.",
            },
        ),
        "unseal": Meets(
            "It was not sealed after all",
            {
                SEALED: Allows((UNCONFIRMED, CHOSEN, WORN, OPENED), settles="the day to open it"),
                OPENED: "This device was opened since; take the opening back first.",
                STOPPED: "This device was stopped; its sealing is not taken back any more.",
                (UNSIGNED, UNCONFIRMED, CHOSEN, WORN): "This device is not sealed.",
            },
        ),
        "stop": Meets(
            "It is worn no longer",
            {
                (UNSIGNED, UNCONFIRMED, CHOSEN, WORN, OPENED): Allows((STOPPED,), settles="the device"),
                SEALED: Allows((STOPPED,), settles="the device; the day to open it; the card"),
                STOPPED: "This device was stopped already.",
            },
        ),
    },
)
