"""The three combination tables, driven through the combining functions."""

import pytest

from tests.clinic.guidelines.combinations import COMBINATIONS, SHORT, TITLES, main, shown


@pytest.mark.parametrize("row", COMBINATIONS, ids=lambda row: f"{row.table}: {row.name}")
def test_a_combination_is_answered_as_its_citation_says(row):
    limb = row.limb
    assert shown(limb) == row.classes
    assert {SHORT[w.id] for w in limb.withheld} == row.withheld
    said = " ".join((*limb.notes, *row.person.notes))
    assert row.noted in said
    assert bool(row.noted) == bool(said)


def test_each_of_the_three_tables_has_rows_with_their_citation():
    for table in TITLES:
        assert len([row for row in COMBINATIONS if row.table == table]) >= 5
    assert all(row.citation for row in COMBINATIONS)


def test_the_tables_print_themselves(capsys):
    main()
    printed = capsys.readouterr().out
    assert all(title in printed for title in TITLES.values())
    assert printed.count("ranked") == len(COMBINATIONS)
