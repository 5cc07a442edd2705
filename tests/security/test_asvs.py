"""Each requirement of ASVS 5.0 levels 1 and 2 has its answer, and what shows it is there."""

from __future__ import annotations

import re

from tests.security.asvs.table import counts, rows
from tests.test_hazards import ROOT, names_of_tests

#: How many requirements the standard asks at level 1 and, on top, at level 2.
ASKED = {"1": 70, "2": 183}


def test_every_requirement_has_one_answer_with_what_shows_it(capsys):
    table = rows()
    assert len({row["requirement"] for row in table}) == len(table) == sum(ASKED.values())
    for level, number in ASKED.items():
        assert sum(row["level"] == level for row in table) == number
    for row in table:
        assert row["status"] in ("met", "not applicable", "open"), row["requirement"]
        assert len(row["shown_by"]) > 5, row["requirement"]
    with capsys.disabled():
        print("\nASVS 5.0: " + ", ".join(f"{number} {words}" for words, number in counts().items()))


def test_what_shows_a_met_requirement_is_there():
    there, gone = names_of_tests(), []
    for row in rows():
        if row["status"] != "met":
            continue
        path, _, test = row["shown_by"].partition("::")
        file = re.match(r"[\w./-]+", path)
        if file is None or not (ROOT / file[0].rstrip(".")).exists() or (test and test not in there):
            gone.append((row["requirement"], row["shown_by"]))
    assert not gone, gone
