"""A call that came in: logged without a visit, with the same red flags, and on Today until answered."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.alerts.writes.calls import call_answer, call_log
from clinic.alerts.writes.flags import FlagOutcome
from clinic.models import AuditEvent, CallAbout, IncomingCall, RedFlag, Visit
from clinic.record.errors import Conflict, Refused
from clinic.week.reads.today import today_lists
from tests import factories

pytestmark = pytest.mark.django_db


def logged(by, person, **told):
    return call_log(by=by, person=person, **{"about": "rubbing", "words": "It rubs.", **told})


def calls_on_today(site):
    return [row.person for row in today_lists(site, timezone.localdate()).morning.calls]


@pytest.mark.parametrize("about", CallAbout.values)
def test_a_call_of_any_kind_stands_on_today_until_answered_and_makes_no_visit(staff, person, site, about):
    call = logged(staff, person, about=about)
    assert calls_on_today(site) == [person]
    assert not Visit.objects.exists()
    call_answer(by=staff, call=call, done="advised", done_note="dry it", expected_version=1)
    assert calls_on_today(site) == []
    assert AuditEvent.objects.filter(target_kind="incomingcall").count() == 2


def test_a_call_answered_at_once_never_stands_on_today(staff, person, site):
    logged(staff, person, done="comes_today", done_note="at two")
    assert calls_on_today(site) == []


def test_a_red_flag_of_a_call_is_a_stop_like_one_of_a_visit(staff, person, site):
    call = logged(staff, person, about="fever", red_flags=["fever_or_unwell"])
    flag = RedFlag.objects.get()
    assert (flag.call, flag.visit, flag.flags) == (call, None, ["fever_or_unwell"])
    flags = today_lists(site, timezone.localdate()).morning.flags
    assert [row.person for row in flags] == [person]
    assert flags[0].asks[0].kind == "stop"


def test_the_answer_on_the_calls_own_sheet_goes_with_the_flag(staff, person):
    logged(staff, person, red_flags=["abscess"], outcome=FlagOutcome("sent", "by ambulance"))
    assert RedFlag.objects.get().answer == "sent"


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"done": "advised"}, "done_note"),
        ({"done": "sang", "done_note": "x"}, "done"),
        ({"done_note": "dry it"}, "done"),
        ({"outcome": FlagOutcome("called", "x")}, "red_flags"),
        ({"red_flags": ["abscess"], "outcome": FlagOutcome("known", "x", "", None)}, "flag_under"),
    ],
)
def test_what_is_half_told_is_refused_at_its_field_and_nothing_is_stored(staff, person, told, field):
    with pytest.raises(Refused) as refused:
        logged(staff, person, **told)
    assert refused.value.field == field
    assert not IncomingCall.objects.exists()
    assert not RedFlag.objects.exists()


def test_a_call_is_answered_once_and_on_its_newest_version(staff, person):
    call = logged(staff, person)
    with pytest.raises(Conflict):
        call_answer(by=staff, call=call, done="advised", done_note="x", expected_version=7)
    call.refresh_from_db()
    call_answer(by=staff, call=call, done="advised", done_note="x", expected_version=1)
    with pytest.raises(Refused):
        call_answer(by=staff, call=call, done="advised", done_note="y", expected_version=2)


def test_a_call_past_its_limit_is_a_stop(person, site):
    factories.call(of=person, called_at=timezone.now() - timedelta(days=9))
    row = today_lists(site, timezone.localdate()).morning.calls[0]
    assert row.asks[0].kind == "stop"
