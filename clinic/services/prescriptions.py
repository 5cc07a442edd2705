"""Prescribing a device, fitting and sealing it, opening it, stopping it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, Protocol

from django.db import transaction
from django.utils import timezone

from clinic.models import NON_REMOVABLE, Lesion, Limb, Prescription, User

from . import audit
from .errors import Conflict, Refused
from .records import store

__all__ = ["Decision", "prescription_fit", "prescription_open", "prescription_sign", "prescription_stop"]

LONGEST_SEALED_DAYS = 14
#: Until these are known no one can say whether a device that stays on was right to choose or to pass over.
BLOCKING = frozenset(
    {"infection_grade", "osteomyelitis", "ischaemia_grade", "high_falls_risk", "cannot_attend_weekly",
     "both_feet_ulcerated", "active_charcot"}
)  # fmt: skip


class Decision(Protocol):
    """What the page showed: facts and advice of a limb on a day."""

    @property
    def first_offered(self) -> tuple[str, ...]: ...
    @property
    def advice(self) -> Any: ...
    @property
    def digest(self) -> str: ...
    def facts_copy(self) -> dict[str, Any]: ...
    def advice_copy(self) -> dict[str, Any]: ...


@transaction.atomic
def prescription_sign(
    *,
    by: User,
    limb: Limb,
    lesions: list[Lesion],
    decision: Decision,
    seen_digest: str,
    device_class: str,
    reason: str,
    departure_reason: str = "",
    device_label: str = "",
    prescribed_on: date,
    stop_reason: str = "",
    forecast_shown: dict[str, Any] | None = None,
) -> Prescription:
    """Sign a choice of device with copies of the facts and the advice it was made on."""
    person = limb.person
    if seen_digest != decision.digest:
        raise Conflict(
            "The facts or the advice changed since the page was opened. Look at them again, then sign."
        )
    if device_class in NON_REMOVABLE and person.red_flags.filter(answer="").exists():
        raise Refused(
            "A red flag of this person is not answered yet; until then no device that stays on is chosen.",
            field="device_class",
        )
    first = device_class in decision.first_offered
    if not first and not departure_reason:
        raise Refused(
            "This is not what the advice puts first: choose the reason that fits best, and say why in words.",
            field="departure_reason",
        )
    running = Prescription.objects.select_for_update().filter(limb=limb, stopped_on=None).first()
    if running is not None:
        if not stop_reason:
            raise Refused("Why does the present device stop?", field="stop_reason")
        prescription_stop(
            by=by,
            prescription=running,
            stopped_on=prescribed_on,
            stop_reason=stop_reason,
            expected_version=running.version,
        )
    judged = not (BLOCKING & set(decision.advice.missing))
    made = Prescription(
        limb=limb,
        device_class=device_class,
        device_label=device_label.strip(),
        prescribed_on=prescribed_on,
        facts=decision.facts_copy(),
        advice=decision.advice_copy(),
        edition=decision.advice.edition,
        first_offered=decision.first_offered[0] if decision.first_offered else "",
        agrees=first if judged else None,
        departure_reason="" if first else departure_reason,
        reason=reason.strip(),
        signed_by=by,
        signed_at=timezone.now(),
        forecast_shown=forecast_shown,
    )
    store(made, by=by)
    made.lesions.set(lesions)
    audit.record(
        by=by,
        site=person.site,
        verb="prescribed",
        target=made,
        person=person,
        device_class=device_class,
        agrees=made.agrees,
        advice=decision.digest,
    )
    return made


@transaction.atomic
def prescription_fit(
    *,
    by: User,
    prescription: Prescription,
    fitted_on: date,
    sealed: bool,
    open_by: date | None,
    expected_version: int,
) -> Prescription:
    """Record that the device was fitted, and, when it stays on, sealed with a day to open it by."""
    if prescription.stopped_on is not None:
        raise Refused("This device was stopped; it cannot be fitted.")
    if fitted_on < prescription.prescribed_on:
        raise Refused("Fitted on: lies before the prescription.", field="fitted_on")
    if prescription.is_non_removable and not sealed:
        raise Refused("A device that stays on is sealed when it is fitted.", field="sealed")
    if sealed and not prescription.is_non_removable:
        raise Refused("Only a device that stays on is sealed.", field="sealed")
    site = prescription.limb.person.site
    if sealed:
        limit = site.sealed_first_days if prescription.opened_on is None else LONGEST_SEALED_DAYS
        latest = fitted_on + timedelta(days=limit)
        if open_by is None or not fitted_on < open_by <= latest:
            raise Refused(
                f"Open by: within {limit} days of sealing, {latest:%-d %b %Y} at the latest.", field="open_by"
            )
    prescription.fitted_on = prescription.fitted_on or fitted_on
    prescription.sealed_on = fitted_on if sealed else None
    prescription.open_by = open_by if sealed else None
    prescription.opened_on = None
    store(prescription, by=by, expected_version=expected_version)
    person = prescription.limb.person
    audit.record(
        by=by,
        site=site,
        verb="sealed" if sealed else "fitted",
        target=prescription,
        person=person,
        open_by=open_by,
    )
    return prescription


@transaction.atomic
def prescription_open(
    *, by: User, prescription: Prescription, opened_on: date, expected_version: int
) -> Prescription:
    """Record that a sealed device was opened; its clock stops."""
    if prescription.sealed_on is None or prescription.opened_on is not None:
        raise Refused("This device is not sealed.")
    if opened_on < prescription.sealed_on:
        raise Refused("Opened on: lies before it was sealed.", field="opened_on")
    prescription.opened_on = opened_on
    store(prescription, by=by, expected_version=expected_version)
    person = prescription.limb.person
    late = bool(prescription.open_by and opened_on > prescription.open_by)
    audit.record(by=by, site=person.site, verb="opened", target=prescription, person=person, late=late)
    return prescription


@transaction.atomic
def prescription_stop(
    *, by: User, prescription: Prescription, stopped_on: date, stop_reason: str, expected_version: int
) -> Prescription:
    """Record that a device is no longer worn, and why. A sealed one is opened by that."""
    if prescription.stopped_on is not None:
        raise Refused("This device was stopped already.")
    if stopped_on < prescription.prescribed_on:
        raise Refused("Stopped on: lies before the prescription.", field="stopped_on")
    prescription.stopped_on, prescription.stop_reason = stopped_on, stop_reason
    if prescription.sealed_on is not None and prescription.opened_on is None:
        prescription.opened_on = stopped_on
    store(prescription, by=by, expected_version=expected_version)
    person = prescription.limb.person
    audit.record(
        by=by, site=person.site, verb="stopped", target=prescription, person=person, reason=stop_reason
    )
    return prescription
