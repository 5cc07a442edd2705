"""A visit: begun, made, not made, or entered in error."""

from __future__ import annotations

from .chart import Allows, Chart, Meets

__all__ = ["VISIT", "visit_state_of"]

BEGUN, MADE, MISSED, IN_ERROR = "begun", "made", "missed", "in_error"


def visit_state_of(*, in_error: bool, came: bool, unfinished: bool) -> str:
    """The state of a visit.

    Parameters
    ----------
    in_error, came, unfinished : bool
        As the row says.

    Returns
    -------
    str
        A state of the chart.
    """
    if in_error:
        return IN_ERROR
    if not came:
        return MISSED
    return BEGUN if unfinished else MADE


_ERROR = "This visit was marked as entered in error; it is not changed any more."

VISIT = Chart(
    "visit",
    {
        BEGUN: "Begun, not finished",
        MADE: "Made",
        MISSED: "Did not happen",
        IN_ERROR: "Entered in error",
    },
    {
        "finish": Meets(
            "What was left of it is added",
            {
                BEGUN: Allows((MADE,), settles="the begun visit"),
                (MADE, MISSED): "This visit is finished already; correct it where it is wrong.",
                IN_ERROR: _ERROR,
            },
        ),
        "correct": Meets(
            "Its findings are corrected",
            {
                BEGUN: Allows((BEGUN,)),
                MADE: Allows((MADE,)),
                MISSED: "This visit did not happen, so it holds no findings; correct why it did not.",
                IN_ERROR: _ERROR,
            },
        ),
        "correct_missed": Meets(
            "Why it did not happen is corrected",
            {
                MISSED: Allows((MISSED,)),
                (BEGUN, MADE): "This visit took place; correct its findings, or mark it as entered in error.",
                IN_ERROR: _ERROR,
            },
        ),
        "move": Meets(
            "It belongs to another patient",
            {
                (BEGUN, MADE): Allows((BEGUN, MADE), settles="what it left in the wrong record"),
                MISSED: Allows((MISSED,), settles="what it left in the wrong record"),
                IN_ERROR: _ERROR,
            },
        ),
        "take_back": Meets(
            "It is marked as entered in error",
            {
                (BEGUN, MADE, MISSED): Allows((IN_ERROR,), settles="what it left behind"),
                IN_ERROR: _ERROR,
            },
        ),
    },
)
