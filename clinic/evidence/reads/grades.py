"""The grades of a lesion from the record: SINBAD with parts, WIfI with stage, Texas, infection, risk
category.

Each names the finding that is missing. What is shown is what a prescription copies.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Literal

from clinic.evidence.reads.grade_words import OF_THE_BED, named
from clinic.evidence.reads.standing import LimbStanding, standing_of
from clinic.guidelines.grading import (
    SINBAD_CAUTION,
    Grade,
    InfectionFindings,
    Risk,
    Sinbad,
    sinbad,
    texas,
    wifi_infection,
    wifi_stage,
    wifi_wound,
)
from clinic.guidelines.standing import facts_of
from clinic.guidelines.standing_state import LimbState
from clinic.models import TRUE_LESIONS, Depth, Lesion, Limb, Measurement, Pulse, VisitState
from clinic.people.reads.limbs import FindingValue, latest_findings
from clinic.people.reads.risk import foot_risk
from clinic.record.dates import day_words
from clinic.record.glossary import GRADES

__all__ = ["GradeRow", "grades_of", "sinbad_of"]

DEEP = (Depth.TENDON_CAPSULE, Depth.BONE)
TEXAS_DEPTH: dict[str, Literal[1, 2, 3]] = {
    Depth.SKIN: 1,
    Depth.SUBCUTANEOUS: 1,
    Depth.TENDON_CAPSULE: 2,
    Depth.BONE: 3,
}
STAGES = {"1": "very low", "2": "low", "3": "moderate", "4": "high"}
INFECTION_WORDS = {1: "none", 2: "mild", 3: "moderate", 4: "severe"}
RISK_WORDS = {0: "very low", 1: "low", 2: "moderate", 3: "high"}


@dataclass(frozen=True)
class GradeRow:
    """One grade in words, its parts, what is missing, and the day of the newest finding in it."""

    name: str
    words: str
    value: str
    parts: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    note: str = ""
    found_on: date | None = None
    source: str = ""

    def as_copy(self) -> dict[str, Any]:
        """The row as the prescription keeps it."""
        return {
            "name": self.name,
            "words": self.words,
            "value": self.value,
            "parts": list(self.parts),
            "missing": list(self.missing),
            "note": self.note,
            "found_on": self.found_on.isoformat() if self.found_on else None,
            "source": self.source,
        }


@dataclass(frozen=True)
class _Look:
    """What the record holds of one lesion that any grade reads."""

    lesion: Lesion
    last: Measurement | None
    area: Measurement | None
    setting: Measurement | None
    found: Mapping[str, FindingValue]
    state: LimbState
    gangrene: Literal["none", "digits", "extensive"] | None
    risk: Risk
    #: The day it was last found covered, while it is: its bed is not asked about.
    covered_on: date | None = None

    @property
    def bone(self) -> bool | None:
        """Infected bone as it stands; possible is not known."""
        return facts_of(self.state.ischaemia, self.state.infection).osteomyelitis

    @property
    def infection(self) -> int | None:
        """The grade that stands, raised by bone infection."""
        return self.state.infection.grade

    @property
    def ischaemia(self) -> int | None:
        return self.state.ischaemia.grade

    @property
    def looked_on(self) -> date | None:
        return self.last.visit.visited_on if self.last else None


def _open(grade: Grade) -> str:
    return grade.value if grade.value is not None else f"{grade.possible[0]} to {grade.possible[-1]}"


def _perfusion_missing(look: _Look) -> dict[str, str]:
    """Where a measurement no longer counts, the reason stands instead of the name."""
    doubts = look.state.ischaemia.doubts
    if look.ischaemia is not None or not doubts:
        return {}
    old = f"perfusion ({doubts[0].rstrip('.')})"
    return {"ischaemia": old, "ischaemic": old}


def _findings(look: _Look) -> InfectionFindings:
    """The findings of the look that set the infection that stands, for the schemes that grade it their own
    way.
    """
    m = look.setting
    if m is None or not m.infection_looked:
        return InfectionFindings(osteomyelitis=look.bone)
    signs = m.infection_signs
    reach = None if m.redness_mm is None else m.redness_mm / 10
    return InfectionFindings(
        swelling="swelling" in signs,
        tenderness="tenderness" in signs,
        warmth="warmth" in signs,
        pus="pus" in signs,
        erythema_cm=reach if "redness" in signs else 0.0,
        deep=look.state.infection.deep,
        # Bone that nobody judged does not hold the soft-tissue grade open; the (O) mark is named as missing
        # instead.
        osteomyelitis=bool(look.bone),
        other_cause=False,
        # Unwell that nobody measured is no count of signs.
        systemic=True if look.infection == 4 else False if m.unwell is False else None,
    )


def _infected(look: _Look) -> bool:
    """Whether an infection of the soft tissue or a suspicion of the bone stands."""
    state = look.state.infection
    return bool((state.grade or 0) > 1 or state.bone not in (None, "no") or state.unwell or state.deep)


def _infection(look: _Look) -> GradeRow:
    infection = look.state.infection
    bone = infection.bone
    mark = "(O)" if bone in ("probable", "proven") else ""
    missing: list[str] = []
    if infection.grade is None:
        value = "not graded"
        missing.append("infection looked at")
    else:
        value = f"{infection.grade}{mark}, {INFECTION_WORDS[infection.grade]}"
    if infection.unwell is None:
        missing.append("fever or unwell or not")
    if infection.deep is None:
        missing.append("deeper than the skin or not")
    if bone in (None, "possible"):
        missing.append("bone infection, the (O) mark")
    if look.covered_on is not None and not _infected(look):
        # The visit asks nothing about a covered bed; an infection that stands is followed until lifted.
        missing = []
        if infection.grade is None:
            value = f"not graded: covered {day_words(look.covered_on)}"
    return GradeRow(
        "infection",
        GRADES["infection"].words,
        value,
        missing=tuple(missing),
        note=infection.because,
        found_on=infection.on,
        source="Senneville 2024, Diabetes Metab Res Rev 40(3):e3687 (criteria read in secondary pages)",
    )


def sinbad_of(
    lesion: Lesion,
    *,
    pulses: Sequence[str],
    ischaemia: int | None,
    not_felt: int | None,
    infection: int | None,
    area_cm2: float | None,
    depth: str,
) -> Sinbad:
    """SINBAD from what was found: pulses as answered, grades of ischaemia and infection, monofilament
    sites not felt.
    """
    flow = False if Pulse.PRESENT in pulses else True if len(pulses) == 2 or ischaemia in (1, 2, 3) else None
    return sinbad(
        mid_or_hindfoot=lesion.foot_site.sinbad_site,
        flow_reduced=flow,
        sensation_lost=None if not_felt is None else not_felt > 0,
        infected=None if infection is None else infection >= 2,
        area_cm2=area_cm2,
        muscle_or_deeper=depth in DEEP if depth else None,
    )


def _sinbad(look: _Look) -> GradeRow:
    found = look.found
    score = sinbad_of(
        look.lesion,
        pulses=[found[name].value for name in ("dorsalis_pedis", "posterior_tibial") if name in found],
        ischaemia=look.ischaemia,
        not_felt=found["monofilament"].value if "monofilament" in found else None,
        infection=look.infection,
        area_cm2=None if look.area is None else look.area.area_cm2,
        depth=look.last.depth if look.last else "",
    )
    value = str(score.total) if score.total is not None else f"{score.at_least} to {score.at_most}"
    severe = ", severe from 3 on" if score.severe else ""
    return GradeRow(
        "sinbad",
        GRADES["sinbad"].words,
        f"{value} of 6{severe}",
        parts=tuple(
            f"{name.replace('_', ' ').capitalize()} {'not known' if v is None else v}"
            for name, v in score.parts
        ),
        missing=named(score.missing, {"ischaemia": "foot pulses"}),
        note=SINBAD_CAUTION,
        found_on=look.looked_on,
        source="Ince 2008, Diabetes Care 31(5):964-967 (items from secondary pages and memory)",
    )


def _wifi(look: _Look) -> GradeRow:
    depth = look.last.depth if look.last else ""
    wound = wifi_wound(
        ulcer=True,
        reaches=None if not depth else "bone_joint_or_tendon" if depth in DEEP else "skin",
        heel=look.lesion.foot_site.region == "rearfoot",
        extensive=None,
        gangrene=look.gangrene,
    )
    foot = wifi_infection(_findings(look))
    w = int(wound.value) if wound.value is not None else None
    stage = wifi_stage(w, look.ischaemia, foot.grade)
    infection = "-".join(map(str, foot.possible))
    shown_i = "not known" if look.ischaemia is None else str(look.ischaemia)
    missing = [*wound.missing, *(n for n in stage.missing if n == "ischaemia")]
    if foot.grade is None:
        missing += foot.missing if look.last and look.last.infection_looked else ["infection"]
    value = f"stage {_open(stage)}" + (f", {STAGES[stage.value]} amputation risk" if stage.value else "")
    return GradeRow(
        "wifi",
        GRADES["wifi"].words,
        value,
        parts=(f"Wound {_open(wound)}", f"Ischaemia {shown_i}", f"Foot infection {infection}"),
        missing=named(missing, _perfusion_missing(look)),
        found_on=look.looked_on,
        source="Mills 2014, J Vasc Surg 59(1):220-234 (stage cells from memory)",
    )


def _texas(look: _Look) -> GradeRow:
    depth = look.last.depth if look.last else ""
    infected = None if look.infection is None else look.infection >= 2
    grade = texas(
        depth=TEXAS_DEPTH.get(depth),
        infected=infected,
        ischaemic=None if look.ischaemia is None else look.ischaemia > 0,
    )
    value = grade.value or (
        " or ".join(grade.possible) if len(grade.possible) <= 4 else "open, findings missing"
    )
    return GradeRow(
        "texas",
        GRADES["texas"].words,
        value,
        missing=named(grade.missing, _perfusion_missing(look)),
        note="Ischaemic from WIfI ischaemia grade 1 on (design choice).",
        found_on=look.looked_on,
        source="Armstrong 1998, Diabetes Care 21:855-859",
    )


def _risk(look: _Look) -> GradeRow:
    risk = look.risk
    if risk.category is not None:
        value = f"category {risk.category}, {RISK_WORDS[risk.category]}"
    else:
        value = f"category {risk.possible[0]} to {risk.possible[-1]}"
    parts: tuple[str, ...] = ()
    if risk.interval_months:
        low, high = risk.interval_months
        span = f"{low}" if low == high else f"{low} to {high}"
        parts = (f"Once healed: seen every {span} months",)
    newest = max((f.found_on for f in look.found.values()), default=None)
    return GradeRow(
        "risk",
        GRADES["risk"].words,
        value,
        parts=parts,
        missing=named(risk.missing),
        found_on=newest,
        source="IWGDF prevention guideline 2023, as reproduced in World J Diabetes 2022;13:27",
    )


def _newest(lesions: Sequence[Lesion], day: date) -> dict[int, list[Measurement]]:
    """By lesion, its measurements so far, oldest first."""
    rows: dict[int, list[Measurement]] = {}
    for row in (
        Measurement.objects.filter(
            lesion__in=lesions, visit__state=VisitState.STANDS, visit__visited_on__lte=day
        )
        .select_related("visit")
        .order_by("visit__visited_on", "pk")
    ):
        rows.setdefault(row.lesion_id, []).append(row)
    return rows


def _gangrene(
    lesion: Lesion, state: LimbState, looked: bool
) -> Literal["none", "digits", "extensive"] | None:
    """Dead tissue that stands; its reach is read by the lesion's place. The visit's red-flag questions ask
    for it.
    """
    if state.ischaemia.gangrene_on is not None:
        return "digits" if lesion.foot_site.region in ("hallux", "lesser_toe") else "extensive"
    return "none" if looked else None


def grades_of(
    limb: Limb, lesions: Sequence[Lesion], day: date, foot: LimbStanding | None = None
) -> dict[int, tuple[GradeRow, ...]]:
    """Grades of some lesions of one limb on a day, by lesion key; the number of queries does not grow with
    the record.

    `foot` is what stands about the limb, where it is read already.
    """
    if not lesions:
        return {}
    person = limb.person
    newest = _newest(lesions, day)
    foot = foot or standing_of(limb, day)
    found = latest_findings([limb], person.site, day)[limb.pk]
    everyone = list(Lesion.objects.filter(TRUE_LESIONS, limb__person=person).select_related("limb"))
    risk = foot_risk(limb, found, everyone, person)
    answer: dict[int, tuple[GradeRow, ...]] = {}
    for lesion in lesions:
        rows = newest.get(lesion.pk, [])
        state = foot.lesions.get(lesion.pk, foot.worst)
        last = rows[-1] if rows else None
        look = _Look(
            lesion=lesion,
            last=last,
            area=next((row for row in reversed(rows) if row.area_mm2 is not None), None),
            setting=next((row for row in rows if row.visit.visited_on == state.infection.on), last),
            found={value.name: value for value in found},
            state=state,
            gangrene=_gangrene(lesion, state, last is not None),
            risk=risk,
            covered_on=_covered_on(last),
        )
        rows_of: tuple[GradeRow, ...] = (_sinbad(look), _wifi(look), _texas(look))
        if look.covered_on is not None:
            rows_of = tuple(_of_a_covered(row, look.covered_on) for row in rows_of)
        answer[lesion.pk] = (_infection(look), *rows_of, _risk(look))
    return answer


def _covered_on(last: Measurement | None) -> date | None:
    if last is not None and (last.covered_dry or last.area_mm2 == 0):
        return last.visit.visited_on
    return None


def _of_a_covered(row: GradeRow, day: date) -> GradeRow:
    """A grade of an open wound, of one that is covered: nothing is asked about its bed, so nothing of it is
    missing; what the foot misses is.
    """
    missing = tuple(words for words in row.missing if words not in OF_THE_BED)
    return replace(row, value=f"not graded: covered {day_words(day)}", parts=(), missing=missing, note="")
