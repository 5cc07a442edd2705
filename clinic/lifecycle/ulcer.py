"""An ulcer, from first sight to its end."""

from __future__ import annotations

from .chart import Allows, Chart, Meets

__all__ = ["ULCER", "ulcer_state_of"]

OPEN, TO_CONFIRM, HEALED, ENDED = "open", "to_confirm", "healed", "ended"
LEFT, IN_ERROR = "left", "in_error"
#: How a refusal names the states.
_IS = {OPEN: "open", TO_CONFIRM: "closed, to confirm", HEALED: "healed", ENDED: "ended otherwise"}
_IS |= {LEFT: "ended by leaving", IN_ERROR: "registered in error"}


def ulcer_state_of(state: str, *, in_error: bool, left: bool) -> str:
    """The state of an ulcer.

    Parameters
    ----------
    state : str
        Open, to be confirmed, healed or ended, as the row says.
    in_error, left : bool
        Whether it ended as registered in error, or as its person moved, died or was lost.

    Returns
    -------
    str
        A state of the chart.
    """
    if state == ENDED and in_error:
        return IN_ERROR
    return LEFT if state == ENDED and left else state


def _not(words: str, *states: str) -> dict[str | tuple[str, ...], Allows | str]:
    """The same refusal for each state, naming it."""
    return {state: words.replace("<is>", _IS[state]) for state in states}


_CHANGED = "The open ulcers have changed since this page was opened; look again before saving."

ULCER = Chart(
    "ulcer",
    {
        OPEN: "Open",
        TO_CONFIRM: "Closed, to confirm",
        HEALED: "Healed",
        ENDED: "Ended otherwise",
        LEFT: "Ended as its patient left",
        IN_ERROR: "Registered in error",
    },
    {
        "measure": Meets(
            "A visit looks at it",
            {
                OPEN: Allows((OPEN,)),
                TO_CONFIRM: Allows((TO_CONFIRM, OPEN), opens="the ulcer again, where it is found open"),
                (HEALED, ENDED, LEFT, IN_ERROR): _CHANGED,
            },
        ),
        "close": Meets(
            "A visit found it covered and dry",
            {
                OPEN: Allows((TO_CONFIRM,), opens="a second visit that confirms it"),
                **_not(
                    "This ulcer is <is>; only an open one can be closed.",
                    TO_CONFIRM,
                    HEALED,
                    ENDED,
                    LEFT,
                    IN_ERROR,
                ),
            },
        ),
        "confirm": Meets(
            "A later visit found it covered and dry again",
            {
                TO_CONFIRM: Allows(
                    (HEALED,), settles="the ulcer; the episode, if the last", opens="remission"
                ),
                (
                    OPEN,
                    HEALED,
                    ENDED,
                    LEFT,
                    IN_ERROR,
                ): "Only an ulcer found covered and dry before can be confirmed healed.",
            },
        ),
        "reopen": Meets(
            "It is reopened",
            {
                (TO_CONFIRM, HEALED): Allows((OPEN,), settles="the closure", opens="the ulcer again"),
                LEFT: Allows((OPEN,), opens="the ulcer again, where they are back in care"),
                (OPEN, ENDED, IN_ERROR): "Only a closed ulcer can open again.",
            },
        ),
        "end": Meets(
            "It ended otherwise",
            {
                (OPEN, TO_CONFIRM): Allows((ENDED, LEFT), settles="the ulcer; the episode, if the last"),
                (HEALED, ENDED, LEFT, IN_ERROR): "This ulcer has ended already.",
            },
        ),
        "take_in": Meets(
            "Another ulcer of the foot grows into it",
            {
                OPEN: Allows((OPEN,), settles="the other ulcer"),
                (
                    TO_CONFIRM,
                    HEALED,
                    ENDED,
                    LEFT,
                    IN_ERROR,
                ): "Joined: only another open ulcer of the same foot goes on.",
            },
        ),
        "split": Meets(
            "A part of it becomes an ulcer of its own",
            {
                OPEN: Allows((OPEN,), opens="another ulcer"),
                (
                    TO_CONFIRM,
                    HEALED,
                    ENDED,
                    LEFT,
                    IN_ERROR,
                ): "Split off: only from an open ulcer of the same foot.",
            },
        ),
        "recur": Meets(
            "A new ulcer is named as this one come back",
            {
                HEALED: Allows((HEALED,), opens="another ulcer"),
                (
                    OPEN,
                    TO_CONFIRM,
                    ENDED,
                    LEFT,
                    IN_ERROR,
                ): "Only an ulcer that healed at the same place of the same foot can have come back.",
            },
        ),
        "imprint": Meets(
            "Its imprint is taken",
            {
                OPEN: Allows((OPEN,)),
                TO_CONFIRM: Allows((TO_CONFIRM,)),
                **_not(
                    "Ulcer {label} is <is>: an imprint is taken of an open one.",
                    HEALED,
                    ENDED,
                    LEFT,
                    IN_ERROR,
                ),
            },
        ),
        "plan": Meets(
            "A relief plan is drafted for it",
            {
                OPEN: Allows((OPEN,)),
                TO_CONFIRM: Allows((TO_CONFIRM,)),
                **_not("Ulcer {label} is <is>, not open.", HEALED, ENDED, LEFT, IN_ERROR),
            },
        ),
        "ask": Meets(
            "The podiatrist is asked about it",
            {
                OPEN: Allows((OPEN,), opens="a question on Review"),
                TO_CONFIRM: Allows((TO_CONFIRM,), opens="a question on Review"),
                **_not(
                    "This ulcer is <is>; a question is asked about an open one.",
                    HEALED,
                    ENDED,
                    LEFT,
                    IN_ERROR,
                ),
            },
        ),
        "correct": Meets(
            "Its place, kind, cause or days are corrected",
            {
                **{state: Allows((state,)) for state in (OPEN, TO_CONFIRM, HEALED, ENDED, LEFT)},
                IN_ERROR: "This ulcer is registered in error; the right one is corrected instead.",
            },
        ),
        "take_back": Meets(
            "The visit its closing or its confirmation rests on is taken back",
            {
                TO_CONFIRM: Allows((OPEN,), settles="the closure", opens="the ulcer again"),
                HEALED: Allows((OPEN, TO_CONFIRM), settles="the healing", opens="the ulcer again"),
                (OPEN, ENDED, LEFT, IN_ERROR): "Ulcer {label} was not closed on that day.",
            },
        ),
        "in_error": Meets(
            "It was registered in error",
            {
                (OPEN, TO_CONFIRM, HEALED, ENDED, LEFT): Allows(
                    (IN_ERROR,), settles="the ulcer; its plans", opens="the right ulcer, where there is one"
                ),
                IN_ERROR: "It is recorded as registered in error already.",
            },
        ),
    },
)
