"""A clinic's own figures of its forecasts, made by a machine on a day. A row is never changed."""

from __future__ import annotations

from datetime import date

from django.db import transaction

from clinic.audit.reads.forecast_record import own_now
from clinic.curves.reads.own_figures import own_figures
from clinic.healing.shown import own_row
from clinic.models import Recalibration, Site

__all__ = ["recalibrate"]


@transaction.atomic
def recalibrate(*, site: Site, today: date) -> Recalibration | None:
    """Keep what the closed courses of a clinic say as of a day; nothing where nothing has changed.

    No audit row: nobody decided anything, the row holds no person, and it says its day and method itself.
    """
    own, last = own_now(site, today), own_figures([site.pk]).get(site.pk)
    if last is not None and (last.made_on >= today or own_row(last) == own_row(own)):
        return None
    if last is None and not own.says_anything:
        return None
    return Recalibration.objects.create(
        site=site, made_on=own.made_on, method=own.version, figures=own_row(own)
    )
