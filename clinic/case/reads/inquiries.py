"""Why is it not healing? The causes of one lesion with the dated facts the record has, and what it does
not know.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Max, QuerySet
from django.utils import timezone

from clinic.evidence.reads.standing import standing_of
from clinic.guidelines.due import inquiry_late
from clinic.models import (
    Event,
    EventKind,
    Inquiry,
    InquiryTopic,
    Lesion,
    LimbPlan,
    Measurement,
    Prescription,
    Referral,
    ReferralTo,
    Visit,
    VisitState,
)
from clinic.people.reads.limbs import PERFUSION, FindingValue, latest_findings
from clinic.record.dates import day_words

__all__ = ["NOT_HEALING", "PossibleCause", "WhySheet", "inquiry_due", "last_inquiries", "why_sheet"]

NOT_HEALING = frozenset({"slow", "stalled", "worsening"})
VISITS_SHOWN = 4


@dataclass(frozen=True)
class PossibleCause:
    """One cause to look at, with what the record knows of it."""

    topic: InquiryTopic
    facts: tuple[str, ...]

    @property
    def label(self) -> str:
        return str(self.topic.label)


@dataclass(frozen=True)
class WhySheet:
    lesion: Lesion
    causes: tuple[PossibleCause, ...]
    before: tuple[Inquiry, ...]


def _on(words: str, day: date) -> str:
    return f"{words}, {day_words(day)}"


def _known(facts: Iterable[str], missing: str) -> tuple[str, ...]:
    found = tuple(facts)
    return found or (f"{missing}: not known",)


def why_sheet(lesion: Lesion, today: date) -> WhySheet:
    """The sheet of one lesion; the number of queries does not grow with the record."""
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
    foot = standing_of(limb, today)
    blood, infection = foot.worst.ischaemia, foot.lesions.get(lesion.pk, foot.worst).infection
    facts = {
        InquiryTopic.PERFUSION: (blood.because, *blood.doubts, *_perfusion(findings, events)),
        InquiryTopic.INFECTION: (infection.because, *_infection(rows, events)),
        InquiryTopic.PRESSURE: _pressure(lesion, events, today),
        InquiryTopic.WEAR: _wear(visits),
        InquiryTopic.DEBRIDEMENT: _debridement(rows, events),
        InquiryTopic.TISSUE: _tissue(rows, visits, findings),
        InquiryTopic.SURGERY: _surgery(lesion, events),
    }
    before = tuple(lesion.inquiries.prefetch_related("answers").select_related("created_by")[:5])
    return WhySheet(lesion, tuple(PossibleCause(topic, facts[topic]) for topic in InquiryTopic), before)


def _of(events: Sequence[Event], *kinds: str) -> list[str]:
    return [
        _on(f"{e.get_kind_display()}{f': {e.note}' if e.note else ''}", e.happened_on)
        for e in events
        if e.kind in kinds
    ][:3]


def _perfusion(findings: Sequence[FindingValue], events: Sequence[Event]) -> tuple[str, ...]:
    facts = [
        f"{_on(f'{one.label} {one.words}', one.found_on)}{' (too old to rely on)' if one.stale else ''}"
        for one in findings
        if one.name in PERFUSION
    ]
    if not any(one.name in ("toe_pressure_mmhg", "tcpo2_mmhg") for one in findings):
        facts.append("Toe pressure and TcPO2: not known")
    return (*facts, *_of(events, EventKind.REVASCULARISATION))


def _infection(rows: Sequence[Measurement], events: Sequence[Event]) -> tuple[str, ...]:
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
    return (*facts, *_of(events, EventKind.SAMPLE, EventKind.IMAGING, EventKind.ANTIBIOTIC))


def _pressure(lesion: Lesion, events: Sequence[Event], today: date) -> tuple[str, ...]:
    facts = []
    device = Prescription.objects.filter(limb=lesion.limb_id, stopped_on=None).first()
    if device is None:
        facts.append("Device: none is running")
    elif device.fitted_on is None:
        facts.append(f"{device}: prescribed {day_words(device.prescribed_on)}, not fitted yet")
    else:
        facts.append(_on(f"{device}, fitted", device.fitted_on))
    plan = (
        LimbPlan.objects.filter(lesions=lesion)
        .exclude(plan__state="superseded")
        .select_related("plan")
        .order_by("-pk")
        .first()
    )
    if plan is None:
        facts.append("Relief plan and contact check: not known, there is no plan")
    else:
        made = timezone.localdate(plan.plan.created_at)
        facts.append(_on(f"Relief plan v{plan.plan.number}, {plan.plan.get_state_display().lower()}", made))
        facts += _clearances(plan)
    imprint = lesion.imprints.order_by("-taken_on", "-pk").first()
    facts.append(_on("Imprint", imprint.taken_on) if imprint else "Imprint of the lesion: not known")
    replaced = next((e.happened_on for e in events if e.kind == EventKind.INSOLE_REPLACED), None)
    since = replaced or (device.fitted_on if device else None)
    facts.append(f"Foam: {(today - since).days // 7} weeks in use" if since else "Age of the foam: not known")
    return tuple(facts)


def _clearances(link: LimbPlan) -> list[str]:
    pressed = (link.plan.result.get("pressure") or {}).get("lesions") or []
    return [
        f"Void left under {one['label']} in the plan: {one['clearance_mm']:g} mm (estimate)"
        for one in pressed
        if isinstance(one.get("clearance_mm"), int | float)
    ]


def _wear(visits: Sequence[Visit]) -> tuple[str, ...]:
    facts = [
        _on(f"{one.get_wear_display()}{f': {one.why_not_worn}' if one.why_not_worn else ''}", one.visited_on)
        for one in visits
        if one.wear
    ]
    missed = [_on(one.get_attendance_display(), one.visited_on) for one in visits if one.attendance != "came"]
    return (*_known(facts, "Wear"), *missed)


def _debridement(rows: Sequence[Measurement], events: Sequence[Event]) -> tuple[str, ...]:
    after = next((row for row in rows if row.debridement == "after"), None)
    facts = _of(events, EventKind.DEBRIDED)
    if after is not None:
        facts.append(_on("Measured after debridement", after.visit.visited_on))
    return _known(facts, "Debridement")


def _tissue(
    rows: Sequence[Measurement], visits: Sequence[Visit], findings: Sequence[FindingValue]
) -> tuple[str, ...]:
    oedema = next((one for one in findings if one.name == "oedema"), None)
    exudate = next((row for row in rows if row.exudate), None)
    dressing = next((one for one in visits if one.dressing), None)
    return (
        _on(f"Oedema: {oedema.words.lower()}", oedema.found_on) if oedema else "Oedema: not known",
        _on(f"Exudate: {exudate.get_exudate_display().lower()}", exudate.visit.visited_on)
        if exudate
        else "Exudate: not known",
        _on(f"Dressing: {dressing.dressing}", dressing.visited_on) if dressing else "Dressing: not known",
        "Nutrition: not known, this record does not ask it",
    )


def _surgery(lesion: Lesion, events: Sequence[Event]) -> tuple[str, ...]:
    referrals = Referral.objects.filter(person=lesion.limb.person_id, to=ReferralTo.SURGERY)
    facts = [
        _on(
            "Referred to foot "
            f"surgery{', seen' if one.seen_on else ''}{f': {one.result}' if one.result else ''}",
            timezone.localdate(one.made_at),
        )
        for one in referrals[:2]
    ]
    return _known([*facts, *_of(events, EventKind.SURGERY)], "Talk about surgery")


def _newest(lesions: Any) -> QuerySet[Any, Any]:
    sheets = Inquiry.objects.filter(lesion__in=lesions).order_by()
    return sheets.values_list("lesion_id").annotate(Max("made_on"))


def last_inquiries(lesions: Iterable[Lesion]) -> dict[int, date]:
    """By lesion, the day of its newest sheet (one query)."""
    return dict(_newest([lesion.pk for lesion in lesions]))


def inquiry_due(kind: str, last: date | None, today: date) -> str:
    """Why the sheet is due, or nothing."""
    if kind not in NOT_HEALING or not inquiry_late(last, today):
        return ""
    if last is None:
        return "Nobody has gone through why it is not healing."
    return f"Why it is not healing was last gone through on {day_words(last)}."
