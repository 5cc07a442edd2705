"""Days offered for the next visit."""

from datetime import date, timedelta

import pytest

from clinic.guidelines.next_visit import next_offers, offered_day

SEEN = date(2026, 3, 2)


@pytest.mark.parametrize("open_in", [None, *range(1, 16)])
def test_no_day_after_the_opening_day_is_offered_while_the_device_stays_closed(open_in):
    open_by = None if open_in is None else SEEN + timedelta(days=open_in)
    offers = next_offers(SEEN, open_lesions=True, open_by=open_by)
    for one in offers:
        day = offered_day(one.key, SEEN, open_by)
        assert day > SEEN
        assert one.beyond == (open_by is not None and day > open_by)
    assert any(not one.beyond for one in offers)


@pytest.mark.parametrize(
    ("months", "offered"),
    [
        (None, ["m1", "m2", "m3"]),
        ((1, 3), ["m1", "m2", "m3"]),
        ((3, 6), ["m3", "m4", "m6"]),
        ((12, 12), ["m12"]),
    ],
)
def test_without_an_open_ulcer_the_risk_category_says_the_months(months, offered):
    assert [one.key for one in next_offers(SEEN, open_lesions=False, months=months)] == offered


@pytest.mark.parametrize(
    "day", [date(2026, 1, 31), date(2027, 11, 30), date(2028, 2, 29), date(2026, 12, 31)]
)
@pytest.mark.parametrize("months", range(1, 13))
def test_a_month_later_lies_in_that_month(day, months):
    later = offered_day(f"m{months}", day)
    assert (later.year * 12 + later.month) - (day.year * 12 + day.month) == months
    assert later.day <= day.day


@pytest.mark.parametrize("key", ["", "m", "seven", "-7", "open"])
def test_what_is_no_offer_is_no_day(key):
    assert offered_day(key, SEEN) is None
