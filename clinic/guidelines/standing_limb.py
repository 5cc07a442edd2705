"""One foot with several wounds: what stands of all of them together, the worst of each."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from typing import TypeVar

from clinic.guidelines.combine import LimbAdvice, LimbReferral, without_non_removable
from clinic.guidelines.devices import URGENCIES, most_urgent
from clinic.guidelines.standing_findings import BONE, Bone
from clinic.guidelines.standing_state import InfectionState, LimbState, StandingReferral, UrgentLine, merged

__all__ = ["together", "under"]

Item = TypeVar("Item")


def together(states: Mapping[str, LimbState]) -> LimbState:
    """The states of the wounds of one foot as one: what any of them forbids is forbidden.

    Parameters
    ----------
    states : mapping of str to LimbState
        By the label of the wound; at least one, all of one foot and day, so that they share one blood supply.

    Returns
    -------
    LimbState

    Notes
    -----
    A clean look at one wound says nothing of another: a grade is known only if each is known, unless one of
    them is bad already.
    """
    every = list(states.values())
    if len(every) == 1:
        return every[0]
    named = [
        replace(state.infection, because=f"Ulcer {label}: {state.infection.because}")
        for label, state in states.items()
    ]
    return replace(
        every[0],
        infection=_worst(named),
        non_removable_allowed=all(state.non_removable_allowed for state in every),
        withheld_because=_once(text for state in every for text in state.withheld_because),
        override_barred=_once(text for state in every for text in state.override_barred),
        refer=merged([referral for state in every for referral in state.refer]),
        running_allowed=all(state.running_allowed for state in every),
    )


def under(advice: LimbAdvice, states: Mapping[str, LimbState]) -> LimbAdvice:
    """The advice for a foot under what stands about it: its referrals and contradictions are named, and what
    stays on is withheld where blood or infection do not allow it.

    Parameters
    ----------
    advice : LimbAdvice
    states : mapping of str to LimbState
        As for :func:`together`.

    Returns
    -------
    LimbAdvice
    """
    whole = together(states)
    labels = tuple(label for label, state in states.items() if not state.non_removable_allowed)
    if labels:
        advice = without_non_removable(advice, " ".join(whole.withheld_because), labels)
    return replace(
        advice,
        refer=_refer(advice.refer, whole.refer, tuple(states)),
        contradictions=_once((*advice.contradictions, *whole.contradictions)),
    )


def _refer(
    advised: tuple[LimbReferral, ...], standing: tuple[StandingReferral, ...], labels: tuple[str, ...]
) -> tuple[LimbReferral, ...]:
    """Both, one for each id at its most pressing urgency, most urgent first; a sentence stands once."""
    found = {row.id: row for row in advised}
    for row in standing:
        before = found.get(row.id)
        if before is None:
            found[row.id] = LimbReferral(row.id, row.urgency, row.because, labels)
            continue
        both = row.because if before.because in row.because else f"{row.because} {before.because}"
        found[row.id] = replace(before, urgency=most_urgent(row.urgency, before.urgency), because=both)
    return tuple(sorted(found.values(), key=lambda row: URGENCIES.index(row.urgency)))


def _worst(states: list[InfectionState]) -> InfectionState:
    grade = _worst_grade([state.grade for state in states])
    setting = [state for state in states if state.grade == grade]
    bone = _worst_bone([state.bone for state in states])
    urgent: tuple[UrgentLine, ...] = _once(line for state in states for line in state.urgent)
    refer: tuple[StandingReferral, ...] = _once(line for state in states for line in state.refer)
    return InfectionState(
        grade=grade,
        bone=bone,
        on=_first(state.on for state in setting),
        bone_on=_first(state.bone_on for state in states if state.bone == bone),
        standing=any(state.standing for state in states),
        deep=_any([state.deep for state in states]),
        unwell=_any([state.unwell for state in states]),
        complete=all(state.complete for state in states),
        thrombosis=any(state.thrombosis for state in states),
        charcot=any(state.charcot for state in states),
        urgent=urgent,
        because=" ".join(state.because for state in setting),
        contradictions=_once(text for state in states for text in state.contradictions),
        asks=_once(text for state in states for text in state.asks),
        refer=refer,
    )


def _worst_grade(grades: list[int | None]) -> int | None:
    known = [grade for grade in grades if grade is not None]
    worst = max(known, default=None)
    if worst is not None and worst >= 2:
        return worst
    return worst if len(known) == len(grades) else None


def _worst_bone(bones: list[Bone | None]) -> Bone | None:
    known = [bone for bone in bones if bone is not None]
    worst = max(known, key=BONE.index, default=None)
    if worst not in (None, "no"):
        return worst
    return worst if len(known) == len(bones) else None


def _any(answers: list[bool | None]) -> bool | None:
    return True if True in answers else None if None in answers else False


def _first(days: Iterable[date | None]) -> date | None:
    return min((day for day in days if day is not None), default=None)


def _once(items: Iterable[Item]) -> tuple[Item, ...]:
    return tuple(dict.fromkeys(items))
