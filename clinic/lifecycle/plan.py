"""A relief plan; its stages are the relief program's own, so they are read from there."""

from __future__ import annotations

from offload.core.plan.stages import EVENTS, STAGES

from .chart import Allows, Answer, Chart, Meets

__all__ = ["ASIDE", "PLAN"]

ASIDE = "aside"
_SET_ASIDE = "Relief plan {code} was set aside on {day}: {because}. Draw a new one."

#: What each event brings to an end or leaves to be done.
_SETTLES = {"sign": "the draft; the plan it replaces", "check": "the wait for a check", "replace": "the plan"}
_OPENS = {
    "sign": "the cut; watch points",
    "cut": "the fitting",
    "fit": "a contact check",
    "check": "with contact: a question over the plan; not readable: the check again",
}


def _answers(event: str) -> dict[str | tuple[str, ...], Answer | str]:
    return {
        stage: answer
        if isinstance(answer, str)
        else Allows(answer, _SETTLES.get(event, ""), _OPENS.get(event, ""))
        for stage, answer in EVENTS[event][1].items()
    }


def _with_aside(event: str) -> dict[str | tuple[str, ...], Answer | str]:
    """The clinic sets plans aside; the relief program does not know of that."""
    if event == "replace":
        return {**_answers(event), ASIDE: Allows((ASIDE,))}
    if event == "measure":
        return {**_answers(event), ASIDE: Allows((ASIDE,))}
    if event == "undo":
        return {**_answers(event), ASIDE: Allows((ASIDE,))}
    return {**_answers(event), ASIDE: _SET_ASIDE}


_IN_USE = tuple(stage for stage in STAGES if stage != "replaced")

PLAN = Chart(
    "plan",
    {**STAGES, ASIDE: "Set aside"},
    {event: Meets(words, _with_aside(event)) for event, (words, _) in EVENTS.items()}
    | {
        "set_aside": Meets(
            "The foot is no longer treated by it",
            {
                _IN_USE: Allows((ASIDE,), settles="the plan; the questions over it"),
                "replaced": "Relief plan {code} was replaced already.",
                ASIDE: _SET_ASIDE,
            },
        )
    },
)
