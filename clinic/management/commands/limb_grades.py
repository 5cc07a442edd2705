"""The standing state of one foot for the findings in a JSON file, without a database."""

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from clinic.guidelines.errors import FactsError
from clinic.guidelines.standing import standing
from clinic.guidelines.standing_json import parse_findings
from clinic.guidelines.standing_state import state_json
from clinic.management.commands.device_advice import read_object


class Command(BaseCommand):
    """Print what stands about one foot; bad findings end with exit status 2 and one line per fault."""

    help = "Reads the dated findings of one foot from a JSON file and prints its standing state as JSON."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("findings", help="JSON file with the dated findings of one foot")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            findings, today = parse_findings(read_object(Path(options["findings"]), "findings"))
        except FactsError as error:
            for fault in error.faults:
                self.stderr.write(" ".join(fault.split()), style_func=str)
            sys.exit(2)
        self.stdout.write(json.dumps(state_json(standing(findings, today)), indent=1, allow_nan=False))
