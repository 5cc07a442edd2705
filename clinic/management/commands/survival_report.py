"""`survival_report EVENTS.csv`: Kaplan-Meier curves and log-rank test as JSON, without a database."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from clinic.healing.errors import TableError
from clinic.healing.survival import kaplan_meier, logrank
from clinic.healing.tables import EventRow, read_events
from clinic.management.commands.healing_report import read_table, refuse


class Command(BaseCommand):
    help = (
        "Print Kaplan-Meier curves, medians and the log-rank test of a table duration,event[,group] as JSON."
    )
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("events", metavar="EVENTS.csv", type=Path, help="event 1 = healed, 0 = censored")

    def handle(self, *args: Any, events: Path, **options: Any) -> None:
        try:
            groups = read_events(read_table(events))
        except TableError as error:
            refuse(self.stderr, error)
        self.stdout.write(json.dumps(survival_answer(groups), allow_nan=False, ensure_ascii=False, indent=1))


def survival_answer(groups: tuple[EventRow, ...]) -> dict[str, Any]:
    """The printed object, from the rows of the table."""
    estimates = [(row.group, kaplan_meier(row.durations, row.events)) for row in groups]
    test = logrank([(row.durations, row.events) for row in groups])
    return {
        "groups": [
            {
                "group": name,
                "n": estimate.n,
                "events": estimate.events,
                "median": estimate.median,
                "curve": [[p.time, p.at_risk, p.events, p.survival, p.low, p.high] for p in estimate.curve],
            }
            for name, estimate in estimates
        ],
        "logrank": None if test is None else {"chi2": test.chi2, "df": test.df, "p": test.p},
    }
