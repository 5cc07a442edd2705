"""Correcting a foot's lengths and amputation, and adding dated findings."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from clinic.models import Limb, LimbFinding, User
from clinic.people.writes.people import day_of_life
from clinic.record.afterwards import afterwards
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["finding_add", "limb_correct"]


@transaction.atomic
def limb_correct(
    *,
    by: User,
    limb: Limb,
    foot_length_mm: Decimal | None,
    foot_breadth_mm: Decimal | None,
    amputation: str,
    expected_version: int,
) -> Limb:
    """Enter or correct the lengths and the previous amputation of one foot."""
    if foot_length_mm and foot_breadth_mm and foot_breadth_mm >= foot_length_mm:
        raise Refused(
            f"Foot breadth was given as {foot_breadth_mm} mm; it must be less than the length, "
            f"{foot_length_mm} mm.",
            field="foot_breadth_mm",
        )
    limb.foot_length_mm, limb.foot_breadth_mm, limb.amputation = foot_length_mm, foot_breadth_mm, amputation
    store(limb, by=by, expected_version=expected_version)
    audit.record(
        by=by,
        site=limb.person.site,
        verb="corrected",
        target=limb,
        person=limb.person,
        side=limb.side,
        foot_length_mm=foot_length_mm,
        foot_breadth_mm=foot_breadth_mm,
        amputation=amputation,
    )
    return limb


@transaction.atomic
def finding_add(*, by: User, limb: Limb, found_on: date, **findings: Any) -> LimbFinding:
    """One dated look at a foot; what was not looked at stays empty."""
    day_of_life("found_on", "Found on", found_on, of=limb.person)
    looked = sorted(name for name, value in findings.items() if value not in (None, "") and name != "note")
    if not looked:
        raise Refused("Nothing was looked at: enter at least one finding, or leave the page.")
    if findings.get("monofilament_felt") is not None:
        tested = findings.get("monofilament_tested")
        if tested is None:
            raise Refused(
                "Monofilament sites felt is given; enter how many were tested.", field="monofilament_tested"
            )
        if findings["monofilament_felt"] > tested:
            raise Refused(
                f"Monofilament sites felt was given as {findings['monofilament_felt']}; it cannot exceed the "
                f"{tested} tested.",
                field="monofilament_felt",
            )
    if LimbFinding.objects.filter(limb=limb, found_on=found_on, **findings).exists():
        raise Refused("The same findings of this day are recorded already; nothing was added.")
    row = store(LimbFinding(limb=limb, found_on=found_on, **findings), by=by)
    audit.record(
        by=by,
        site=limb.person.site,
        verb="examined",
        target=row,
        person=limb.person,
        side=limb.side,
        looked=looked,
    )
    afterwards("limb_examined", by=by, person=limb.person)
    return row
