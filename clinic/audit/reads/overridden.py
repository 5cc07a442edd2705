"""Devices that stay on, signed against a known danger, by how the second signature stands."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import Case, CharField, Q, QuerySet, Value, When

from clinic.audit.reads.cases import BASES, AuditFilter, Base

__all__ = ["OVERRIDDEN_BASES"]


def _overridden(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    return (
        BASES["prescription"]
        .rows(wanted, today)
        .filter(overriding=True)
        .annotate(
            second=Case(
                When(Q(second_confirmed_at__isnull=False), then=Value("signed")),
                When(Q(second_at__isnull=False), then=Value("telephone")),
                default=Value("missing"),
                output_field=CharField(),
            )
        )
    )


OVERRIDDEN_BASES: dict[str, Base] = {
    "overridden": Base(
        _overridden, ("second",), "prescribed_on", ("limb__person", "signed_by"), "prescription"
    ),
}
