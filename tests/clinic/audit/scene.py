"""An invented year of one site: prescriptions of every kind and what came of their lesions."""

from __future__ import annotations

from datetime import date, timedelta

from django.utils import timezone

from clinic.models import Lesion, Prescription
from tests import factories


def ago(days: int) -> date:
    return timezone.localdate() - timedelta(days=days)


def case(
    site,
    *,
    days_ago: int = 60,
    fitted_after: int | None = 3,
    agrees: bool | None = True,
    departure: str = "",
    missing: list[str] | None = None,
    seen_before: int = 4,
    **fields,
) -> tuple[Lesion, Prescription]:
    """One person with one lesion and its prescription, signed `days_ago`."""
    person = factories.person(at=site)
    limb = factories.limb(of=person)
    lesion = factories.lesion(on=limb, first_seen_on=ago(days_ago + seen_before))
    prescription = factories.prescription(
        of=limb,
        lesions=[lesion],
        prescribed_on=ago(days_ago),
        fitted_on=None if fitted_after is None else ago(days_ago - fitted_after),
        agrees=agrees,
        departure_reason=departure,
        reason=fields.pop("reason", "First class offered." if agrees else f"Words on {departure}."),
        advice={"classes": [], "withheld": [], "refer": [], "rules": [], "missing": missing or []},
        **fields,
    )
    return lesion, prescription


def end(lesion: Lesion, **fields) -> Lesion:
    for name, value in fields.items():
        setattr(lesion, name, value)
    lesion.save()
    return lesion


def overridden(site, **by):
    """Departures signed against a known danger, one for each way a second signature can stand; where it is
    missing nothing is fitted.
    """
    now = timezone.now()
    named = {
        "second_name": "Dr Ines Falk",
        "second_role": "vascular surgeon",
        "second_telephone": "000 4455",
        "second_at": now,
    }
    case(site, agrees=False, departure="other", fitted_after=None, overriding=True, second_needed=True, **by)
    rows = Prescription.objects.filter(
        limb__person__site=site, agreement="departed", fitted_on__isnull=False
    ).order_by("pk")
    for row, how in zip(rows, (named, {**named, "second_confirmed_at": now}), strict=False):
        Prescription.objects.filter(pk=row.pk).update(overriding=True, second_needed=True, **how)


def year(site, prescriber=None):
    """Fourteen prescriptions: eight agree, four depart, two cannot be judged."""
    by = {"signed_by": prescriber} if prescriber else {}
    for n in range(8):
        lesion, p = case(site, days_ago=60 + n, fitted_after=n if n < 7 else None, **by)
        if n == 0:
            end(lesion, state="healed", outcome="healed", closed_on=ago(30), confirmed_on=ago(10))
        elif n == 1:
            end(lesion, state="to_confirm", closed_on=ago(5))
        elif n == 2:
            end(lesion, state="ended", outcome="minor_amputation", ended_on=ago(8))
        elif n == 3:
            end(lesion, state="ended", outcome="lost", ended_on=ago(8))
        elif n == 4:
            person = lesion.limb.person
            person.state, person.state_on = "died", ago(3)
            person.save()
        if p.fitted_on:
            factories.visit(of=lesion.limb.person, on=p.fitted_on + timedelta(days=5 if n % 2 else 9))
    for reason in ("person_declines", "person_declines", "not_available", "skill"):
        lesion, _ = case(
            site, agrees=False, departure=reason, device_class="ankle_high_removable", days_ago=90, **by
        )
        measured = factories.visit(of=lesion.limb.person, on=lesion.first_seen_on + timedelta(days=28))
        factories.measurement(at=measured, of=lesion)
    for facts in (["infection_grade", "high_falls_risk"], ["infection_grade"]):
        case(site, agrees=None, departure="fact_missing", missing=facts, fitted_after=20, **by)
