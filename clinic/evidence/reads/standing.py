"""The seam of the standing rules: rows of a foot become what stands about it today.

Blood belongs to the foot, infection to each ulcer: a clean look at one ulcer never lifts another. Every page
that speaks of a standing danger reads it from here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from django.utils import timezone

from clinic.capture.reads.infection import infection_finding
from clinic.curves.reads.healing import LesionHealing, healings_of
from clinic.evidence.reads.bone import bone_judgements
from clinic.guidelines.known_dangers import Danger, Owned, dangers, strip, to_raise
from clinic.guidelines.standing import standing
from clinic.guidelines.standing_findings import InfectionFinding, LimbFindings, PerfusionFinding
from clinic.guidelines.standing_limb import together
from clinic.guidelines.standing_state import LimbState
from clinic.models import (
    OPEN_STATES,
    DangerOwner,
    Event,
    EventKind,
    FlagAnswer,
    Lesion,
    Limb,
    LimbFinding,
    Measurement,
    Person,
    RedFlag,
    Tissue,
    VisitState,
)
from clinic.people.reads.perfusion import perfusion_finding, standing_settings

__all__ = ["LimbStanding", "feet_standing", "standing_of", "standing_of_many"]

#: Red flags that say something of the blood supply, by the finding they are.
BLOOD_FLAGS = {"gangrene": "gangrene", "cold_pale_blue_foot": "newly_cold", "new_rest_pain": "rest_pain"}
#: Those that say something of infection.
INFECTION_FLAGS = {"fever_or_unwell": "unwell", "abscess": "deep"}
ON_TRACK = ("on_course", "to_confirm", "healed")


@dataclass(frozen=True)
class LimbStanding:
    """What stands about one foot on a day.

    `lesions` holds the state of each ulcer by its key, open or closed and to be confirmed; `worst` all of
    them as one; a foot without an ulcer has only `worst`. `dangers` come worst first; `strip` is one sentence
    for each, with who has taken it.
    """

    limb: Limb
    day: date
    lesions: Mapping[int, LimbState]
    worst: LimbState
    owned: tuple[Owned, ...]
    by_label: Mapping[str, LimbState]

    @property
    def dangers(self) -> tuple[Danger, ...]:
        return dangers(self.worst)

    @property
    def strip(self) -> tuple[str, ...]:
        return strip(self.worst, self.owned)

    @property
    def contradictions(self) -> tuple[str, ...]:
        return self.worst.contradictions

    @property
    def to_raise(self) -> tuple[Danger, ...]:
        """Dangers that nobody has taken, that are worse than when taken, or past the team's date."""
        return to_raise(self.dangers, self.owned, self.day)

    @property
    def override_barred(self) -> tuple[str, ...]:
        """Findings against which nobody may sign a device that stays on."""
        return self.worst.override_barred


@dataclass
class _Rows:
    """Everything on record about one foot."""

    lesions: list[Lesion] = field(default_factory=list)
    findings: list[LimbFinding] = field(default_factory=list)
    operations: list[date] = field(default_factory=list)
    measured: dict[int, list[Measurement]] = field(default_factory=lambda: defaultdict(list))
    flags: list[tuple[date, RedFlag]] = field(default_factory=list)
    bone: dict[int, tuple[InfectionFinding, ...]] = field(default_factory=dict)
    owners: list[DangerOwner] = field(default_factory=list)

    @property
    def visits(self) -> set[int]:
        """Visits at which an ulcer of this foot was looked at."""
        return {row.visit_id for found in self.measured.values() for row in found}


def standing_of(limb: Limb, day: date) -> LimbStanding:
    """What stands about one foot."""
    return standing_of_many([limb], day)[limb.pk]


def standing_of_many(limbs: Iterable[Limb], day: date) -> dict[int, LimbStanding]:
    """The same for many feet, by key; a fixed number of queries. The limbs come with person and site."""
    wanted = list(limbs)
    rows = _rows_of(wanted, day)
    healings = healings_of(
        [lesion for one in rows.values() for lesion in one.lesions],
        [row for one in rows.values() for found in one.measured.values() for row in found],
    )
    return {limb.pk: _standing(limb, day, rows[limb.pk], healings) for limb in wanted}


def feet_standing(person: Person, day: date) -> dict[int, LimbStanding]:
    """What stands about both feet of a person, by the key of the foot."""
    limbs = list(Limb.objects.filter(person=person).order_by("side"))
    for limb in limbs:
        limb.person = person
    return standing_of_many(limbs, day)


def _owned(rows: Iterable[DangerOwner]) -> tuple[Owned, ...]:
    """Dangers of a foot that a team has taken; the newest row of a danger counts."""
    newest: dict[str, DangerOwner] = {}
    for row in sorted(rows, key=lambda one: (one.taken_on, one.pk)):
        newest[row.danger] = row
    return tuple(Owned(row.danger, row.level, row.team, row.next_on) for row in newest.values())


