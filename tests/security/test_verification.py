# ruff: noqa: S608  names of our own tables
"""The check of the record names every change made past the program, and none that the program made.

One clinic is played for all of these; what each does to it is taken back.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import override_settings
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from clinic.accounts.writes import digests
from clinic.models import Photo
from tests.coarse import plans_kept_coarsely
from tests.security import played
from tests.security.tampering import (
    CASES,
    NOT_HASHED,
    UNREADABLE_VALUES,
    folders,
    followed,
    key_column,
    named_after,
    place,
    row_of,
    without_triggers,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module", autouse=True)
def _clinic(django_db_setup, django_db_blocker, tmp_path_factory):
    with (
        django_db_blocker.unblock(),
        override_settings(**folders(tmp_path_factory.mktemp("played"))),
        pytest.MonkeyPatch.context() as patch,
        transaction.atomic(),
    ):
        plans_kept_coarsely(patch)
        played.play_clinic(4)
        yield
        transaction.set_rollback(True)


def test_a_played_clinic_has_no_fault(append_only):
    assert [str(fault) for fault in played.faults()] == []
    assert [str(fault) for fault in played.faults(full=False)] == []


def test_any_change_of_any_row_is_named_at_its_table_and_row():
    """Twenty-five changes drawn over every table, column and row; the draw is new each time."""
    tables = [t for t in followed() if played.one(f'SELECT COUNT(*) FROM "{t}"')]
    assert len(tables) > 30
    seen = set()

    @given(st.data())
    @settings(max_examples=25)
    def law(data):
        table = data.draw(st.sampled_from(tables), label="table")
        key = key_column(table)
        with connection.cursor() as cursor:
            cursor.execute(f'SELECT "{key}" FROM "{table}" ORDER BY 1')
            keys = [number for (number,) in cursor.fetchall()]
        number = data.draw(st.sampled_from(keys), label="row")
        row = row_of(table, key, number)
        kinds = played.columns(table)
        options = sorted(
            c for c in row if c != key and (table, c) not in NOT_HASHED and c != "m2m_history_id"
        )
        column = data.draw(st.sampled_from([*options, "(the whole row)"]), label="column")
        if column == "(the whole row)":

            def change():
                played.sql(f'DELETE FROM "{table}" WHERE "{key}" = %s', number)
        else:
            value = played.another(row[column], kinds[column])

            def change():
                played.sql(f'UPDATE "{table}" SET "{column}" = %s WHERE "{key}" = %s', value, number)

        try:
            words = named_after(change)
        except IntegrityError:
            reject()  # the database itself refuses a second row of that kind
        where, what = place(table, number, row)
        if table == "clinic_auditevent" and column == "(the whole row)":
            what = f"of site {row['site_id']}"
        assert any(where in one and re.search(rf"{re.escape(what)}\b", one) for one in words), (
            where,
            what,
            words,
        )
        seen.add((table, column))

    law()
    assert len(seen) > 15
    assert without_triggers() == []


@pytest.mark.parametrize(("table", "column"), UNREADABLE_VALUES)
def test_a_value_that_cannot_be_read_is_named_at_its_row(table, column):
    value = UNREADABLE_VALUES[table, column][connection.vendor]
    number = played.one(f'SELECT MIN("{key_column(table)}") FROM "{table}"')
    where, what = place(table, number, row_of(table, key_column(table), number))

    def change():
        played.sql(f'UPDATE "{table}" SET "{column}" = %s WHERE "{key_column(table)}" = %s', value, number)

    words = named_after(change)
    assert any(where in one and re.search(rf"{re.escape(what)}\b", one) for one in words), words
    assert without_triggers() == []


def test_twenty_five_ways_to_change_the_record_are_each_named():
    text = digests.path().read_text()
    picture = Photo.objects.order_by("pk").first().file
    stored = Path(picture.path).read_bytes()
    missed = {}
    for case in CASES:
        words = case.expected()
        found = named_after(case.change)
        digests.path().write_text(text)
        Path(picture.path).write_bytes(stored)
        ends = r"(?!\d)" if words[-1].isdigit() else ""
        if not any(re.search(re.escape(words) + ends, one) for one in found):
            missed[case.name] = found
    assert len(CASES) == 25
    assert missed == {}
    assert without_triggers() == []
