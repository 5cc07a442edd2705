"""Where an ulcer printed on the insole: the newest print stands, older ones are history."""

from __future__ import annotations

from .chart import Allows, Chart, Meets

__all__ = ["IMPRINT", "imprint_state_of"]

NONE, NEWEST, OLDER = "none", "newest", "older"


def imprint_state_of(*, newer: bool) -> str:
    """The state of an imprint that is on record.

    Parameters
    ----------
    newer : bool
        Whether a later one of the same ulcer is on record.

    Returns
    -------
    str
        A state of the chart.
    """
    return OLDER if newer else NEWEST


IMPRINT = Chart(
    "imprint",
    {NONE: "None on record", NEWEST: "The newest", OLDER: "An older one"},
    {
        "take": Meets(
            "A print of the ulcer is taken",
            {
                NONE: Allows((NEWEST,)),
                NEWEST: Allows((NEWEST, OLDER), opens="if it lies elsewhere: a question over the plan"),
                OLDER: Allows((OLDER,)),
            },
        ),
        "seal": Meets(
            "A device is sealed over a plan for the ulcer",
            {
                NONE: "no imprint of ulcer {label} is on record; take it first",
                NEWEST: Allows((NEWEST,)),
                OLDER: Allows((OLDER,)),
            },
        ),
    },
)
