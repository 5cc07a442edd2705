"""An exported list is harmless to a spreadsheet and known to the chain."""

import csv
import io
from datetime import date

import pytest

from clinic.models import AuditEvent
from clinic.record.writes.exports import export_csv, formula_safe


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_text_that_would_run_stays_text(start):
    assert formula_safe(f"{start}SUM(A1)") == f"'{start}SUM(A1)"


@pytest.mark.parametrize("cell", ["T00012", "", "5 - 7", -3, date(2026, 11, 25), None])
def test_everything_else_stays_as_it_is(cell):
    assert formula_safe(cell) == cell


def test_rows_come_out_as_they_went_in_and_one_row_of_the_chain_tells(site, manager):
    text = export_csv(
        by=manager,
        site=site,
        what="Departed",
        head=("a", "b"),
        rows=[("x, y", None), ("=1", 2)],
        since="2026-01-01",
    )
    assert list(csv.reader(io.StringIO(text))) == [["a", "b"], ["x, y", ""], ["'=1", "2"]]
    event = AuditEvent.objects.get()
    assert (event.verb, event.site_id) == ("exported", site.pk)
    for told in ('"rows":2', '"what":"Departed"', '"since":"2026-01-01"'):
        assert told in event.detail
