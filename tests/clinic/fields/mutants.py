"""Delete one field of the visit's and the ulcer's findings at a time and see whether the tests notice.

`python -m tests.clinic.fields.mutants [WORD …]`; with words only the mutants whose names hold one of them. A
mutant is a copy of the program with one line less: a field of a findings class or of a form, an entry of a
list that names fields, an argument or a statement that carries one over. The test run is that of `TESTS`; it
stops at the first failure.
"""

from __future__ import annotations

import ast
import os
import shutil
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[3]
COPIED = ("clinic", "offload", "tests", "templates", "static", "fixtures", "pyproject.toml")
FORMS = "tests/clinic/fields"
ROUTES = ("visit_new", "visit_finish", "visit_correct", "visit_missed", "visit_in_error")
TESTS = (
    "tests/clinic/visits/forms/test_visit_findings.py",
    *(f"{FORMS}/test_no_field_is_lost.py::test_no_field_is_lost[{route}]" for route in ROUTES),
)
#: Libraries that take longest to import, and that no mutant touches.
LIBRARIES = (
    "django.test",
    "hypothesis",
    "matplotlib.figure",
    "numpy",
    "scipy.stats",
    "shapely",
    "PIL.Image",
)
#: File -> names of what is mutated in it: classes field by field, functions and constants entry by entry.
PLACES = {
    "clinic/models/visit.py": ("VisitFindings",),
    "clinic/models/measurement.py": ("UlcerFindings",),
    "clinic/visits/writes/visits.py": ("PersonFindings",),
    "clinic/capture/writes/measurement.py": ("AreaTold", "LesionFindings", "WoundArea", "measurement_fill"),
    "clinic/visits/forms/visits.py": (
        "NextDateForm",
        "VisitForm",
        "CorrectionForm",
        "MissedForm",
        "MissedCorrectionForm",
        "FOLLOW_UPS",
        "ABOUT_DEVICE",
        "NOT_BESIDE",
        "VisitForm.findings",
    ),
    "clinic/visits/forms/taking_back.py": ("InErrorForm",),
    "clinic/visits/forms/finishing.py": ("FinishForm", "ASKED_AGAIN", "FinishForm.findings"),
    "clinic/visits/forms/measurement.py": (
        "MeasurementForm",
        "MeasurementForm.findings",
        "MeasurementForm.stored",
        "MeasurementForm.seen",
        "SEEN",
    ),
}


@dataclass(frozen=True)
class Mutant:
    path: str
    name: str
    #: First and last character of what is taken out of the file.
    start: int
    end: int

    def of(self, whole: bytes) -> bytes:
        return whole[: self.start] + whole[self.end :]


def mutants() -> Iterator[Mutant]:
    for path, places in PLACES.items():
        source = (ROOT / path).read_bytes()
        at = [0]
        for line in source.splitlines(keepends=True):
            at.append(at[-1] + len(line))
        tree = ast.parse(source)
        for place in places:
            found = list(_parts(_node(tree, place)))
            if not found:
                sys.exit(f"{path}: nothing to take out of {place}")
            for node, name in found:
                start = at[node.lineno - 1] + node.col_offset
                end = at[node.end_lineno - 1] + node.end_col_offset
                if not isinstance(node, ast.stmt):
                    # An entry goes with its comma.
                    end += len(source[end:]) - len(source[end:].lstrip(b" \n,"))
                yield Mutant(path, f"{place}: {name}", start, end)


def _node(tree: ast.AST, place: str) -> ast.AST:
    node = tree
    for step in place.split("."):
        node = next(one for one in ast.iter_child_nodes(node) if _called(one) == step)
    return node


def _called(node: ast.AST) -> str:
    if isinstance(node, ast.Assign | ast.AnnAssign):
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        return target.id if isinstance(target, ast.Name) else ast.unparse(target)
    return getattr(node, "name", "")


