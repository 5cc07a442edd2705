"""Why is it not healing? The causes of one ulcer with the dated facts the record has, and what it does not
know.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from clinic.alerts.reads.results import ResultRow, results_of
from clinic.evidence.reads.bone_standing import bone_standing
from clinic.evidence.reads.standing import LimbStanding, standing_of
from clinic.guidelines.results import RESULT_KINDS
from clinic.guidelines.surgery import ADJUNCTS
from clinic.lesions.reads.operations import surgery_of
from clinic.models import (
    OPEN_STATES,
    AntibioticCourse,
    Event,
    EventKind,
    Lesion,
    Limb,
    LimbPlan,
    Measurement,
    NonHealingTopic,
    Prescription,
    Referral,
    ReferralTo,
    Visit,
    VisitState,
)
from clinic.people.reads.limbs import PERFUSION, FindingValue, latest_findings
from clinic.record.dates import day_words
from offload.models import ReliefPlan

__all__ = ["CauseSheet", "PossibleCause", "cause_sheet"]

VISITS_SHOWN = 4
#: A void as thin as this under an ulcer is named as closed: the plan no longer relieves it. [mm]
VOID_GONE_MM = 0.5


@dataclass(frozen=True)
class PossibleCause:
    """One cause to look at, with what the record knows of it."""

    topic: NonHealingTopic
    facts: tuple[str, ...]

    @property
    def label(self) -> str:
        return str(self.topic.label)


@dataclass(frozen=True)
class CauseSheet:
    lesion: Lesion
    causes: tuple[PossibleCause, ...]


def _on(words: str, day: date) -> str:
    return f"{words}, {day_words(day)}"


def _known(facts: Iterable[str], missing: str) -> tuple[str, ...]:
    found = tuple(facts)
    return found or (f"{missing}: not known",)


def cause_sheet(lesion: Lesion, today: date) -> CauseSheet:
    """The causes of one ulcer (a fixed number of queries)."""
    limb = lesion.limb
    findings = latest_findings([limb], limb.person.site, today)[limb.pk]
    events = list(Event.objects.filter(limb=limb).order_by("-happened_on", "-pk"))
    rows = list(
        Measurement.objects.filter(lesion=lesion, visit__state=VisitState.STANDS)
        .select_related("visit")
        .order_by("-visit__visited_on", "-pk")[:VISITS_SHOWN]
    )
    visits = list(
        Visit.objects.filter(person=limb.person_id, state=VisitState.STANDS).order_by("-visited_on", "-pk")[
            :VISITS_SHOWN
        ]
    )
    tests = results_of(today, person=limb.person_id, withdrawn_on=None)
    foot = standing_of(limb, today)
    blood, infection = foot.worst.ischaemia, foot.lesions.get(lesion.pk, foot.worst).infection
    facts = {
        NonHealingTopic.PERFUSION: (blood.because, *blood.doubts, *_perfusion(findings, events, tests)),
        NonHealingTopic.INFECTION: (infection.because, *_infection(lesion, rows, events, tests, foot)),
        NonHealingTopic.OFFLOADING: (*_device(lesion, events, today), *_wear(visits)),
        NonHealingTopic.DEBRIDEMENT: _debridement(rows, events),
        NonHealingTopic.GLYCAEMIA: _tested(tests, "hba1c"),
        NonHealingTopic.SMOKING: ("Smoking: not known, this record does not hold it; ask",),
        NonHealingTopic.NUTRITION: _nutrition(rows, visits, findings, tests),
        NonHealingTopic.KIDNEY: _kidney(lesion, tests),
        NonHealingTopic.ACTIVITY: _activity(lesion),
        NonHealingTopic.OTHER_FOOT: _other_foot(lesion),
        NonHealingTopic.SURGERY: _surgery(lesion, events, today),
    }
    return CauseSheet(lesion, tuple(PossibleCause(topic, facts[topic]) for topic in NonHealingTopic))


def _of(events: Sequence[Event], *kinds: str) -> list[str]:
    return [
        _on(f"{e.get_kind_display()}{f': {e.note}' if e.note else ''}", e.happened_on)
        for e in events
        if e.kind in kinds
    ][:3]


def _tested(tests: Sequence[ResultRow], *kinds: str) -> tuple[str, ...]:
    """The newest test of each kind; a kind that was never asked for is not known."""
    facts = []
    for kind in kinds:
        own = [row for row in tests if row.result.kind == kind]
        newest = max(own, key=lambda row: (row.result.requested_on, row.result.pk), default=None)
        if newest is not None:
            facts.append(f"{newest.result.label}: {newest.sentence}")
        else:
            facts.append(f"{RESULT_KINDS[kind].label}: not known")
    return tuple(facts)


def _perfusion(
    findings: Sequence[FindingValue], events: Sequence[Event], tests: Sequence[ResultRow]
) -> tuple[str, ...]:
    facts = [
        f"{_on(f'{one.label} {one.words}', one.found_on)}{' (too old to rely on)' if one.stale else ''}"
        for one in findings
        if one.name in PERFUSION
    ]
    if not any(one.name in ("toe_pressure_mmhg", "tcpo2_mmhg") for one in findings):
        facts.append("Toe pressure and TcPO2: not known")
    duplex = [row for row in tests if row.result.kind == "duplex"]
    facts += [f"{row.result.label}: {row.sentence}" for row in duplex[:1]]
    return (*facts, *_of(events, EventKind.REVASCULARISATION))


def _infection(
    lesion: Lesion,
    rows: Sequence[Measurement],
    events: Sequence[Event],
    tests: Sequence[ResultRow],
    foot: LimbStanding,
) -> tuple[str, ...]:
    facts = []
    looked = next((row for row in rows if row.infection_looked), None)
    if looked is None:
        facts.append("Infection: not looked at in the last visits")
    else:
        facts.append(_on("Infection looked at", looked.visit.visited_on))
    probed = next((row for row in rows if row.probe_to_bone is not None), None)
    if probed is None:
        facts.append("Probe to bone: not known")
    else:
        facts.append(
            _on(f"Probe to bone: {'yes' if probed.probe_to_bone else 'no'}", probed.visit.visited_on)
        )
    bone = bone_standing(lesion, foot)
    facts.append(f"Bone infection: {bone.words}{f' ({bone.note})' if bone.note else ''}")
    own = [row for row in tests if row.result.kind in ("xray", "crp", "esr", "mri", "culture", "biopsy")]
    facts += [f"{row.result.label}: {row.sentence}" for row in own[:4]]
    for course in AntibioticCourse.objects.filter(lesion=lesion)[:2]:
        end = f"stopped {day_words(course.stopped_on)}" if course.stopped_on else "running"
        facts.append(f"Antibiotic {course.drug} from {day_words(course.started_on)}, {end}")
    return (*facts, *_of(events, EventKind.SAMPLE, EventKind.IMAGING, EventKind.ANTIBIOTIC))


def _device(lesion: Lesion, events: Sequence[Event], today: date) -> tuple[str, ...]:
    facts = []
    running = Prescription.objects.filter(limb=lesion.limb_id, stopped_on=None)
    device = running.select_related("relief_plan").first()
    if device is None:
        facts.append("Device: none is running")
    elif device.fitted_on is None:
        facts.append(f"{device}: prescribed {day_words(device.prescribed_on)}, not fitted yet")
    else:
        facts.append(_on(f"{device}, fitted", device.fitted_on))
    facts += _of(events, EventKind.DEVICE_BROKEN)
    insole = device is not None and device.takes_insole
    if not insole and not lesion.foot_site.insole_plan:
        return tuple(facts)
    if device is not None and not insole:
        # A cast has no insole: neither a relief plan's void nor the age of a foam says anything in it.
        facts.append("No insole in this device: look at the padding")
        return tuple(facts)
    return (*facts, *_plan(lesion, device), *(_foam(device, events, today) if device is not None else ()))


def _plan(lesion: Lesion, device: Prescription | None) -> list[str]:
    """The plan in the running device, else the newest that nothing has replaced."""
    plan = device.relief_plan if device is not None else None
    if plan is None:
        links = LimbPlan.objects.filter(lesions=lesion, ended_on=None).exclude(plan__state="superseded")
        newest = links.select_related("plan").order_by("-pk").first()
        plan = newest.plan if newest else None
    if plan is None:
        facts = ["Relief plan and contact check: not known, there is no plan"]
    else:
        made = timezone.localdate(plan.created_at)
        facts = [_on(f"Relief plan v{plan.number}, {plan.get_state_display().lower()}", made), *_voids(plan)]
    imprint = lesion.imprints.order_by("-taken_on", "-pk").first()
    facts.append(_on("Imprint", imprint.taken_on) if imprint else "Imprint of the ulcer: not known")
    return facts


def _foam(device: Prescription, events: Sequence[Event], today: date) -> tuple[str, ...]:
    replaced = next((e.happened_on for e in events if e.kind == EventKind.INSOLE_REPLACED), None)
    since = replaced or device.fitted_on
    return (f"Foam: {(today - since).days // 7} weeks in use" if since else "Age of the foam: not known",)


def _voids(plan: ReliefPlan) -> list[str]:
    pressed = (plan.result.get("pressure") or {}).get("lesions") or []
    facts = []
    for one in pressed:
        void = one.get("clearance_mm")
        if isinstance(void, int | float):
            closed = ": the space is closed, the ulcer is not relieved" if void < VOID_GONE_MM else ""
            facts.append(f"Space left under {one['label']} in the plan: {void:g} mm (estimate){closed}")
    return facts


def _wear(visits: Sequence[Visit]) -> tuple[str, ...]:
    facts = [
        _on(f"{one.get_wear_display()}{f': {one.why_not_worn}' if one.why_not_worn else ''}", one.visited_on)
        for one in visits
        if one.wear
    ]
    intact = next((one for one in visits if one.device_condition), None)
    state = (
        _on(f"Device {intact.get_device_condition_display().lower()}", intact.visited_on)
        if intact
        else "Condition of the device: not known"
    )
    missed = [_on(one.get_attendance_display(), one.visited_on) for one in visits if one.attendance != "came"]
    return (*_known(facts, "Wear"), state, *missed)


def _debridement(rows: Sequence[Measurement], events: Sequence[Event]) -> tuple[str, ...]:
    after = next((row for row in rows if row.debridement == "after"), None)
    facts = _of(events, EventKind.DEBRIDED)
    if after is not None:
        facts.append(_on("Measured after debridement", after.visit.visited_on))
    return _known(facts, "Debridement")


def _nutrition(
    rows: Sequence[Measurement],
    visits: Sequence[Visit],
    findings: Sequence[FindingValue],
    tests: Sequence[ResultRow],
) -> tuple[str, ...]:
    oedema = next((one for one in findings if one.name == "oedema"), None)
    exudate = next((row for row in rows if row.exudate), None)
    # Visits kept one line for all ulcers before each had its own.
    dressed = [(row.visit.visited_on, row.dressing) for row in rows if row.dressing]
    dressed += [(one.visited_on, one.dressing) for one in visits if one.dressing]
    dressing = max(dressed, default=None)
    return (
        *_tested(tests, "albumin"),
        _on(f"Oedema: {oedema.words.lower()}", oedema.found_on) if oedema else "Oedema: not known",
        _on(f"Exudate: {exudate.get_exudate_display().lower()}", exudate.visit.visited_on)
        if exudate
        else "Exudate: not known",
        _on(f"Dressing: {dressing[1]}", dressing[0]) if dressing else "Dressing: not known",
    )


def _kidney(lesion: Lesion, tests: Sequence[ResultRow]) -> tuple[str, ...]:
    dialysis = lesion.limb.person.dialysis
    spoken = {True: "yes", False: "no", None: "not known"}[dialysis]
    return (f"Dialysis: {spoken}", *_tested(tests, "kidney"))


def _activity(lesion: Lesion) -> tuple[str, ...]:
    screen = lesion.limb.person.circumstances.exclude(mobility="").first()
    if screen is None:
        return ("Mobility: not known",)
    return (_on(f"Mobility: {screen.get_mobility_display().lower()}", screen.asked_on),)


def _other_foot(lesion: Lesion) -> tuple[str, ...]:
    limb = lesion.limb
    other = Limb.objects.filter(person=limb.person_id).exclude(pk=limb.pk)
    ulcers = Lesion.objects.filter(limb__in=other, state__in=OPEN_STATES).select_related("limb")
    facts = [f"Ulcer {one.label}, {one.where}: {one.get_state_display().lower()}" for one in ulcers]
    device = Prescription.objects.filter(limb__in=other, stopped_on=None).first()
    facts += [f"Device: {device}"] if device else []
    amputated = [one.get_amputation_display() for one in other if one.amputation != "none"]
    facts += [f"Amputation: {words.lower()}" for words in amputated]
    return tuple(facts) or ("No open ulcer and no device on record; look at it today",)


def _surgery(lesion: Lesion, events: Sequence[Event], today: date) -> tuple[str, ...]:
    referrals = Referral.objects.filter(
        person=lesion.limb.person_id, to=ReferralTo.SURGERY, cancelled_because=""
    )
    facts = [
        _on(
            "Referred to foot "
            f"surgery{', seen' if one.seen_on else ''}{f': {one.result}' if one.result else ''}",
            timezone.localdate(one.made_at),
        )
        for one in referrals[:2]
    ]
    facts += _of(events, EventKind.SURGERY)
    talk = surgery_of(lesion, today)
    if talk.withheld:
        facts.append(f"Surgery not discussed now. {talk.withheld} ({talk.source})")
    for one in talk.operations:
        when = f": {one.when}" if one.when else ""
        facts.append(f"To discuss: {one.words}{when} ({one.source})")
    if not talk.withheld and not talk.operations:
        facts.append("No operation is listed for this place")
    facts.append(f"Adjunct treatments: consider, local protocol ({'; '.join(ADJUNCTS)}; from memory)")
    return tuple(facts)
