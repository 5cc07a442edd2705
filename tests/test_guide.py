"""What the guides name is there: files, targets, commands, modules, settings, names of the code."""

from __future__ import annotations

import importlib.util
import re
from functools import cache
from pathlib import Path

import pytest
from django.core.management import get_commands

ROOT = Path(__file__).resolve().parents[1]
GUIDE = "DEVELOPERS.md"
#: Documents that name things of this tree; the first two are read from end to end by a newcomer.
DOCUMENTS = (
    GUIDE,
    "README.md",
    "clinic/accounts/README.md",
    "clinic/guidelines/README.md",
    "tests/bench/RESULTS.md",
    "tests/validation/RESULTS.md",
)
WHOLE = DOCUMENTS[:2]
MOST_WORDS = 2500
FILE = re.compile(r"(?:[\w.-]+/)+[\w.-]*|[\w-]+\.(?:py|md|toml|csv|html|js|css|sql)\b")
#: A word in capitals is the reader's own file (`SPEC.json`), and what is set before a command is no file.
#: About the machine a clinic is set up on: `tests/rehearsal/test_readme.py` runs it from end to end.
REHEARSED = "## For real use"
ARGUMENT = re.compile(r"\b[A-Z]+\.(?:json|csv)\b|-m [\w.]+|\b[A-Z_]+=\S*")


@cache
def sources() -> str:
    """The program and its tests, and the makefile, as one text."""
    paths = [
        path
        for top in ("clinic", "offload", "tests", "templates")
        for path in sorted((ROOT / top).rglob("*"))
        if path.suffix in (".py", ".html") and path != Path(__file__).resolve()
    ]
    texts = [
        path.read_text()
        for path in [*paths, ROOT / "Makefile", ROOT / "pyproject.toml", ROOT / "requirements/base.in"]
    ]
    return "\n".join(texts)


def targets() -> set[str]:
    return set(re.findall(r"^([a-z][a-z-]*):", (ROOT / "Makefile").read_text(), flags=re.MULTILINE))


def environment() -> set[str]:
    """Every variable that settings, tests or the makefile read."""
    asked = re.findall(r"""(?:env\.\w+\(|environ(?:\.get\(|\.setdefault\(|\[))\s*["'](\w+)["']""", sources())
    made = re.findall(r"^(?:export )?([A-Z_]+) *\?=", (ROOT / "Makefile").read_text(), flags=re.MULTILINE)
    return {*asked, *made}


def pieces(text: str) -> list[str]:
    """What stands between backticks, and each line of a block of commands, but for the rehearsed section."""
    text = re.sub(rf"^{REHEARSED}$.*?(?=^## )", "", text, flags=re.DOTALL | re.MULTILINE)
    blocks = re.findall(r"```\w*\n(.*?)```", text, flags=re.DOTALL)
    lines = [line.split("#")[0].strip() for block in blocks for line in block.splitlines()]
    rest = re.sub(r"```.*?```", "", text, flags=re.DOTALL)
    told = re.findall(r"`([^`]+)`", rest) + re.findall(r"\]\(([^)]+)\)", rest)
    return [piece for piece in [*lines, *(re.sub(r"\s+", " ", one) for one in told)] if piece]


def files_in(piece: str, beside: Path) -> list[str]:
    """Names of files in a piece that are not there."""
    found = [name for name in FILE.findall(piece) if "://" not in piece and not name.startswith(".venv")]
    homes = (ROOT, beside)
    return [name for name in found if not any((home / name.rstrip(".")).exists() for home in homes)]


def absent(piece: str, *, beside: Path = ROOT, names: bool = True) -> list[str]:
    """Everything that a piece of a guide names and that is not there."""
    gone = [f"make {name}" for name in re.findall(r"\bmake ([a-z][a-z-]*)", piece) if name not in targets()]
    commands = re.findall(r"manage\.py ([a-z]\w*)", piece)
    gone += [f"manage.py {name}" for name in commands if name not in get_commands()]
    modules = re.findall(r"-m ((?:tests|clinic|offload)[\w.]*)", piece)
    gone += [name for name in modules if not _module(name)]
    variables = re.findall(r"\b([A-Z][A-Z_]{2,})=", piece)
    gone += [name for name in variables if name not in environment()]
    if "://" not in piece:
        gone += files_in(ARGUMENT.sub("", piece), beside)
    if (
        names
        and not (gone or commands or modules or variables or FILE.search(piece))
        and "make " not in piece
    ):
        gone += _unknown(piece)
    return gone


def _module(name: str) -> bool:
    try:
        return importlib.util.find_spec(name) is not None
    except ModuleNotFoundError:
        return False


def _unknown(piece: str) -> list[str]:
    """A setting, a command, or words of the code."""
    if piece.split()[0] in get_commands():
        return []
    if re.fullmatch(r"[A-Z]+_[A-Z_]+|CI|PRODUCTION", piece):
        return [] if piece in environment() or re.search(rf"^{piece}\b", sources(), re.MULTILINE) else [piece]
    words = re.findall(r"[A-Za-z_]\w+", piece)
    return [word for word in words or [piece] if not re.search(rf"\b{re.escape(word)}\b", sources())]


@pytest.mark.parametrize("name", DOCUMENTS)
def test_what_a_guide_names_is_there(name):
    text = (ROOT / name).read_text()
    found = pieces(text)
    assert len(found) > 5
    beside = (ROOT / name).parent
    gone = {piece: lost for piece in found if (lost := absent(piece, beside=beside, names=name in WHOLE))}
    assert not gone, gone


@pytest.mark.parametrize(
    "piece",
    [
        "clinic/nowhere.py",
        "tests/nowhere/",
        "nowhere.toml",
        "make nowhere",
        "manage.py nowhere",
        "python -m tests.nowhere",
        "NO_SUCH_SETTING",
        "NO_SUCH_SETTING=1",
        "no_such_function",
        ".venv/bin/python -m pytest tests/test_nowhere.py",
    ],
)
def test_what_is_not_there_is_found(piece):
    assert absent(piece)


@pytest.mark.parametrize(
    "piece",
    [
        "clinic/record/writes/rows.py",
        "make demo",
        "PORT=8080 make demo",
        "python manage.py migrate",
        "python -m tests.bench network",
        "DATABASE_URL",
        "ABILITIES",
        "store",
        "digest_chain",
    ],
)
def test_what_is_there_is_not(piece):
    assert not absent(piece)


def test_the_guide_can_be_read_in_a_sitting():
    words = len((ROOT / GUIDE).read_text().split())
    assert words <= MOST_WORDS, f"{words} words, {MOST_WORDS} at most"
