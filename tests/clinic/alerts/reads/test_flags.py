from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.conf import settings
from django.utils import timezone

from clinic.alerts.reads.flags import (
    QUESTIONS,
    flag_sheet,
    flag_urgency,
    flag_words,
    flags_open,
    travelling_sheet,
)
from clinic.models import Person, RedFlag
from tests import factories

pytestmark = pytest.mark.django_db


def raised(**fields):
    """As a page reads it, with the site's hours as times."""
    return RedFlag.objects.select_related("person__site").get(pk=factories.red_flag(**fields).pk)


def test_answered_flags_are_not_open(person):
    waiting = factories.red_flag(of=person)
    factories.red_flag(of=person, answer="called", answered_at=timezone.now())
    assert list(flags_open(person)) == [waiting]


def test_words_follow_the_list_and_keep_an_old_key_readable():
    assert flag_words(["abscess", "fever_or_unwell", "some_old_key"]) == [
        "Fever, shivering or generally unwell",
        "Abscess, or pus under pressure",
        "some old key",
    ]


def test_the_most_pressing_flag_decides():
    assert flag_urgency(["suspected_charcot"]) == "one_working_day"
    assert flag_urgency(["suspected_charcot", "gangrene"]) == "immediate"


@pytest.mark.parametrize(("hour", "number"), [(8, "000 2000"), (9, "000 1000"), (17, "000 2000")])
def test_the_number_is_that_of_the_hour(person, hour, number):
    now = datetime(2026, 11, 25, hour, 0, tzinfo=ZoneInfo("Europe/London"))
    assert flag_sheet(raised(of=person), now).telephone == number


@pytest.mark.parametrize(("hour", "number"), [(8, "000 2001"), (9, "000 1001"), (17, "000 2001")])
def test_the_number_is_that_of_the_urgency_too(person, hour, number):
    now = datetime(2026, 11, 25, hour, 0, tzinfo=ZoneInfo("Europe/London"))
    sheet = flag_sheet(raised(of=person, flags=["suspected_charcot"]), now)
    assert (sheet.telephone, sheet.urgency_words) == (number, "Within one working day")
    both = raised(of=person, flags=["suspected_charcot", "gangrene"])
    assert flag_sheet(both, now).telephone == number.replace("001", "000")


def test_one_working_day_skips_the_weekend(person):
    friday = datetime(2026, 11, 27, 16, 0, tzinfo=UTC)
    sheet = flag_sheet(raised(of=person, flags=["suspected_charcot"], raised_at=friday), friday)
    assert sheet.by == friday + timedelta(days=3)
    assert sheet.offload_today


def test_a_sealed_device_is_named_first(person):
    lesion = factories.lesion(on=factories.limb(of=person))
    today = timezone.localdate()
    device = factories.prescription(
        of=lesion.limb,
        device_class="total_contact_cast",
        sealed_on=today - timedelta(days=3),
        open_by=today + timedelta(days=3),
    )
    assert flag_sheet(raised(of=person), timezone.now()).sealed == (device,)


def test_a_holiday_and_a_closed_weekday_move_the_limit(person, site):
    site.closed_weekdays, site.holidays = [0, 6], ["2026-12-01"]
    site.save()
    saturday = datetime(2026, 11, 28, 16, 0, tzinfo=UTC)
    flag = raised(of=person, flags=["suspected_charcot"], raised_at=saturday)
    # Sunday and Monday are closed, Tuesday is a day off.
    assert flag_sheet(flag, saturday).by == datetime(2026, 12, 2, 16, 0, tzinfo=UTC)


def test_the_travelling_sheet_carries_rule_words_and_numbers(person):
    now = datetime(2026, 11, 27, 16, 0, tzinfo=UTC)
    sheet = travelling_sheet(Person.objects.get(pk=person.pk), (), now)
    assert [one.id for one in sheet.questions] == list(QUESTIONS)
    assert all(one.source for one in sheet.questions)
    assert sheet.zone == "Europe/London"
    assert sheet.day_words == "by 16:00 on Mon 30 Nov 2026"
    assert len(sheet.openings_text.split(";")) == 4


def test_the_style_sheet_names_every_flag_of_the_list():
    css = (settings.BASE_DIR / "static/css/flag_sheet.css").read_text()
    assert {key for key in QUESTIONS if f"[data-flag={key}]" not in css} == set()
