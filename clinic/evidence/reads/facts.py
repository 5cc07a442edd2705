"""The record read as facts for the choice of device: each with its date, and missing once it is too old."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Literal

from clinic.evidence.reads.standing import LimbStanding, standing_of
from clinic.guidelines.due import too_old
from clinic.guidelines.facts import Facts
from clinic.guidelines.standing import facts_of
from clinic.guidelines.standing_state import LimbState
from clinic.models import (
    OPEN_STATES,
    Charcot,
    Circumstances,
    Deformity,
    Event,
    EventKind,
    Exudate,
    Lesion,
    LesionState,
    Limb,
    LimbFinding,
    Measurement,
    Oedema,
    Prescription,
    StopReason,
    VisitState,
)

__all__ = [
    "ASKED",
    "PER_LESION",
    "WORDS",
    "FactRow",
    "LesionFacts",
    "facts_of_limb",
    "supposed",
]

#: `stands`: an older bad finding that counts until somebody has looked again.
FactState = Literal["current", "stands", "stale", "missing", "asked", "supposed"]

#: Facts with no home in the record: they are asked on the prescription page itself.
ASKED: dict[str, str] = {
    "needs_frequent_dressing": "Dressing needs changing more often than weekly",
    "device_available": "Device available today",
    "over_weight_limit": "Heavier than the device is made for",
}

WORDS: dict[str, str] = {
    "region": "Region of the foot",
    "surface": "Surface",
    "cause": "Cause",
    "infection_grade": "Infection grade (IWGDF/IDSA)",
    "ischaemia_grade": "Ischaemia grade (WIfI)",
    "ischaemia_settled": "Blood supply settled",
    "flexible_toe_deformity": "Flexible toe deformity",
    "large_deformity": "Large deformity",
    "rigid_deformity": "Rigid deformity",
    "bulky_calf": "Calf too bulky for a prefabricated device",
    "high_falls_risk": "High risk of falling",
    "declines_non_removable": "Declines a non-removable device",
    "cannot_attend_weekly": "Cannot attend every week",
    "both_feet_ulcerated": "Both feet ulcerated",
    "active_charcot": "Active Charcot foot",
    "mobility": "Mobility",
    "heavy_exudate": "Heavy exudate",
    "changing_oedema": "Changing oedema",
    "fragile_skin": "Fragile skin",
    "poor_sight": "Poor sight",
    "drives_or_job_at_risk": "Drives, or a job at risk",
    "previous_device_not_tolerated": "A device before was not tolerated",
    "recent_surgery_weeks": "Weeks since surgery on this foot",
    "dvt_suspected": "Thrombosis of the leg suspected",
    "cavity": "Cavity: deeper than wide, or undermined",
    "ulcer_on_same_leg": "Other wound or graft where a knee-high device lies",
    "nobody_to_notice": "Nobody would notice trouble in time",
    "claustrophobia": "Cannot bear to be closed in",
    "material_allergy": "Reacts to a material of the device",
    "osteomyelitis": "Bone infection",
    "non_surgical_care_failed": "Good care without surgery has failed",
    **ASKED,
}
#: Facts of one lesion; the others belong to the limb or the person.
PER_LESION = (
    "region",
    "surface",
    "cause",
    "infection_grade",
    "osteomyelitis",
    "heavy_exudate",
    "cavity",
    "non_surgical_care_failed",
)
SAME_DAY_ONLY = "exudate and skin count from the same day only"
FINDING_BOOLEANS = (
    "flexible_toe_deformity",
    "rigid_deformity",
    "bulky_calf",
    "fragile_skin",
    "ulcer_on_same_leg",
    "dvt_suspected",
)
CIRCUMSTANCES = (
    "declines_non_removable",
    "cannot_attend_weekly",
    "poor_sight",
    "drives_or_job_at_risk",
    "nobody_to_notice",
    "claustrophobia",
    "material_allergy",
)


#: Measurements that grade the blood supply.
MEASURED = ("toe_pressure_mmhg", "tcpo2_mmhg", "ankle_pressure_mmhg", "ankle_index")
#: Grades that count however old they are.
BAD_FROM = {"infection_grade": 2, "ischaemia_grade": 2}


@dataclass(frozen=True)
class FactRow:
    """One fact as the page and the stored copy show it."""

    name: str
    words: str
    value: Any
    shown: str
    state: FactState
    found_on: date | None = None
    note: str = ""

    def as_copy(self) -> dict[str, Any]:
        """The row as the prescription keeps it."""
        return {
            "name": self.name,
            "words": self.words,
            "value": self.value,
            "shown": self.shown,
            "state": self.state,
            "found_on": self.found_on.isoformat() if self.found_on else None,
            "note": self.note,
        }


@dataclass(frozen=True)
class LesionFacts:
    lesion: Lesion
    facts: Facts
    rows: tuple[FactRow, ...]

    @property
    def own_rows(self) -> tuple[FactRow, ...]:
        """Facts of this lesion alone."""
        return tuple(row for row in self.rows if row.name in PER_LESION)

    @property
    def missing(self) -> tuple[FactRow, ...]:
        return tuple(row for row in self.rows if row.state in ("missing", "stale"))


@dataclass
class _Sheet:
    """Collects the rows of one lesion."""

    rows: dict[str, FactRow] = field(default_factory=dict)

    def put(
        self, name: str, value: Any, on: date | None, *, shown: str = "", note: str = "", asked: bool = False
    ) -> None:
        state: FactState = "missing" if value is None else "asked" if asked else "current"
        self.rows[name] = FactRow(name, WORDS[name], value, shown or _shown(value), state, on, note)

    def stands(
        self, name: str, value: Any, on: date | None, because: str, day: date, bad: bool = False
    ) -> None:
        """A fact of the standing rules, with what set it; bad and older than today, it stands."""
        bad = bad or value is not None and not isinstance(value, bool) and value >= BAD_FROM[name]
        state: FactState = "missing" if value is None else "current"
        if (bad or value is True) and on is not None and on < day:
            state = "stands"
        self.rows[name] = FactRow(name, WORDS[name], value, _shown(value), state, on, because)

    def stale(self, name: str, value: Any, on: date, why: str) -> None:
        shown = "not counted" if value is None else f"{_shown(value)}, not counted"
        self.rows[name] = FactRow(name, WORDS[name], None, shown, "stale", on, why)


def _shown(value: Any) -> str:
    if value is None:
        return "not known"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value).replace("_", " ")


def _standing(
    sheet: _Sheet,
    state: LimbState,
    last: Measurement | None,
    measured_on: date | None,
) -> None:
    """Blood and infection as they stand: a bad finding with its day until it is lifted, a good one while it
    counts.
    """
    blood, infection, day = state.ischaemia, state.infection, state.today
    facts = facts_of(blood, infection)
    sheet.stands("infection_grade", facts.infection_grade, infection.on, infection.because, day)
    if facts.infection_grade is None and last is not None and last.infection_looked:
        sheet.stale("infection_grade", last.infection_grade, last.visit.visited_on, infection.because)
    bone = infection.bone
    note = "" if bone in (None, "no") else f"bone infection {bone}"
    if last is not None and last.probe_to_bone:
        since = ", not judged since" if bone in (None, "possible") else ""
        note = "; ".join(filter(None, [note, f"the probe touched bone at the last visit{since}"]))
    sheet.put("osteomyelitis", facts.osteomyelitis, infection.bone_on, note=note)
    if facts.osteomyelitis and infection.bone_on != day:
        sheet.stands("osteomyelitis", True, infection.bone_on, note, day)
    # A mild grade that ran out is in doubt, not gone.
    mild = facts.ischaemia_grade == 1 and not blood.settled
    sheet.stands("ischaemia_grade", facts.ischaemia_grade, blood.on, blood.because, day, bad=mild)
    doubts = " ".join((*blood.doubts, *blood.contradictions))
    if facts.ischaemia_grade is None and measured_on is not None:
        sheet.stale("ischaemia_grade", None, measured_on, doubts or blood.because)
    stale = sheet.rows["ischaemia_grade"].state == "stale"
    sheet.put("ischaemia_settled", facts.ischaemia_settled, day, note="" if stale else doubts)


def _limb_shape(sheet: _Sheet, findings: list[LimbFinding], day: date) -> None:
    for name in FINDING_BOOLEANS:
        found = next((f for f in findings if getattr(f, name) is not None), None)
        if found is not None and name == "fragile_skin" and found.found_on != day:
            sheet.stale(name, found.fragile_skin, found.found_on, SAME_DAY_ONLY)
        else:
            sheet.put(name, getattr(found, name) if found else None, found.found_on if found else None)
    deformed = next((f for f in findings if f.deformity), None)
    sheet.put(
        "large_deformity",
        None if deformed is None else deformed.deformity == Deformity.LARGE,
        deformed.found_on if deformed else None,
    )
    charcot = next((f for f in findings if f.charcot), None)
    suspected = charcot is not None and charcot.charcot == Charcot.SUSPECTED
    sheet.put(
        "active_charcot",
        None if charcot is None else suspected or charcot.charcot == Charcot.ACTIVE,
        charcot.found_on if charcot else None,
        note="suspected, read as active until assessed" if suspected else "",
    )
    swollen = next((f for f in findings if f.oedema), None)
    sheet.put(
        "changing_oedema",
        None if swollen is None else swollen.oedema == Oedema.CHANGING,
        swollen.found_on if swollen else None,
    )


def _person(sheet: _Sheet, limb: Limb, screens: list[Circumstances], falls: list[date], day: date) -> None:
    site = limb.person.site
    asked = next((s for s in screens if s.high_falls_risk is not None), None)
    if asked is None:
        sheet.put("high_falls_risk", None, None)
    else:
        fallen = [fall for fall in falls if fall > asked.asked_on]
        if too_old(asked.asked_on, site.falls_fresh_days, day):
            why = f"older than {site.falls_fresh_days} days (house rule)"
            sheet.stale("high_falls_risk", asked.high_falls_risk, asked.asked_on, why)
        elif fallen and not asked.high_falls_risk:
            why = f"a fall since, told on {fallen[0]:%-d %b %Y}"
            sheet.stale("high_falls_risk", asked.high_falls_risk, asked.asked_on, why)
        else:
            sheet.put("high_falls_risk", asked.high_falls_risk, asked.asked_on)
    for name in CIRCUMSTANCES:
        answered = next((s for s in screens if getattr(s, name) is not None), None)
        sheet.put(
            name, getattr(answered, name) if answered else None, answered.asked_on if answered else None
        )
    walks = next((s for s in screens if s.mobility), None)
    sheet.put("mobility", walks.mobility if walks else None, walks.asked_on if walks else None)


def _wound(sheet: _Sheet, lesion: Lesion, last: Measurement | None, day: date) -> None:
    site = lesion.foot_site
    sheet.put("region", site.region, lesion.first_seen_on)
    sheet.put("surface", site.surface, lesion.first_seen_on)
    sheet.put("cause", lesion.cause, lesion.first_seen_on)
    on = last.visit.visited_on if last else None
    wet = last.exudate == Exudate.HEAVY if last and last.exudate else None
    if wet is not None and on is not None and on != day:
        sheet.stale("heavy_exudate", wet, on, SAME_DAY_ONLY)
    else:
        sheet.put("heavy_exudate", wet, on if wet is not None else None)


def _causes(sheet: _Sheet, state: LimbState) -> None:
    """Named as another cause of the signs, thrombosis and Charcot joints stand beside their own question."""
    for name, found in (
        ("dvt_suspected", state.infection.thrombosis),
        ("active_charcot", state.infection.charcot),
    ):
        if found and not sheet.rows[name].value:
            sheet.put(name, True, None, note="named as the cause of the signs of infection")


def _history(sheet: _Sheet, before: list[Prescription], events: list[Event], day: date) -> None:
    stopped = [p for p in before if p.stop_reason == StopReason.NOT_TOLERATED]
    sheet.put(
        "previous_device_not_tolerated",
        bool(stopped) if before else None,
        stopped[0].stopped_on if stopped else None,
    )
    operated = next((e.happened_on for e in events if e.kind == EventKind.SURGERY), None)
    weeks = None if operated is None else round((day - operated).days / 7, 1)
    sheet.put("recent_surgery_weeks", weeks, operated)


def supposed(found: LesionFacts, what_if: Mapping[str, Any]) -> LesionFacts:
    """The same facts with some of them tried otherwise; `what_if` by fact, those of one lesion suffixed
    by its key.
    """
    rows = []
    for row in found.rows:
        key = f"{row.name}_{found.lesion.pk}" if row.name in PER_LESION else row.name
        if key in what_if:
            value = what_if[key]
            rows.append(
                FactRow(row.name, row.words, value, _shown(value), "supposed", note=f"record: {row.shown}")
            )
        else:
            rows.append(row)
    values = {row.name: row.value for row in rows if row.state == "supposed"}
    return LesionFacts(found.lesion, replace(found.facts, **values), tuple(rows)) if values else found


def facts_of_limb(
    limb: Limb, day: date, answers: Mapping[str, Any], foot: LimbStanding | None = None
) -> list[LesionFacts]:
    """Facts of every open lesion of a limb on a day.

    `answers` holds what was asked on the page: the keys of ASKED. `foot` is what stands about the limb, where
    it is read already. Whether good care has failed is read by who knows the course of the ulcer; here it is
    missing. The number of queries does not grow with the record.
    """
    foot = foot or standing_of(limb, day)
    lesions = list(limb.lesions.filter(state=LesionState.OPEN).select_related("limb").order_by("label"))
    findings = list(limb.findings.filter(found_on__lte=day))
    events = list(limb.events.filter(happened_on__lte=day).order_by("-happened_on"))
    screens = list(limb.person.circumstances.filter(asked_on__lte=day))
    visits = limb.person.visits.filter(state=VisitState.STANDS)
    falls = list(visits.filter(fall=True).values_list("visited_on", flat=True))
    falls += [e.happened_on for e in events if e.kind == EventKind.FALL]
    before = list(limb.prescriptions.all())
    other = Lesion.objects.filter(limb__person=limb.person_id, state__in=OPEN_STATES).exclude(limb=limb)
    both = other.exists()
    newest: dict[int, Measurement] = {}
    cavities: dict[int, Measurement] = {}
    for row in (
        Measurement.objects.filter(
            lesion__in=lesions, visit__state=VisitState.STANDS, visit__visited_on__lte=day
        )
        .select_related("visit")
        .order_by("visit__visited_on", "pk")
    ):
        newest[row.lesion_id] = row
        if row.cavity is not None:
            cavities[row.lesion_id] = row
    answer = []
    measured_on = next(
        (f.found_on for f in findings if any(getattr(f, m) is not None for m in MEASURED)), None
    )
    for lesion in lesions:
        sheet = _Sheet()
        _wound(sheet, lesion, newest.get(lesion.pk), day)
        last = newest.get(lesion.pk)
        state = foot.lesions[lesion.pk]
        _standing(sheet, state, last, measured_on)
        hollow = cavities.get(lesion.pk)
        sheet.put("cavity", hollow.cavity if hollow else None, hollow.visit.visited_on if hollow else None)
        _limb_shape(sheet, findings, day)
        _person(sheet, limb, screens, falls, day)
        _history(sheet, before, events, day)
        sheet.put("both_feet_ulcerated", both, day)
        _causes(sheet, state)
        sheet.put("non_surgical_care_failed", None, None)
        for name in ASKED:
            given = answers.get(name)
            sheet.put(name, given, day if given is not None else None, asked=True)
        rows = tuple(sheet.rows[name] for name in WORDS if name in sheet.rows)
        facts = Facts(**{row.name: row.value for row in rows})
        answer.append(LesionFacts(lesion, facts, rows))
    return answer
