"""No page, print, message or command says a phrase that was retired for the trade's word."""

import ast
import functools
import re
import tomllib
from pathlib import Path

import pytest

from tests.visible_words import sentences

ROOT = Path(__file__).resolve().parents[1]
RETIRED = tomllib.loads((ROOT / "tests" / "retired_phrases.toml").read_text())["retired"]
#: Names and words of the machine, which nobody who reads a screen meets.
NOT_READ = re.compile(r"/(migrations|config|vendor)/|^clinic/(models/__init__|record/reads/person_rows)\.py")
READ = {"templates": ".html", "clinic": ".py", "offload": ".py", "static": ".js"}


@functools.cache
def read_by_people():
    """(file, line, sentence) of everything that the program shows."""
    return tuple(
        (name, line, words)
        for folder, suffix in READ.items()
        for path in sorted((ROOT / folder).rglob(f"*{suffix}"))
        if not NOT_READ.search(name := path.relative_to(ROOT).as_posix())
        for line, words in sentences(path)
    )


def said(row):
    """Where a retired phrase is still said."""
    phrase, exempt = re.compile(row["phrase"]), row.get("but")
    return [
        f"{name}:{line} {match.group()!r} in {words[:100]!r}: say {row['say']}"
        for name, line, words in read_by_people()
        if (match := phrase.search(words)) and not (exempt and re.search(exempt, name))
    ]


def test_no_retired_phrase_is_said():
    found = [line for row in RETIRED for line in said(row)]
    assert not found, f"{len(found)} left\n" + "\n".join(found)


#: Values of a browser's date field; the edition's own stamp; an error that names what a file holds.
BY_MACHINE = re.compile(r"/forms/|^clinic/guidelines/edition\.py|^clinic/healing/tables\.py")


def dates_by_machine(path):
    """Days that an f-string shows as a machine writes them; an error of a command names what was typed."""
    tree = ast.parse(path.read_text())
    named = {
        part
        for node in ast.walk(tree)
        if isinstance(node, ast.Raise) and ast.unparse(node.exc or node).split("(")[0].endswith("Error")
        for part in ast.walk(node)
    }
    for node in ast.walk(tree):
        if not isinstance(node, ast.JoinedStr) or node in named or " " not in ast.unparse(node):
            continue
        for hole in node.values:
            if isinstance(hole, ast.FormattedValue):
                form = ast.unparse(hole.format_spec) if hole.format_spec else ""
                value = ast.unparse(hole.value)
                bare = not form and re.search(r"(_on|isoformat\(\))$", value)
                if bare or "%Y-%m-%d" in form:
                    yield node.lineno, value


def test_a_day_in_a_sentence_has_one_form():
    wrong = [
        f"{name}:{line} {value}"
        for folder in ("clinic", "offload")
        for path in sorted((ROOT / folder).rglob("*.py"))
        if not NOT_READ.search(name := path.relative_to(ROOT).as_posix()) and not BY_MACHINE.search(name)
        for line, value in dates_by_machine(path)
    ]
    assert not wrong, "\n".join(wrong)


def test_the_reader_of_files_sees_what_a_person_reads_and_no_names():
    # A broken reader would find nothing and pass everything.
    seen = {name: words for name, _, words in read_by_people()}
    assert len(read_by_people()) > 3000
    assert {Path(name).suffix for name in seen} == {".html", ".py", ".js"}
    assert any(words.startswith("Sealed {on}") for _, _, words in read_by_people())
    assert not any(
        "{% url" in words or "</" in words for name, _, words in read_by_people() if "html" in name
    )


@pytest.mark.parametrize("row", [row for row in RETIRED if "but" in row], ids=lambda row: row["phrase"][:30])
def test_an_exemption_is_still_needed_and_has_its_reason(row):
    assert row["because"]
    unbound = {key: value for key, value in row.items() if key != "but"}
    assert len(said(unbound)) > len(said(row))
