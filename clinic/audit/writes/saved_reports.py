"""Saved definitions of reports: made, stopped, and run."""

from __future__ import annotations

from django.db import transaction

from clinic.models import SavedReport, Site, User
from clinic.record.writes import audit
from clinic.record.writes.rows import store

__all__ = ["report_save", "report_stop"]


@transaction.atomic
def report_save(
    *,
    by: User,
    site: Site,
    name: str,
    form: str,
    days: int,
    device_class: str = "",
    deidentified: bool = True,
) -> SavedReport:
    """Keep a report so that it can be run again, by hand or by a scheduler."""
    made = SavedReport(
        site=site,
        name=name.strip(),
        form=form,
        days=days,
        device_class=device_class,
        deidentified=deidentified,
    )
    store(made, by=by)
    audit.record(
        by=by,
        site=site,
        verb="saved",
        target=made,
        name=made.name,
        form=form,
        days=days,
        deidentified=deidentified,
    )
    return made


@transaction.atomic
def report_stop(*, by: User, report: SavedReport, expected_version: int) -> SavedReport:
    """Run it no more; it stays readable."""
    report.stopped = True
    store(report, by=by, expected_version=expected_version)
    audit.record(by=by, site=report.site, verb="stopped", target=report, name=report.name)
    return report
