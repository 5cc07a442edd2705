"""A referral: made, reached, accepted, seen, answered, or cancelled."""

from __future__ import annotations

from .chart import Allows, Chart, Meets

__all__ = ["REFERRAL", "referral_state_of"]

MADE, REACHED, ACCEPTED, SEEN, ANSWERED = "made", "reached", "accepted", "seen", "answered"
CANCELLED = "cancelled"


def referral_state_of(*, reached: bool, accepted: bool, seen: bool, result: bool, cancelled: bool) -> str:
    """How far a referral has come.

    Parameters
    ----------
    reached, accepted, seen, result : bool
        Whether each is recorded; a later one stands for those before it.
    cancelled : bool
        Whether it is no longer wanted.

    Returns
    -------
    str
        A state of the chart.
    """
    if cancelled:
        return CANCELLED
    if result:
        return ANSWERED
    if seen:
        return SEEN
    if accepted:
        return ACCEPTED
    return REACHED if reached else MADE


_ALL = (MADE, REACHED, ACCEPTED, SEEN, ANSWERED)

REFERRAL = Chart(
    "referral",
    {
        MADE: "Made, nobody reached",
        REACHED: "Reached",
        ACCEPTED: "Accepted",
        SEEN: "Patient seen there",
        ANSWERED: "Answered",
        CANCELLED: "Cancelled",
    },
    {
        "follow": Meets(
            "How far it has come is recorded, or corrected",
            {
                MADE: Allows(_ALL, settles="its row on Today"),
                **{state: Allows(_ALL) for state in _ALL[1:]},
                CANCELLED: Allows(_ALL, opens="the referral again"),
            },
        ),
        "cancel": Meets(
            "It is no longer wanted",
            {
                (MADE, REACHED): Allows((CANCELLED,), settles="the referral; its row on Today"),
                (
                    ACCEPTED,
                    SEEN,
                ): "Cancelled: they have accepted it or seen the patient; say so as the result.",
                ANSWERED: "Cancelled: its result is in; a referral that was answered is not cancelled.",
                CANCELLED: Allows((CANCELLED,)),
            },
        ),
    },
)
