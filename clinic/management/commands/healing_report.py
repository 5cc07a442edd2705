"""`healing_report SERIES.csv`: progress, verdict and forecast per lesion as JSON, without a database."""

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand, OutputWrapper

from clinic.healing.errors import TableError
from clinic.healing.forecast import Forecast
from clinic.healing.report import LesionReport, lesion_reports
from clinic.healing.tables import read_series

FILE_LIMIT = 50_000_000  # bytes; about two million rows


class Command(BaseCommand):
    help = (
        "Print progress, verdict and forecast of each ulcer of a table "
        "lesion,date,area_cm2[,method[,state]] as "
        "JSON. Supports licensed judgement; follow local protocol; not a diagnosis."
    )
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("series", metavar="SERIES.csv", type=Path, help="one row per measured area")

    def handle(self, *args: Any, series: Path, **options: Any) -> None:
        try:
            lesions = read_series(read_table(series))
        except TableError as error:
            refuse(self.stderr, error)
        reports = lesion_reports([row.areas for row in lesions])
        answer = [lesion_answer(row.lesion, report) for row, report in zip(lesions, reports, strict=True)]
        self.stdout.write(json.dumps(answer, allow_nan=False, ensure_ascii=False, indent=1))


def lesion_answer(lesion: str, report: LesionReport) -> dict[str, Any]:
    """One printed object."""
    progress, forecast = report.progress, report.forecast
    return {
        "lesion": lesion,
        "n": progress.n,
        "reduction_percent_last": progress.reduction_last,
        "reduction_percent_4w": progress.reduction_4w,
        "linear_advance_mm_per_week": progress.advance,
        "verdict": str(report.verdict.word),
        "reasons": [reason.sentence for reason in report.verdict.reasons],
        "forecast": None if forecast is None else forecast_answer(forecast),
    }


def forecast_answer(forecast: Forecast) -> dict[str, Any]:
    """The printed forecast: ISO dates, or null where not reached within 52 weeks."""
    dates = {"median": forecast.median, "low": forecast.low, "high": forecast.high}
    return {
        **{f"closing_date_{name}": None if day is None else day.isoformat() for name, day in dates.items()},
        "chance_closed_12w": forecast.chance_12w,
        "chance_closed_20w": forecast.chance_20w,
        "chance_closed_next_8w": forecast.chance_next_8w,
    }


def read_table(path: Path) -> bytes:
    """Content of a table file.

    Raises
    ------
    TableError
        If it cannot be read or is larger than ``FILE_LIMIT``.
    """
    try:
        size = path.stat().st_size
        if size > FILE_LIMIT:
            raise TableError([f"file: {path.name} has {size} bytes, at most {FILE_LIMIT}"])
        return path.read_bytes()
    except OSError as error:
        raise TableError([f"file: {path.name} cannot be read ({error.strerror})"]) from error


def refuse(stderr: OutputWrapper, error: TableError) -> NoReturn:
    """One line per fault, exit code 2."""
    for fault in error.faults:
        stderr.write(" ".join(fault.split()))
    sys.exit(2)
