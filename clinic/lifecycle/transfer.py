"""A record handed to another clinic."""

from __future__ import annotations

from .chart import Allows, Answer, Chart, Meets

__all__ = ["TRANSFER"]

OPEN, ACCEPTED, DECLINED, WITHDRAWN, UNDONE = "asked", "accepted", "declined", "withdrawn", "undone"
STATES = {
    OPEN: "Waiting for an answer",
    ACCEPTED: "Accepted",
    DECLINED: "Declined",
    WITHDRAWN: "Withdrawn",
    UNDONE: "Accepted, then sent back",
}


def _only(state: str, answer: Allows, words: str) -> dict[str | tuple[str, ...], Answer | str]:
    """One state allows it; the others say what they are."""
    return {
        one: answer if one == state else words.replace("<is>", shown.lower()) for one, shown in STATES.items()
    }


_ALREADY = "This transfer is <is> already; nothing was changed."

TRANSFER = Chart(
    "transfer",
    STATES,
    {
        "accept": Meets(
            "The other clinic takes the patient over",
            _only(
                OPEN, Allows((ACCEPTED,), settles="the question", opens="the patient's work there"), _ALREADY
            ),
        ),
        "decline": Meets(
            "The other clinic declines",
            _only(OPEN, Allows((DECLINED,), settles="the question", opens="an answer to read"), _ALREADY),
        ),
        "withdraw": Meets(
            "The asking clinic takes the question back",
            _only(OPEN, Allows((WITHDRAWN,), settles="the question"), _ALREADY),
        ),
        "see": Meets(
            "The asking clinic has read the answer",
            {
                (OPEN, WITHDRAWN): "There is no answer yet.",
                ACCEPTED: Allows((ACCEPTED,), settles="the answer on Today"),
                DECLINED: Allows((DECLINED,), settles="the answer on Today"),
                UNDONE: Allows((UNDONE,), settles="the answer on Today"),
            },
        ),
        "send_back": Meets(
            "The record is sent back as it came",
            _only(
                ACCEPTED,
                Allows((UNDONE,), settles="the transfer", opens="the patient's work at the first clinic"),
                "This transfer is <is>: there is nothing to send back.",
            ),
        ),
    },
)
