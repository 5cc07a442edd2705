"""What the checks of the record found, for managers."""

from __future__ import annotations

from django.db.models import Exists, OuterRef

from clinic.models import Verification

__all__ = ["checks_of_late", "faults_standing"]

SHOWN = 30


def checks_of_late() -> list[Verification]:
    """The last checks, newest first."""
    return list(Verification.objects.order_by("-at", "-pk")[:SHOWN])


def faults_standing() -> int:
    """Differences of the newest check that found some, until a check of the whole record finds none."""
    well_since = Verification.objects.filter(full=True, faults=0, at__gt=OuterRef("at"))
    rows = Verification.objects.filter(~Exists(well_since), faults__gt=0).order_by("-at", "-pk")
    return rows.values_list("faults", flat=True).first() or 0