def _rows_of(limbs: Sequence[Limb], day: date) -> dict[int, _Rows]:
    rows: dict[int, _Rows] = {limb.pk: _Rows() for limb in limbs}
    for lesion in Lesion.objects.filter(limb__in=rows, state__in=OPEN_STATES).order_by("label"):
        rows[lesion.limb_id].lesions.append(lesion)
    found = LimbFinding.objects.filter(limb__in=rows, found_on__lte=day).select_related("created_by")
    for finding in found:
        rows[finding.limb_id].findings.append(finding)
    operations = Event.objects.filter(
        limb__in=rows, kind=EventKind.REVASCULARISATION, happened_on__lte=day
    ).values_list("limb_id", "happened_on")
    for limb_id, on in operations:
        rows[limb_id].operations.append(on)
    measured = (
        Measurement.objects.filter(
            lesion__limb__in=rows,
            lesion__state__in=OPEN_STATES,
            visit__state=VisitState.STANDS,
            visit__visited_on__lte=day,
        )
        .select_related("visit", "created_by", "lesion")
        .order_by("visit__visited_on", "pk")
    )
    for row in measured:
        rows[row.lesion.limb_id].measured[row.lesion_id].append(row)
    for owner in DangerOwner.objects.standing().filter(limb__in=rows, taken_on__lte=day):
        rows[owner.limb_id].owners.append(owner)
    _add_flags(limbs, rows, day)
    judged = bone_judgements([lesion for one in rows.values() for lesion in one.lesions], day)
    for one in rows.values():
        one.bone = {lesion.pk: judged[lesion.pk] for lesion in one.lesions if lesion.pk in judged}
    return rows


def _add_flags(limbs: Sequence[Limb], rows: dict[int, _Rows], day: date) -> None:
    """Red flags that say something of blood or infection, at the feet that were looked at when they were
    raised; at both where none was.
    """
    speaking = [
        flag
        for flag in RedFlag.objects.standing()
        .filter(person__in={limb.person_id for limb in limbs})
        .exclude(answer=FlagAnswer.NOT_A_FLAG)
        .select_related("visit")
        if {*BLOOD_FLAGS, *INFECTION_FLAGS} & _ticked(flag)
    ]
    looked = defaultdict(set)
    pairs = Measurement.objects.filter(visit__in={flag.visit_id for flag in speaking if flag.visit_id})
    for visit_id, limb_id in pairs.values_list("visit_id", "lesion__limb_id").order_by():
        looked[visit_id].add(limb_id)
    for flag in speaking:
        if flag.visit is not None and flag.visit.state != VisitState.STANDS:
            continue
        on = flag.visit.visited_on if flag.visit else timezone.localdate(flag.raised_at)
        feet = looked.get(flag.visit_id) if flag.visit_id else None
        for limb in limbs:
            if on <= day and limb.person_id == flag.person_id and (feet is None or limb.pk in feet):
                rows[limb.pk].flags.append((on, flag))


def _ticked(flag: RedFlag) -> set[str]:
    """What somebody ticked; what the record raised by itself says nothing new."""
    return set() if flag.from_record else set(flag.flags)


def _standing(
    limb: Limb,
    day: date,
    rows: _Rows,
    healings: Mapping[int, LesionHealing],
) -> LimbStanding:
    settings = standing_settings(limb.person.site)
    ours = [healings[lesion.pk] for lesion in rows.lesions if lesion.pk in healings]
    blood = LimbFindings(
        perfusion=tuple(_perfusion(rows, ours)),
        revascularised_on=tuple(rows.operations),
        healing_on_track=bool(ours) and all(one.kind in ON_TRACK for one in ours),
    )
    lesions, labels = {}, {}
    for lesion in rows.lesions:
        infection = tuple(_infection(rows, lesion))
        state = standing(
            LimbFindings(blood.perfusion, infection, blood.revascularised_on, blood.healing_on_track),
            day,
            settings,
        )
        lesions[lesion.pk], labels[lesion.label] = state, state
    worst = together(labels) if labels else standing(blood, day, settings)
    return LimbStanding(limb, day, lesions, worst, _owned(rows.owners), labels)


def _perfusion(rows: _Rows, healings: Sequence[LesionHealing]) -> Iterable[PerfusionFinding]:
    yield from (perfusion_finding(row) for row in rows.findings)
    for on, flag in rows.flags:
        named = {column: True for key, column in BLOOD_FLAGS.items() if key in _ticked(flag)}
        if named:
            yield PerfusionFinding(on, **named)  # type: ignore[arg-type]
    for healing in healings:
        if healing.kind == "worsening" and healing.last is not None:
            yield PerfusionFinding(healing.last.day, worsening=True)
    for measured in rows.measured.values():
        before = ""
        for row in measured:
            if row.tissue == Tissue.NECROTIC and before != Tissue.NECROTIC:
                yield PerfusionFinding(row.visit.visited_on, worsening=True)
            before = row.tissue or before


def _infection(rows: _Rows, lesion: Lesion) -> Iterable[InfectionFinding]:
    measured = rows.measured.get(lesion.pk, [])
    judged = rows.bone.get(lesion.pk, ())
    yield from (_beside(infection_finding(row), judged) for row in measured)
    yield from judged
    seen = {row.visit_id for row in measured}
    for on, flag in rows.flags:
        named = {column: True for key, column in INFECTION_FLAGS.items() if key in _ticked(flag)}
        if named and (flag.visit_id in seen or flag.visit_id not in rows.visits):
            yield InfectionFinding(on, **named)  # type: ignore[arg-type]
    thrombosis = next((f for f in rows.findings if f.dvt_suspected is not None), None)
    if thrombosis is not None and thrombosis.dvt_suspected:
        yield InfectionFinding(thrombosis.found_on, other_cause="thrombosis", by="podiatrist")


def _beside(look: InfectionFinding, judged: Sequence[InfectionFinding]) -> InfectionFinding:
    """A look without the bone its probe did not find, where a podiatrist has judged bone infection possible:
    the picture that was asked for answers that, no probe (design choice, the cautious side).
    """
    last = max((one for one in judged if one.on <= look.on), key=lambda one: one.on, default=None)
    if look.bone == "no" and last is not None and last.bone == "possible":
        return replace(look, bone=None)
    return look
