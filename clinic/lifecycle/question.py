"""A question to a colleague about an ulcer: asked, answered, read."""

from __future__ import annotations

from .chart import Allows, Chart, Meets

__all__ = ["QUESTION", "question_state_of"]

OPEN, ANSWERED, READ = "open", "answered", "read"


def question_state_of(*, answered: bool, read: bool) -> str:
    """The state of a question.

    Parameters
    ----------
    answered, read : bool
        As the row says.

    Returns
    -------
    str
        A state of the chart.
    """
    if read:
        return READ
    return ANSWERED if answered else OPEN


QUESTION = Chart(
    "question",
    {OPEN: "Awaiting reply", ANSWERED: "Answered, not read", READ: "Read"},
    {
        "again": Meets(
            "Somebody asks about the same ulcer",
            {
                OPEN: "A question about this ulcer was asked already; the question stands on Review.",
                ANSWERED: Allows((ANSWERED,), opens="another question"),
                READ: Allows((READ,), opens="another question"),
            },
        ),
        "answer": Meets(
            "A colleague answers",
            {
                OPEN: Allows((ANSWERED,), settles="its row on Review", opens="the answer on Today"),
                (ANSWERED, READ): "This question was answered already; nothing was changed.",
            },
        ),
        "read": Meets(
            "The answer is read",
            {
                OPEN: "This question has no answer yet.",
                ANSWERED: Allows((READ,), settles="the answer on Today"),
                READ: Allows((READ,)),
            },
        ),
        "unread": Meets(
            "That it was read is taken back",
            {
                (OPEN, ANSWERED): "This answer is not marked as read; there is nothing to take back.",
                READ: Allows((ANSWERED,), opens="the answer on Today"),
            },
        ),
    },
)