def _parts(node: ast.AST) -> Iterator[tuple[ast.AST, str]]:
    """What can be taken out: fields of a class, statements that set one, entries of a list, arguments of
    a name.
    """
    if isinstance(node, ast.ClassDef):
        dataclass_like = any("dataclass" in ast.unparse(one) for one in node.decorator_list)
        for one in node.body:
            declared = isinstance(one, ast.AnnAssign) if dataclass_like else isinstance(one, ast.Assign)
            if declared and (dataclass_like or isinstance(one.value, ast.Call)):  # type: ignore[attr-defined]
                yield one, _called(one)
        return
    for one in ast.walk(node):
        if isinstance(one, ast.Assign) and isinstance(one.targets[0], ast.Attribute):
            yield one, ast.unparse(one.targets[0])
        elif isinstance(one, ast.Tuple) and all(
            isinstance(part, ast.Constant | ast.Starred) for part in one.elts
        ):
            yield from ((part, ast.unparse(part)) for part in one.elts if isinstance(part, ast.Constant))
        elif isinstance(one, ast.Dict):
            yield from (
                (_pair(key, value), ast.unparse(key))
                for key, value in zip(one.keys, one.values, strict=True)
                if isinstance(key, ast.Constant)
            )
        elif isinstance(one, ast.Call) and ast.unparse(one.func) in ("findings_of", "replace"):
            yield from ((word, word.arg) for word in one.keywords if word.arg)


def _pair(key: ast.expr, value: ast.expr) -> ast.AST:
    both = ast.Tuple([key, value])
    both.lineno, both.col_offset = key.lineno, key.col_offset
    both.end_lineno, both.end_col_offset = value.end_lineno, value.end_col_offset
    return both


class Copy:
    """A copy of the program with a test database of its own, in which mutants are tried one after another."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in COPIED:
            where = ROOT / name
            if where.is_dir():
                shutil.copytree(where, folder / name, ignore=shutil.ignore_patterns("__pycache__", ".*"))
            else:
                shutil.copy(where, folder / name)

    def passes(self) -> tuple[bool, str]:
        """Whether the tests pass on the copy as it is, and the first words of what failed."""
        out = self.folder / "out.txt"
        # A fork has the libraries imported already and the program not yet: a mutant costs its tests, no
        # start.
        child = os.fork()
        if child == 0:
            with out.open("w") as file:
                os.dup2(file.fileno(), 1)
                os.dup2(file.fileno(), 2)
                os._exit(self._run())
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        lines = [line for line in out.read_text().splitlines() if line.startswith("E ") or ": " in line[:99]]
        return code == 0, lines[0].removeprefix("E").strip()[:90] if code and lines else ""

    def _run(self) -> int:
        os.chdir(self.folder)
        os.environ |= {"PYTEST_DB": str(self.folder / "mutants.sqlite3"), "VAR_DIR": str(self.folder / "var")}
        sys.path[:] = [str(self.folder), *(path for path in sys.path if path not in ("", str(ROOT)))]
        for name in [name for name in sys.modules if name.partition(".")[0] == "tests"]:
            del sys.modules[name]
        try:
            return int(pytest.main(["-q", "-x", "-n", "0", "--reuse-db", "--tb=line", *TESTS]))
        except BaseException:
            traceback.print_exc()
            return 9

    def tries(self, mutant: Mutant) -> tuple[bool, str]:
        file = self.folder / mutant.path
        before = file.read_bytes()
        file.write_bytes(mutant.of(before))
        try:
            return self.passes()
        finally:
            file.write_bytes(before)


def main() -> None:
    asked = sys.argv[1:]
    chosen = [
        one for one in mutants() if not asked or any(word in f"{one.path} {one.name}" for word in asked)
    ]
    started = time.monotonic()
    for name in LIBRARIES:
        import_module(name)
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Copy(Path(folder))
        passes, words = copy.passes()
        if not passes:
            sys.exit(f"the tests fail without a mutant: {words}")
        missed = 0
        print("| file | taken out | | noticed by |\n| --- | --- | --- | --- |")
        for mutant in chosen:
            passes, words = copy.tries(mutant)
            missed += passes
            print(
                f"| {mutant.path} | {mutant.name} | {'MISSED' if passes else 'caught'} | {words} |",
                flush=True,
            )
    print(f"\n{len(chosen) - missed} of {len(chosen)} caught in {time.monotonic() - started:.0f} s")
    sys.exit(bool(missed))


if __name__ == "__main__":
    main()
