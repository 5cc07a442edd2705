"""A person: in care, gone from it, joined with another record, or kept under a restriction."""

from __future__ import annotations

from .chart import Allows, Answer, Chart, Meets

__all__ = ["PERSON", "person_state_of"]

IN_CARE, MOVED, DIED, LOST = "in_care", "moved", "died", "lost"
MERGED, RESTRICTED = "merged", "restricted"


def person_state_of(state: str, *, restricted: bool) -> str:
    """The state of a person's record.

    Parameters
    ----------
    state : str
        In care, moved, died, lost or merged, as the row says.
    restricted : bool
        Whether a restriction by law stands; it goes before all but a merge.

    Returns
    -------
    str
        A state of the chart.

    Examples
    --------
    >>> person_state_of("in_care", restricted=True)
    'restricted'
    >>> person_state_of("merged", restricted=True)
    'merged'
    """
    return RESTRICTED if restricted and state != MERGED else state


_ELSEWHERE = "This record was merged into No. {number}: write it there. Nothing was saved."
_LAW = (
    "This record is restricted since {since}: it is kept and may be read, nothing is written. "
    "A manager can lift the restriction."
)
_BACK = (
    "If that is wrong, put them back in care first (“Moved, died, lost or back in care” on the patient's "
    "page). "
    "Nothing was saved."
)
_GONE: dict[str | tuple[str, ...], Answer | str] = {
    MOVED: f"{{name}} is no longer in care here (moved away). {_BACK}",
    DIED: f"{{name}} is no longer in care here (died). {_BACK}",
    LOST: f"{{name}} is no longer in care here (lost to follow-up). {_BACK}",
}
_BY_LAW = "The record is restricted by law: nothing is moved until the restriction is lifted."
_NOT_THERE = "The patient is no longer in care at the clinic that asked: nothing was moved."

PERSON = Chart(
    "person",
    {
        IN_CARE: "In care",
        MOVED: "Moved away",
        DIED: "Died",
        LOST: "Lost to follow-up",
        MERGED: "Merged into another record",
        RESTRICTED: "Restricted by law",
    },
    {
        "care": Meets(
            "Something new is done for them: visit, weight, ulcer, device, plan, question, referral",
            {IN_CARE: Allows((IN_CARE,)), **_GONE, MERGED: _ELSEWHERE, RESTRICTED: _LAW},
        ),
        "correct": Meets(
            "What stands is corrected, taken back or ended",
            {
                IN_CARE: Allows((IN_CARE,)),
                MOVED: Allows((MOVED,)),
                DIED: Allows((DIED,)),
                LOST: Allows((LOST,)),
                MERGED: _ELSEWHERE,
                RESTRICTED: _LAW,
            },
        ),
        "leave": Meets(
            "They moved away, died or were lost",
            {
                (IN_CARE, MOVED, DIED, LOST): Allows(
                    (MOVED, DIED, LOST), opens="ulcers, devices, plans, referrals and questions to settle"
                ),
                MERGED: _ELSEWHERE,
                RESTRICTED: _LAW,
            },
        ),
        "return": Meets(
            "They are in care again, or always were",
            {(IN_CARE, MOVED, DIED, LOST): Allows((IN_CARE,)), MERGED: _ELSEWHERE, RESTRICTED: _LAW},
        ),
        "hand_over": Meets(
            "Another clinic is asked to take them over",
            {
                IN_CARE: Allows((IN_CARE,), opens="an answer of the other clinic"),
                (MOVED, DIED, LOST, MERGED): "Only a patient in care is handed over.",
                RESTRICTED: _LAW,
            },
        ),
        "take_over": Meets(
            "The other clinic takes them over",
            {
                IN_CARE: Allows((IN_CARE,), settles="the question to that clinic"),
                (MOVED, DIED, LOST, MERGED): _NOT_THERE,
                RESTRICTED: _BY_LAW,
            },
        ),
        "restrict": Meets(
            "Their record is restricted by law",
            {
                (IN_CARE, MOVED, DIED, LOST): Allows((RESTRICTED,)),
                MERGED: "This record was merged into No. {number}: restrict that one.",
                RESTRICTED: "This record is restricted already.",
            },
        ),
        "lift": Meets(
            "The restriction is lifted",
            {
                RESTRICTED: Allows((IN_CARE, MOVED, DIED, LOST), settles="the restriction"),
                (IN_CARE, MOVED, DIED, LOST, MERGED): "This record is not restricted.",
            },
        ),
        "erase": Meets(
            "Their record is erased by law",
            {
                (IN_CARE, MOVED, DIED, LOST, RESTRICTED): Allows((), settles="everything"),
                MERGED: "This record was merged into No. {number}: erase that one, and both go.",
            },
        ),
    },
)
