"""The printed report: the bar of five parts stands where every part is given, and nowhere else."""

import io
from datetime import date

import pytest
from pypdf import PdfReader

from clinic.audit.prints import report_pdf

PARTS = ("first", "lower_dated", "lower_ticked", "departed", "unjudged")


def figure(key, count, of=None, interval=None, suppressed=False):
    return {
        "key": key,
        "words": key,
        "count": None if suppressed else count,
        "of": of,
        "suppressed": suppressed,
        "percent": None if suppressed or not of else round(100 * count / of, 1),
        "interval_95": interval,
    }


def report(counts, hidden=()):
    figures = [
        figure(f"part.{name}", count, sum(counts), [0.0, 50.0], name in hidden)
        for name, count in zip(PARTS, counts, strict=True)
    ]
    figures.append(figure("agreed", sum(counts[:3]), sum(counts[:4]) or None, [60.0, 90.0]))
    return {
        "sites": ["Alder Lane"],
        "since": date(2026, 1, 1),
        "until": date(2026, 6, 30),
        "made_on": date(2026, 7, 1),
        "notice": "Supports licensed judgement",
        "figures": figures,
        "harm_per_100_device_weeks": {},
        "recurrence": [],
        "median_to_device": "3 days",
        "definitions": {},
    }


def page(value):
    return PdfReader(io.BytesIO(report_pdf(value))).pages[0].extract_text()


def test_the_bar_stands_above_the_table_with_its_counts():
    text = page(report((61, 19, 7, 21, 10)))
    assert "left to right as in the table" in text
    assert text.index("left to right") < text.index("part.first")
    assert "50 % of those judged" in text


@pytest.mark.parametrize(
    ("counts", "hidden"), [((61, 19, 7, 21, 10), ("lower_ticked",)), ((0, 0, 0, 0, 0), ())]
)
def test_no_bar_where_a_part_is_not_given_or_nothing_was_prescribed(counts, hidden):
    assert "left to right" not in page(report(counts, hidden))


def test_the_same_value_gives_the_same_bytes():
    value = report((5, 4, 3, 2, 1))
    assert report_pdf(value) == report_pdf(value)
