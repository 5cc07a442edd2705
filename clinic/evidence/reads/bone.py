"""What podiatrists judged of the bone under each ulcer, and what of it stands on a day."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import QuerySet

from clinic.guidelines.standing_findings import InfectionFinding, LimbFindings, StandingSettings
from clinic.guidelines.standing_infection import infection_state
from clinic.models import BONE_INFECTED, BoneJudgement, Lesion, Measurement, Role, VisitState
from clinic.record.dates import day_words

__all__ = ["BoneStanding", "bone_judgements", "bone_standing", "probed_since"]


def bone_judgements(lesions: Iterable[Lesion | int], day: date) -> dict[int, tuple[InfectionFinding, ...]]:
    """By lesion, its bone judgements up to a day as findings of infection, oldest first (one query).

    A judgement entered in error tells nothing. Each finding holds the day, the bone, whether a podiatrist
    signed the end of treatment, and by whom; all else in it is not looked at.
    """
    found: dict[int, list[InfectionFinding]] = {}
    for row in _rows(lesions, day).select_related("created_by"):
        found.setdefault(row.lesion_id, []).append(
            InfectionFinding(
                on=row.judged_on,
                bone=row.state,
                bone_treated=True if row.treated else None,
                by="podiatrist" if row.created_by.role == Role.PODIATRIST else "staff",
            )
        )
    return {lesion: tuple(findings) for lesion, findings in found.items()}


def _rows(lesions: Iterable[Lesion | int], day: date) -> QuerySet[Any, Any]:
    keys = [one if isinstance(one, int) else one.pk for one in lesions]
    rows = BoneJudgement.objects.filter(lesion__in=keys, judged_on__lte=day, in_error_because="")
    return rows.order_by("judged_on", "pk")


@dataclass(frozen=True)
class BoneStanding:
    """The bone of one ulcer as it stands on a day, with its newest judgement."""

    newest: BoneJudgement | None
    infected: bool | None
    words: str
    note: str
    probed_on: date | None

    @property
    def found_on(self) -> date | None:
        return self.newest.judged_on if self.newest else None

    @property
    def probe_unanswered(self) -> bool:
        """Whether bone was felt at a visit that no judgement has looked at since."""
        return self.probed_on is not None and (self.newest is None or self.newest.judged_on < self.probed_on)


def bone_standing(
    lesions: Sequence[Lesion], day: date, settings: StandingSettings | None = None
) -> dict[int, BoneStanding]:
    """By lesion, what is known of its bone: probable and proven stand until treated, a "no" counts for the
    days of a clean look, possible is not known (three queries).
    """
    findings, probed = bone_judgements(lesions, day), probed_since(lesions, day)
    newest = {row.lesion_id: row for row in _rows(lesions, day)}
    standing = {}
    for lesion in lesions:
        own = newest.get(lesion.pk)
        state = infection_state(
            LimbFindings(infection=findings.get(lesion.pk, ())), day, settings or StandingSettings()
        ).bone
        infected = True if state in BONE_INFECTED else False if state == "no" else None
        standing[lesion.pk] = BoneStanding(
            own, infected, _words(own, state), _note(own, state, day), probed.get(lesion.pk)
        )
    return standing


def _words(own: BoneJudgement | None, state: str | None) -> str:
    if own is None:
        return "not judged"
    return str(state or f"{own.state}, not counted")


def _note(own: BoneJudgement | None, state: str | None, day: date) -> str:
    if own is None:
        return ""
    if state is None:
        return f"judged {day_words(own.judged_on)}; a “no” counts for the days of a clean look"
    if own.treated:
        return f"{own.get_treated_display().lower()}, signed {day_words(own.judged_on)}"
    return f"judged {day_words(own.judged_on)}"


def probed_since(lesions: Iterable[Lesion | int], day: date) -> dict[int, date]:
    """By lesion, the last visit at which bone was felt with the probe (one query)."""
    keys = [one if isinstance(one, int) else one.pk for one in lesions]
    rows = Measurement.objects.filter(
        lesion__in=keys,
        probe_to_bone=True,
        visit__state=VisitState.STANDS,
        visit__visited_on__lte=day,
    ).order_by("visit__visited_on")
    return dict(rows.values_list("lesion_id", "visit__visited_on"))
