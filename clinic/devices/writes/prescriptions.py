"""Choosing a device for a foot and signing the choice, once or twice."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any, Protocol

from django.db import transaction
from django.utils import timezone

from clinic.alerts.writes.flags import no_open_flag
from clinic.devices.states import device_allowed
from clinic.devices.writes.decisions import decision_add, device_words, signed_content, signed_sentence, who
from clinic.devices.writes.overriding import override_check, second_check
from clinic.devices.writes.wear import prescription_stop
from clinic.evidence.reads.standing import LimbStanding
from clinic.guidelines.devices import DEVICES, NON_REMOVABLE, WITH_INSOLE
from clinic.models import (
    Agreement,
    DecisionKind,
    Lesion,
    Limb,
    Prescription,
    ReasonKind,
    User,
    content_digest,
)
from clinic.record.errors import Conflict, Refused
from clinic.record.lifecycle import all_missing
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from clinic.rules.reads.reasons import ReasonChoice, reason_of
from clinic.rules.writes.reasons import reason_to_stop
from offload.models import PlanState

__all__ = [
    "ShownAdvice",
    "plan_to_carry",
    "prescription_second",
    "prescription_sign",
]

#: Until these are known no one can say whether a device that stays on was right to choose or to pass over.
BLOCKING = frozenset(
    {
        "infection_grade",
        "osteomyelitis",
        "ischaemia_grade",
        "high_falls_risk",
        "cannot_attend_weekly",
        "both_feet_ulcerated",
        "active_charcot",
    }
)


class ShownAdvice(Protocol):
    """What the page showed: facts and advice of a limb on a day."""

    @property
    def facts(self) -> Any: ...
    @property
    def first_offered(self) -> tuple[str, ...]: ...
    @property
    def advice(self) -> Any: ...
    @property
    def digest(self) -> str: ...
    @property
    def standing(self) -> str: ...
    @property
    def what_if(self) -> tuple[str, ...]: ...
    @property
    def unasked_here(self) -> tuple[str, ...]: ...
    @property
    def foot(self) -> LimbStanding: ...
    def page_copy(self) -> dict[str, Any]: ...
    def facts_copy(self) -> dict[str, Any]: ...
    def advice_copy(self) -> dict[str, Any]: ...


@transaction.atomic
def prescription_sign(
    *,
    by: User,
    limb: Limb,
    lesions: list[Lesion],
    decision: ShownAdvice,
    seen_digest: str,
    device_class: str,
    reason: str,
    departure_reason: str = "",
    device_label: str = "",
    beside: list[str] | None = None,
    prescribed_on: date,
    stop_reason: str = "",
    carry_plan: bool = False,
    forecast_shown: dict[str, Any] | None = None,
) -> Prescription:
    """Sign a choice of device with copies of the facts and the advice it was made on."""
    person = limb.person
    aids = list(dict.fromkeys(beside or ()))
    first = device_class in decision.first_offered
    running = Prescription.objects.select_for_update().filter(limb=limb, stopped_on=None).first()
    # A reason given where nothing departs would contradict the record.
    departure = None if first else reason_of(person.site, ReasonKind.DEPARTURE, departure_reason)
    more: list[Callable[[], object]] = [lambda: _stop_check(running, stop_reason)]
    if carry_plan:
        more.append(lambda: _carried_plan(running, device_class))
    against = _sign_checks(decision, seen_digest, limb, device_class, first, departure, aids, more)
    second_needed = bool(against) or person.site.second_signature
    stop = reason_to_stop(limb.person.site, stop_reason) if running is not None else None
    plan = _carried_plan(running, device_class) if carry_plan else None
    judged = not (BLOCKING & set(decision.advice.missing))
    signed_at = timezone.now()
    agreement = Agreement.UNJUDGED if not judged else decision.standing if first else Agreement.DEPARTED
    content = signed_content(
        by=by,
        limb=limb,
        page=decision.page_copy(),
        device_class=device_class,
        device_label=device_label.strip(),
        beside=aids,
        reason=reason.strip(),
        departure=departure,
        agrees=first if judged else None,
        prescribed_on=prescribed_on,
        signed_at=signed_at,
        stops={
            "label": DEVICES[running.device_class].label,
            "since": running.prescribed_on.isoformat(),
            "reason": stop.words,
        }
        if running is not None and stop is not None
        else None,
        carried_plan=plan.code if plan else "",
        second_needed=second_needed,
        forecast=forecast_shown,
        against=against,
    )
    if running is not None:
        prescription_stop(
            by=by,
            prescription=running,
            stopped_on=prescribed_on,
            stop_reason=stop_reason,
            expected_version=running.version,
        )
    made = Prescription(
        limb=limb,
        device_class=device_class,
        device_label=device_label.strip(),
        beside=aids,
        prescribed_on=prescribed_on,
        facts=decision.facts_copy(),
        advice=decision.advice_copy(),
        edition=decision.advice.edition,
        first_offered=decision.first_offered[0] if decision.first_offered else "",
        agrees=first if judged else None,
        agreement=agreement,
        departure_reason=departure.counts_as if departure else "",
        departure_own=departure.row if departure else None,
        departure_words=departure.words if departure else "",
        reason=reason.strip(),
        signed_by=by,
        signed_at=signed_at,
        content=content,
        content_sha256=content_digest(content),
        second_needed=second_needed,
        overriding=bool(against),
        relief_plan=plan,
        forecast_shown=forecast_shown,
    )
    store(made, by=by)
    made.lesions.set(lesions)
    decision_add(
        by=by,
        prescription=made,
        kind=DecisionKind.SIGNED,
        on=prescribed_on,
        sentence=signed_sentence(content),
    )
    audit.record(
        by=by,
        site=person.site,
        verb="prescribed",
        target=made,
        person=person,
        device_class=device_class,
        agrees=made.agrees,
        advice=decision.digest,
        content=made.content_sha256,
        overriding=made.overriding,
    )
    return made


def _sign_checks(
    decision: ShownAdvice,
    seen_digest: str,
    limb: Limb,
    device_class: str,
    first: bool,
    departure: ReasonChoice | None,
    beside: list[str],
    more: Sequence[Callable[[], object]],
) -> tuple[str, ...]:
    """What stands in the way of signing; else the known dangers that a second clinician signs against."""
    if decision.what_if:
        raise Refused("This was a what-if, not the record. Only what stands in the record is signed.")
    if seen_digest != decision.digest:
        raise Conflict(
            "The findings or the advice changed since the page was opened. Look at them again, then sign."
        )
    stays_on = device_class in NON_REMOVABLE
    withheld = stays_on and device_class not in {offer.id for offer in decision.advice.classes}
    against: list[str] = []
    flags = "until then no non-removable device is chosen."
    all_missing(
        lambda: no_open_flag(limb.person, flags, field="device_class") if stays_on else None,
        lambda: _stays_on_check(decision, device_class) if stays_on else None,
        lambda: _asked_check(decision) if stays_on else None,
        lambda: against.extend(override_check(decision, device_class, departure)),
        # Of a withheld one the reason is asked there.
        lambda: None if withheld else _departure_check(first, departure),
        lambda: _beside_check(decision, device_class, beside),
        *more,
    )
    return tuple(against)


def _departure_check(first: bool, departure: ReasonChoice | None) -> None:
    if not first and departure is None:
        raise Refused(
            "This is not what the guidance suggests first: choose the reason that fits best, and say "
            "why in words.",
            field="departure_reason",
        )


def _beside_check(decision: ShownAdvice, device_class: str, beside: list[str]) -> None:
    offered = {offer.id for offer in decision.advice.classes}
    for name in beside:
        if name not in offered or name == device_class or DEVICES[name].height != "none":
            raise Refused(
                f"Beside it: {DEVICES[name].label if name in DEVICES else name} is not offered beside a "
                "device here.",
                field="beside",
            )


def _stop_check(running: Prescription | None, stop_reason: str) -> None:
    if running is not None and not stop_reason:
        raise Refused("Why does the present device stop?", field="stop_reason")


def _stays_on_check(decision: ShownAdvice, device_class: str) -> None:
    """Blood and infection allow a device that stays on, or it is withheld and a second clinician signs too:
    what is not known is looked at and measured, not overridden (`overriding`).
    """
    state = decision.foot.worst
    offered = device_class in {offer.id for offer in decision.advice.classes}
    if offered and not state.non_removable_allowed:
        raise Refused(
            f"A non-removable device is not signed on this foot. {' '.join(state.withheld_because)}",
            field="device_class",
        )


def _asked_check(decision: ShownAdvice) -> None:
    if decision.unasked_here:
        raise Refused(
            f"Asked now: {', '.join(decision.unasked_here).lower()} is not answered; this page alone keeps "
            "it for the sealing.",
            field="device_class",
        )


def plan_to_carry(running: Prescription | None) -> bool:
    """Whether signing could take the relief plan of the present device over into a class with an insole."""
    plan = None if running is None else running.relief_plan
    return plan is not None and plan.state != PlanState.SUPERSEDED


def _carried_plan(running: Prescription | None, device_class: str) -> Any:
    """The relief plan of the device before, where both devices take an insole."""
    if running is None or running.relief_plan is None:
        raise Refused("Carry over the relief plan: the present device has none.", field="carry_plan")
    if device_class not in WITH_INSOLE:
        raise Refused("Carry over the relief plan: this class has no insole to cut.", field="carry_plan")
    if running.relief_plan.state == PlanState.SUPERSEDED:
        raise Refused(
            f"Carry over the relief plan: {running.relief_plan} was replaced; sign the one that replaced it.",
            field="carry_plan",
        )
    return running.relief_plan


@transaction.atomic
def prescription_second(*, by: User, prescription: Prescription, expected_version: int) -> Prescription:
    """Sign a prescription second; until then its device is not fitted."""
    device_allowed(prescription, "countersign")
    second_check(by, prescription)
    prescription.second_by, prescription.second_at = by, timezone.now()
    if prescription.overriding:
        prescription.second_confirmed_at = prescription.second_at
    store(prescription, by=by, expected_version=expected_version)
    today = timezone.localdate()
    decision_add(
        by=by,
        prescription=prescription,
        kind=DecisionKind.SECOND,
        on=today,
        sentence=f"On {today:%-d %b %Y} {who(by)}, signed second for {device_words(prescription)}.",
    )
    person = prescription.limb.person
    audit.record(by=by, site=person.site, verb="countersigned", target=prescription, person=person)
    return prescription
