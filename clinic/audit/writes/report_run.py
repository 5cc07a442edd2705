"""A saved report run once: its bytes, and the row of the chain that says so."""

from __future__ import annotations

from datetime import date

from clinic.audit.reads.cases import AuditFilter
from clinic.audit.reads.export import HEAD, numbered_rows, report_value
from clinic.audit.reads.figures import spec_of
from clinic.models import ReportForm, SavedReport, User
from clinic.record.reads.deidentified import METHOD, deidentified
from clinic.record.writes.exports import export_bytes, export_csv, export_json
from clinic.record.writes.read_log import note_list

__all__ = ["run"]


def run(*, by: User, report: SavedReport, wanted: AuditFilter, today: date) -> tuple[str | bytes, str]:
    """The report's file and its form; the export is written to the chain under the report's name."""
    details = {
        "by_report": report.pk,
        "since": wanted.since,
        "until": wanted.until,
        "deidentified": report.deidentified,
    }
    what = f"the report {report.name}"
    if report.form == ReportForm.CSV:
        spec = spec_of("all")
        if spec is None:
            raise KeyError("all")
        cases = list(numbered_rows(spec, wanted, today))
        note_list(by=by, people={person for person, _ in cases}, page="audit_report_run")
        rows = [row for _, row in cases]
        if report.deidentified:
            rows = deidentified(rows)
        head = list(rows[0]) if rows else list(HEAD)
        return export_csv(
            by=by,
            site=report.site,
            what=what,
            head=head,
            rows=([row[name] for name in head] for row in rows),
            **details,
        ), "csv"
    value = report_value(wanted, today, hide_small=report.deidentified)
    if report.form == ReportForm.JSON:
        value["method"] = METHOD if report.deidentified else None
        return export_json(
            by=by, site=report.site, what=what, value=value, rows=len(value["figures"]), **details
        ), "json"
    # The page library is slow to load and wanted only here.
    from clinic.audit.prints import report_pdf

    body = report_pdf(value, METHOD if report.deidentified else "")
    return export_bytes(by=by, site=report.site, what=what, body=body, form="pdf", **details), "pdf"
