"""Each requirement of ASVS 5.0 levels 1 and 2 has its answer, and what shows it is there."""

from __future__ import annotations

import ast
from functools import cache

from tests.security.asvs.table import counts, rows
from tests.test_repository import ROOT

#: How many requirements the standard asks at level 1 and, on top, at level 2.
ASKED = {"1": 70, "2": 183}


def test_every_requirement_has_one_answer_with_what_shows_it(capsys):
    table = rows()
    assert len({row["requirement"] for row in table}) == len(table) == sum(ASKED.values())
    for level, number in ASKED.items():
        assert sum(row["level"] == level for row in table) == number
    for row in table:
        assert None not in row, row["requirement"]  # a comma that is not in quotes
        assert row["status"] in ("met", "not applicable", "open"), row["requirement"]
        assert len(row["shown_by"]) > 5, row["requirement"]
    with capsys.disabled():
        print("\nASVS 5.0: " + ", ".join(f"{number} {words}" for words, number in counts().items()))


def test_every_met_requirement_names_the_test_that_attacks_it():
    gone = []
    for row in rows():
        if row["status"] != "met":
            continue
        path, _, test = row["shown_by"].partition("::")
        if not (ROOT / path).is_file() or test not in names_in(path):
            gone.append((row["requirement"], row["shown_by"]))
    assert not gone, gone


@cache
def names_in(path):
    """Test functions of one file."""
    return {
        node.name
        for node in ast.walk(ast.parse((ROOT / path).read_text()))
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    }
