"""Reading a foot: the last finding of each kind with its day, and what is too old to rely on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import timezone

from clinic.guidelines.due import too_old
from clinic.models import Event, EventKind, InsoleOutline, Limb, LimbFinding, Person, Prescription, Site
from clinic.people.reads.perfusion import artery_disease, stands
from offload.core.shapes.insole import Insole, insole_for, insole_on_ring

__all__ = [
    "PERFUSION",
    "FindingValue",
    "FootFindings",
    "both_limbs",
    "drawn_insole",
    "insole_of_limb",
    "latest_findings",
    "outline_of_limb",
    "running_devices",
]

#: Findings that tell of the blood supply: a good one ages, and a later operation makes it old at once; a bad
#: one stands.
PERFUSION = (
    "dorsalis_pedis",
    "posterior_tibial",
    "ankle_pressure_mmhg",
    "ankle_index",
    "toe_pressure_mmhg",
    "toe_index",
    "tcpo2_mmhg",
    "waveform",
    "newly_lost_pulse",
    "newly_cold",
    "rest_pain",
    "dead_tissue",
    "toe_unmeasurable_because",
)
#: A finding about the skin counts on its own day only.
SAME_DAY = ("fragile_skin",)

_LABELS = {
    "monofilament": "Monofilament",
    "dorsalis_pedis": "Dorsalis pedis pulse",
    "posterior_tibial": "Posterior tibial pulse",
    "ankle_pressure_mmhg": "Ankle pressure",
    "ankle_index": "Ankle index",
    "toe_pressure_mmhg": "Toe pressure",
    "toe_index": "Toe index",
    "tcpo2_mmhg": "TcPO2",
    "waveform": "Doppler waveform, worse artery",
    "newly_lost_pulse": "Pulse felt before, now lost",
    "newly_cold": "Newly cold, pale or blue",
    "rest_pain": "New pain at rest",
    "dead_tissue": "Black or dead tissue",
    "toe_unmeasurable_because": "No toe pressure because",
    "deformity": "Deformity",
    "rigid_deformity": "Rigid, bony deformity",
    "flexible_toe_deformity": "Flexible toe deformity",
    "charcot": "Charcot foot",
    "oedema": "Oedema",
    "fragile_skin": "Fragile skin",
    "calf_girth_mm": "Calf girth",
    "bulky_calf": "Calf too bulky for a prefabricated device",
    "dvt_suspected": "Thrombosis of the leg suspected",
    "ulcer_on_same_leg": "Other wound or graft under a knee-high device",
    "previous_ulcer": "Ulcer on this foot before",
}


@dataclass(frozen=True)
class FindingValue:
    """The newest answer to one question about a foot; of the monofilament, the value is the sites not
    felt.
    """

    name: str
    label: str
    value: Any
    words: str
    found_on: date
    stale: bool


def drawn_insole(limb: Limb, own: InsoleOutline | None = None) -> Insole | None:
    """The insole drawn from a foot's length and breadth, or on its own outline where one is given; none while
    the length is not on record.
    """
    if limb.foot_length_mm is None:
        return None
    breadth = None if limb.foot_breadth_mm is None else float(limb.foot_breadth_mm)
    if own is not None:
        return insole_on_ring(float(limb.foot_length_mm), breadth, own.outline_mm)
    return insole_for(float(limb.foot_length_mm), breadth)


def outline_of_limb(limb: Limb) -> InsoleOutline | None:
    """The outline of the insole in the running device of a foot, or, while none runs, of the insole that was
    outlined without one. An insole of another device is another insole, and so is one that replaced it in the
    same device: an outline taken before the last day on which an insole was replaced is of the old one.
    """
    rows = list(InsoleOutline.objects.standing().filter(limb=limb).order_by("-taken_on", "-pk"))
    if not rows:
        return None
    running = Prescription.objects.filter(limb=limb, stopped_on__isnull=True).values_list("pk", flat=True)
    device = running.first()
    renewals = Event.objects.filter(limb=limb, kind=EventKind.INSOLE_REPLACED).order_by("-happened_on")
    renewed = renewals.values_list("happened_on", flat=True).first()
    own = (row for row in rows if row.prescription_id == device)
    return next((row for row in own if renewed is None or row.taken_on >= renewed), None)


def insole_of_limb(limb: Limb) -> Insole | None:
    """The insole of a foot: its own outline where one is kept for the running device, else drawn from the
    foot's length; none while that is not on record.
    """
    if limb.foot_length_mm is None:
        return None
    return drawn_insole(limb, outline_of_limb(limb))


def both_limbs(person: Person) -> list[Limb]:
    """Left then right, each knowing its person."""
    limbs = list(Limb.objects.filter(person=person).order_by("side"))
    for limb in limbs:
        limb.person = person
    return limbs


def _words(row: LimbFinding, name: str) -> str:
    value = getattr(row, name)
    if isinstance(value, bool):
        return "Yes" if value else "No"
    if name.endswith("_mmhg"):
        return f"{value} mmHg"
    if name.endswith("_mm"):
        return f"{value} mm"
    display = getattr(row, f"get_{name}_display", None)
    return display() if display else str(value)


def _operations(limbs: Sequence[Limb]) -> dict[int, list[date]]:
    """Days of revascularisation, by limb."""
    days: dict[int, list[date]] = defaultdict(list)
    events = Event.objects.filter(limb__in=limbs, kind=EventKind.REVASCULARISATION)
    for limb_id, day in events.values_list("limb_id", "happened_on"):
        days[limb_id].append(day)
    return days


def _bad(row: LimbFinding, name: str, today: date) -> bool:
    """Whether a finding of the blood supply speaks for disease by itself, so that it never ages out."""
    value = getattr(row, name)
    if isinstance(value, bool):
        return value
    alone = LimbFinding(limb=row.limb, found_on=row.found_on, created_by=row.created_by, **{name: value})
    return name in PERFUSION and stands(alone, today)


def _newest(
    rows: Iterable[LimbFinding], site: Site, changed_on: date | None, today: date
) -> list[FindingValue]:
    found: dict[str, FindingValue] = {}
    for row in rows:  # newest first
        if row.monofilament_felt is not None and "monofilament" not in found:
            not_felt = (row.monofilament_tested or 0) - row.monofilament_felt
            words = f"{row.monofilament_felt} of {row.monofilament_tested} sites felt"
            found["monofilament"] = FindingValue(
                "monofilament", _LABELS["monofilament"], not_felt, words, row.found_on, False
            )
        for name in _LABELS:
            value = getattr(row, name, None)
            if name in found or value in (None, ""):
                continue
            aged = too_old(row.found_on, site.perfusion_fresh_days, today)
            aged = aged or (changed_on is not None and changed_on > row.found_on)
            old = name in PERFUSION and aged and not _bad(row, name, today)
            old = old or (name in SAME_DAY and row.found_on != today)
            found[name] = FindingValue(name, _LABELS[name], value, _words(row, name), row.found_on, old)
    return [found[name] for name in _LABELS if name in found]


class FootFindings(list[FindingValue]):
    """The newest answers about one foot; `arteries` is whether any of its findings speaks for their disease,
    by the standing rules, None with none looked at.
    """

    arteries: bool | None = None


def latest_findings(
    limbs: Sequence[Limb], site: Site, today: date | None = None
) -> Mapping[int, FootFindings]:
    """By limb, the newest answer to each question (two queries for any number of limbs and findings)."""
    day = today or timezone.localdate()
    rows: dict[int, list[LimbFinding]] = defaultdict(list)
    found = LimbFinding.objects.filter(limb__in=limbs).select_related("created_by")
    for row in found.order_by("-found_on", "-pk"):
        rows[row.limb_id].append(row)
    operations = _operations(limbs)
    answer = {}
    for limb in limbs:
        done = operations[limb.pk]
        feet = FootFindings(_newest(rows[limb.pk], site, max(done, default=None), day))
        feet.arteries = artery_disease(rows[limb.pk], done, site, day)
        answer[limb.pk] = feet
    return answer


def running_devices(limbs: Sequence[Limb]) -> dict[int, Prescription]:
    """By limb, the device that runs there (never more than one)."""
    rows = Prescription.objects.filter(limb__in=limbs, stopped_on__isnull=True).select_related("limb")
    return {row.limb_id: row for row in rows}
