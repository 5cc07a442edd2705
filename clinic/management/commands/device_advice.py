"""Device advice for the facts in a JSON file, without a database."""

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from clinic.guidelines.errors import FactsError
from clinic.guidelines.facts import parse
from clinic.guidelines.table import advice_json, decide

FILE_BYTES_MAX = 2_000_000


class Command(BaseCommand):
    """Print the advice for one lesion; bad facts end with exit status 2 and one line per fault."""

    help = "Reads the facts of one ulcer from a JSON file and prints the ranked device classes as JSON."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("facts", help="JSON file with the facts of one ulcer")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            advice = advice_json(decide(parse(read_object(Path(options["facts"])))))
        except FactsError as error:
            for fault in error.faults:
                self.stderr.write(" ".join(fault.split()), style_func=str)
            sys.exit(2)
        self.stdout.write(json.dumps(advice, indent=1, allow_nan=False))


def read_object(path: Path, what: str = "facts") -> dict[str, Any]:
    """The JSON object in a file, or a FactsError saying what the file is instead."""
    try:
        with path.open("rb") as file:
            content = file.read(FILE_BYTES_MAX + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise FactsError((f"{what} file {path.name} cannot be read: {reason}",)) from error
    if len(content) > FILE_BYTES_MAX:
        raise FactsError((f"{what} file {path.name} is over {FILE_BYTES_MAX} bytes, the limit",))
    repeated: list[str] = []

    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        seen: dict[str, Any] = {}
        for name, value in items:
            if name in seen:
                repeated.append(
                    f"{name[:40]!r} is given twice ({value!r:.40} the second time), must stand once"
                )
            seen[name] = value
        return seen

    try:
        given = json.loads(content.decode("utf-8"), object_pairs_hook=pairs)
    except (ValueError, RecursionError) as error:
        raise FactsError((f"{what} file {path.name} is not JSON in UTF-8: {error}",)) from error
    if repeated:
        raise FactsError(tuple(repeated))
    return given
