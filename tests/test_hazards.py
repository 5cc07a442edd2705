"""The hazard table of DEVELOPERS.md: each row names a cause, a control and a test, and the test is there."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def rows():
    text = (ROOT / "DEVELOPERS.md").read_text().split("\n## Hazards\n")[1].split("\n## ")[0]
    lines = [line for line in text.splitlines() if line.startswith("|")][2:]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines]


def names_of_tests():
    """Names of every test function in the tree."""
    return {
        node.name
        for path in (ROOT / "tests").rglob("test_*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    }


def test_the_hazard_table_is_whole():
    table = rows()
    assert len(table) >= 20
    for row in table:
        assert len(row) == 4, row
        assert all(len(cell) > 8 for cell in row), row
    assert len({row[0] for row in table}) == len(table)


def test_every_hazard_names_a_test_that_is_there():
    there = names_of_tests()
    gone = [(row[0], row[3]) for row in rows() if row[3].strip("`") not in there]
    assert not gone, gone
