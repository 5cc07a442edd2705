"""Foams a clinic measured itself: the law fitted to its points, kept with the misfit."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from datetime import date, datetime

from django.utils.text import slugify

from offload.core.foam.law import FoamError, FoamFit, FoamPoint, fit_foam
from offload.core.foam.stack import PACKAGED_FOAMS
from offload.models import ClinicFoam
from offload.plans.keeping import PlanRefused

__all__ = ["foam_fit", "foam_keep"]

KEY_LENGTH = 30


def foam_fit(points: Sequence[FoamPoint]) -> FoamFit:
    """The law nearest to measured points; refused in one sentence where no foam has them."""
    try:
        return fit_foam(points)
    except FoamError as fault:
        raise PlanRefused(f"Measured points: {fault}") from fault


def foam_keep(
    *,
    label: str,
    hardness: str,
    points: Sequence[FoamPoint],
    source: str,
    measured_on: date,
    made_by: str,
    at: datetime,
) -> ClinicFoam:
    """Keep a foam under a key of its own. It is never changed: measured anew, it is another foam."""
    fit = foam_fit(points)
    stem = slugify(label)[:KEY_LENGTH] or "foam"
    key = f"{stem}-{secrets.token_hex(2)}"
    while key in PACKAGED_FOAMS or ClinicFoam.objects.filter(key=key).exists():
        key = f"{stem}-{secrets.token_hex(3)}"
    return ClinicFoam.objects.create(
        key=key,
        label=label.strip(),
        hardness=hardness.strip(),
        points=[[point.strain, point.stress_kpa] for point in points],
        modulus_kpa=fit.modulus_kpa,
        locking_strain=fit.locking_strain,
        misfit_kpa=fit.misfit_kpa,
        worst_kpa=fit.worst_kpa,
        source=source.strip(),
        measured_on=measured_on,
        made_by=made_by,
        created_at=at,
    )
