"""`relief_plan SPEC.json [--out DIR]`: a relief plan as JSON, and its 1:1 templates, without a database."""

import json
import os
import re
import sys
import tempfile
from argparse import ArgumentParser
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NoReturn

from django.core.management.base import BaseCommand

from offload.core.errors import Fault, ReliefError, SpecError
from offload.core.plan.compute import ComputedPlan, as_json, compute, with_pressure
from offload.core.plan.report import PressureModel
from offload.core.plan.specfile import LARGEST_FILE, read_spec

BAD_INPUT = 2  # exit code


class Command(BaseCommand):
    help = (
        "Print the relief plan of a specification as JSON; with --out also write plan.json and the 1:1 "
        "templates "
        "(PDF on A4, A3 and Letter, SVG, DXF). Supports licensed judgement; follow local protocol; not a "
        "diagnosis."
    )
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("spec", metavar="SPEC.json", type=Path, help="what is asked of the plan")
        parser.add_argument("--out", metavar="DIR", type=Path, help="folder for the plan and its templates")

    def handle(self, *args: Any, spec: Path, out: Path | None, **options: Any) -> None:
        try:
            cut = compute(read_spec(read_file(spec)))
            plan = with_pressure(cut, PressureModel()(cut))
            text = printed(plan)
            if out is not None:
                write_files(out, {"plan.json": f"{text}\n".encode(), **templates(plan, text)})
        except SpecError as error:
            self.refuse(map(str, error.faults))
        except ReliefError as error:
            self.refuse([str(error)])
        self.stdout.write(text)

    def refuse(self, sentences: Iterable[str]) -> NoReturn:
        """One line per fault on the error stream, then out."""
        for sentence in sentences:
            self.stderr.write(" ".join(sentence.split()))
        sys.exit(BAD_INPUT)


def read_file(path: Path) -> bytes:
    """Content of the specification.

    Raises
    ------
    SpecError
        If it cannot be read or is too large.
    """
    try:
        with path.open("rb") as file:
            text = file.read(LARGEST_FILE + 1)
            size = max(len(text), os.fstat(file.fileno()).st_size)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise unusable(f"SPEC.json {path} cannot be read ({reason})", "a readable file", path) from error
    if size > LARGEST_FILE:
        raise unusable(f"SPEC.json {path} has {size} bytes", f"{LARGEST_FILE} bytes (2 MB)", size)
    return text


def printed(plan: ComputedPlan) -> str:
    """The plan as JSON, indented, each point on one line."""
    text = json.dumps(as_json(plan), allow_nan=False, ensure_ascii=False, indent=1)
    return re.sub(r"\[\s+([-+.e\d]+),\s+([-+.e\d]+)\s+\]", r"[\1, \2]", text)


def templates(plan: ComputedPlan, text: str) -> dict[str, bytes]:
    """The template files by name. They always say that the plan is not signed."""
    # Drawing libraries are loaded only when a file is asked for.
    from offload.core.sheets.sheet import PAPERS, cutting_drawing, template_drawing
    from offload.core.sheets.sheet_blocks import SheetLabel
    from offload.core.sheets.sheet_code import sheet_code
    from offload.core.sheets.writers.dxf import write_dxf
    from offload.core.sheets.writers.pdf import write_pdf
    from offload.core.sheets.writers.svg import write_svg

    imprint = SheetLabel(code=sheet_code(text.encode()))
    flat = cutting_drawing(plan, imprint)
    return {
        **{
            f"template-{paper.lower()}.pdf": write_pdf(template_drawing(plan, imprint, paper=paper))
            for paper in PAPERS
        },
        "template.svg": write_svg(flat),
        "template.dxf": write_dxf(flat),
    }


def write_files(folder: Path, files: dict[str, bytes]) -> None:
    """Write all files or none: they are made beside their places first, then renamed.

    Raises
    ------
    SpecError
        If the folder cannot be written.
    """
    made = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".relief-", dir=folder) as draft:
            for name, content in files.items():
                Path(draft, name).write_bytes(content)
            for name in files:
                Path(draft, name).replace(folder / name)
    except OSError as error:
        if made and folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
        found = f"--out {folder} cannot be written ({error.strerror})"
        raise unusable(found, "a writable folder", folder) from error


def unusable(found: str, limit: str, value: object) -> SpecError:
    """A fault of the file or the folder itself."""
    return SpecError([Fault((), value, limit, found, "")])
