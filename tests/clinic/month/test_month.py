"""Every overdue device, open flag, unreached referral, missed visit and undated lesion on its list on its
day.
"""

import pytest

from tests.clinic.month.play import Month

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.any_database(
        "its lists are asked of a second one in tests/clinic/week, its writes in test_checks.py"
    ),
]


def test_a_month_of_sixty_people_has_nobody_missing_and_nobody_wrongly_listed(capsys):
    figures = Month(60, seed=2026).run(30)
    with capsys.disabled():
        print(f"\n{figures.table()}")
    assert figures.missing == []
    assert figures.wrong == []
    assert figures.twice == []
    # A question that comes too often is no longer read.
    questions = figures.happened["visits with a question about a typed value"]
    assert questions * 30 <= figures.happened["visits made"]
    # The month held every kind of trouble, or it has shown nothing.
    for name in (
        "sealed",
        "flag",
        "referral",
        "no_date",
        "escalate",
        "try",
        "overdue",
        "due",
        "look",
        "remission",
    ):
        assert figures.entered[name] > 0, name
