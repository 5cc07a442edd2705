"""A look is asked for once, answered once, and read; each leaves one row of the chain."""

from unittest.mock import patch

import pytest
from django.utils import timezone

from clinic.lesions.writes.looks import look_answer, look_ask, look_read
from clinic.models import AuditEvent, Look
from clinic.record.errors import Conflict, Refused
from clinic.week.reads.review import review_list
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def test_a_question_stands_after_what_is_urgent_until_it_is_answered(lesion, site, staff, podiatrist):
    flagged = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    factories.red_flag(of=flagged.limb.person)
    look = look_ask(by=staff, lesion=lesion, question="  Is this rim undermined? ")
    urgent, asked = review_list(site, timezone.localdate()).groups[:2]
    assert (urgent.concern, asked.concern, asked.rows[0].lesion) == ("stop", "look", lesion)
    assert asked.rows[0].look.question == "Is this rim undermined?"
    assert not asked.rows[0].may_be_seen
    look_answer(by=podiatrist, look=look, answer="Yes, 3 mm at 4 o'clock", expected_version=look.version)
    assert "look" not in [group.concern for group in review_list(site, timezone.localdate()).groups]
    look_read(by=staff, look=look)
    look_read(by=staff, look=look)
    assert [e.verb for e in AuditEvent.objects.order_by("sequence")] == ["asked for", "answered", "read"]
    assert look.read_by == staff


def test_one_question_at_a_time_and_only_about_an_open_lesion(lesion, staff):
    with pytest.raises(Refused, match="one sentence"):
        look_ask(by=staff, lesion=lesion, question=" ")
    look_ask(by=staff, lesion=lesion, question="Look")
    with pytest.raises(Refused, match="already"):
        look_ask(by=staff, lesion=lesion, question="Look again")
    lesion.state, lesion.outcome = "ended", "lost"
    with pytest.raises(Refused, match="open one"):
        look_ask(by=staff, lesion=lesion, question="Look")


def test_an_answer_is_given_once_and_on_the_newest_page(lesion, staff, podiatrist):
    look = look_ask(by=staff, lesion=lesion, question="Look")
    with pytest.raises(Refused, match="no answer yet"):
        look_read(by=staff, look=look)
    with pytest.raises(Conflict):
        look_answer(by=podiatrist, look=Look.objects.get(), answer="Yes", expected_version=0)
    with pytest.raises(Refused, match="one sentence"):
        look_answer(by=podiatrist, look=look, answer=" ", expected_version=look.version)
    look_answer(by=podiatrist, look=look, answer="Yes", expected_version=look.version)
    with pytest.raises(Refused, match="answered already"):
        look_answer(by=podiatrist, look=look, answer="No", expected_version=look.version)


def test_nothing_is_kept_when_the_audit_row_cannot_be(lesion, staff):
    with (
        patch("clinic.lesions.writes.looks.audit.record", side_effect=RuntimeError),
        pytest.raises(RuntimeError),
    ):
        look_ask(by=staff, lesion=lesion, question="Look")
    assert not Look.objects.exists()
