"""The answer to a red flag taken back: the flag is urgent again, and no team has the danger any more."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.alerts.reads.flags import flags_open
from clinic.alerts.writes.flags import flag_answer
from clinic.alerts.writes.flags_back import flag_answer_take_back, flag_withdraw
from clinic.evidence.reads.standing import standing_of
from clinic.models import DangerOwner, FlagAnswer
from clinic.record.errors import Refused
from tests import factories

TODAY = timezone.localdate


@pytest.fixture
def flag(person):
    factories.lesion(on=factories.limb(of=person))
    return factories.red_flag(of=person, flags=["gangrene"])


def answered(by, flag, how):
    known = {"under": "vascular team", "until": TODAY() + timedelta(days=7)} if how == "known" else {}
    return flag_answer(
        by=by, flag=flag, answer=how, note="Dr. on call", expected_version=flag.version, **known
    )


@pytest.mark.parametrize("how", FlagAnswer.values)
def test_an_answer_taken_back_leaves_the_flag_as_it_was_raised(how, staff, flag):
    limb = flag.person.limbs.get()
    before = (standing_of(limb, TODAY()).owned, flag.raised_at)
    answered(staff, flag, how)
    assert not flags_open(flag.person).exists()
    flag_answer_take_back(by=staff, flag=flag, reason="the wrong flag", expected_version=flag.version)
    flag = flags_open(flag.person).get()
    assert (standing_of(limb, TODAY()).owned, flag.raised_at) == before
    assert (flag.answer, flag.answer_note, flag.under, flag.until, flag.answered_by) == (
        "",
        "",
        "",
        None,
        None,
    )
    assert not DangerOwner.objects.standing().exists()
    assert flag.history.count() == 3
    answered(staff, flag, "called")


def test_a_flag_withdrawn_waits_for_nobody(staff, flag):
    flag_withdraw(by=staff, flag=flag, reason="wrong patient", expected_version=flag.version)
    assert not flags_open(flag.person).exists()
    with pytest.raises(Refused, match="was withdrawn"):
        answered(staff, flag, "called")
    with pytest.raises(Refused, match="was withdrawn"):
        flag_answer_take_back(by=staff, flag=flag, reason="x", expected_version=flag.version)


def test_the_page_takes_the_answer_back(staff, as_staff, flag):
    answered(staff, flag, "called")
    page = as_staff.get(reverse("flag_answer", args=[flag.pk])).content.decode()
    url = reverse("flag_answer_take_back", args=[flag.pk])
    assert url in page
    assert as_staff.post(url, {"version": flag.version, "reason": ""}).status_code == 422
    assert as_staff.post(url, {"version": flag.version, "reason": "slip"}).status_code == 302
    assert flags_open(flag.person).exists()
