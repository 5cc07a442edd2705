"""The card a person leaves with when a device is sealed on."""

from __future__ import annotations

from .chart import Allows, Chart, Meets

__all__ = ["OPENING_CARD", "card_state_of"]

NONE, MADE, GIVEN, VOID = "none", "made", "given", "void"


def card_state_of(*, handed: bool, void: bool) -> str:
    """The state of a card that was made.

    Parameters
    ----------
    handed : bool
        Whether the person holds it.
    void : bool
        Whether a newer card, an opening or the device's end took its place.

    Returns
    -------
    str
        A state of the chart.
    """
    if void:
        return VOID
    return GIVEN if handed else MADE


_NEEDED = "Nobody leaves sealed without it"

OPENING_CARD = Chart(
    "opening card",
    {NONE: "Not made", MADE: "Made, not given", GIVEN: "In the patient's hands", VOID: "Void"},
    {
        "hand_over": Meets(
            "It is given to the patient",
            {
                NONE: f"Opening card: not made yet. {_NEEDED}: make it, print it, then give it.",
                MADE: Allows((GIVEN,), settles="the older cards"),
                GIVEN: "This card was given to the patient already.",
                VOID: "This card is void: {because}. Give the newest card.",
            },
        ),
        "seal": Meets(
            "The device is sealed with it",
            {
                NONE: f"Opening card: not made for this day yet. {_NEEDED}; make it first (“Opening card” on "
                "the device's page), print it and give it.",
                MADE: f"Opening card: made, and not given to the patient yet. {_NEEDED}; print it, give it "
                "and record that first.",
                GIVEN: Allows((GIVEN,)),
                VOID: "Opening card: the newest one is void: {because}. Make a new one and give it.",
            },
        ),
    },
)
