"""Adding a foam with its measured points to a site, and taking it out of use."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from django.db import transaction
from django.utils import timezone

from clinic.models import Site, SiteFoam, User
from clinic.record.errors import Refused
from clinic.record.writes import audit
from clinic.record.writes.rows import store
from offload.core.foam.law import FoamPoint
from offload.plans.foams import foam_keep
from offload.plans.keeping import PlanRefused

__all__ = ["foam_add", "foam_retire"]


@transaction.atomic
def foam_add(
    *,
    by: User,
    site: Site,
    label: str,
    hardness: str,
    stress_kpa: Mapping[int, float],
    source: str,
    measured_on: date,
) -> SiteFoam:
    """Keep a foam by the stress measured at each strain [%]; two points at least."""
    today = timezone.localdate()
    if measured_on > today:
        raise Refused(
            f"Measured on: {measured_on:%-d %b %Y}; the limit is today, {today:%-d %b %Y}.",
            field="measured_on",
        )
    if SiteFoam.objects.filter(site=site, foam__label__iexact=label.strip(), foam__retired_at=None).exists():
        raise Refused(
            f"Name: {label.strip()} is in use here already; retire it or choose another.", field="label"
        )
    points = [FoamPoint(percent / 100, stress) for percent, stress in sorted(stress_kpa.items())]
    try:
        foam = foam_keep(
            label=label,
            hardness=hardness,
            points=points,
            source=source,
            measured_on=measured_on,
            made_by=str(by),
            at=timezone.now(),
        )
    except PlanRefused as refused:
        raise Refused(refused.message) from refused
    link = store(SiteFoam(site=site, foam=foam), by=by)
    audit.record(by=by, site=site, verb="added", target=link, foam=foam.key, points=foam.points)
    return link


@transaction.atomic
def foam_retire(*, by: User, link: SiteFoam) -> SiteFoam:
    """Take a foam out of use; plans that name it keep it. One that stands in the site's stack stays."""
    site, foam = Site.objects.get(pk=link.site_id), link.foam
    if foam.retired_at is not None:
        raise Refused(f"{foam.label} is out of use already.")
    if any(layer["foam"] == foam.key for layer in site.stack):
        raise Refused(f"{foam.label} stands in this clinic's insole; put another foam there first.")
    foam.retired_at = timezone.now()
    foam.save(update_fields=["retired_at"])
    audit.record(by=by, site=site, verb="retired", target=link, foam=foam.key)
    return link
