"""Run the saved reports into a folder, for a scheduler."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from clinic.audit.reads.cases import AuditFilter
from clinic.audit.writes.report_run import run
from clinic.models import SavedReport, User


class Command(BaseCommand):
    help = (
        "Run the saved reports of all clinics (or of --report) into --out; each is a row of a clinic's chain."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--out", required=True, type=Path)
        parser.add_argument("--by", required=True, help="user name of the manager in whose name it runs")
        parser.add_argument("--report", type=int, help="only this one")

    def handle(self, *args: Any, **options: Any) -> None:
        by = User.objects.filter(username=options["by"], role="manager", is_active=True).first()
        if by is None:
            raise CommandError(f"by: {options['by']} is not an active manager")
        reports = SavedReport.objects.visible_to(by).filter(stopped=False).select_related("site")
        if options["report"]:
            reports = reports.filter(pk=options["report"])
            if not reports:
                raise CommandError(
                    f"report: {options['report']} is not a report of this manager's sites that runs"
                )
        out: Path = options["out"]
        out.mkdir(parents=True, exist_ok=True)
        today = timezone.localdate()
        for report in reports:
            wanted = AuditFilter(
                (report.site,), today - timedelta(days=report.days), today, report.device_class
            )
            body, form = run(by=by, report=report, wanted=wanted, today=today)
            path = out / f"{report.site.short_name}-{report.pk}-{today.isoformat()}.{form}"
            path.write_bytes(body.encode() if isinstance(body, str) else body)
            self.stdout.write(f"{report.name}: {path}")
