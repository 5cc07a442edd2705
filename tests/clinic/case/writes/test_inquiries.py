"""Why is it not healing? The sheet is whole or not kept; what is to do becomes an event; Review asks for
it.
"""

from datetime import timedelta

import pytest
from clinic.case.reads.inquiries import inquiry_due, why_sheet
from clinic.case.writes import CauseFound, inquiry_make
from django.utils import timezone

from clinic.guidelines.due import INQUIRY_DAYS
from clinic.models import AuditEvent, Event, Inquiry, InquiryTopic
from clinic.record.errors import Refused
from clinic.week.reads.review import review_list
from tests import factories

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate


@pytest.fixture
def lesion(person):
    found = factories.lesion(on=factories.limb(of=person))
    factories.series(found, [3.0, 3.0, 3.0, 3.0, 3.0, 3.0])
    return found


def causes(**different):
    plain = {topic: CauseFound("not_needed", "looked at, no cause") for topic in InquiryTopic}
    return {**plain, **{InquiryTopic(topic): cause for topic, cause in different.items()}}


def make(by, lesion, **different):
    return inquiry_make(by=by, lesion=lesion, made_on=TODAY(), verdict="stalled", causes=causes(**different))


def test_what_is_to_do_becomes_an_event_of_the_lesion(lesion, podiatrist):
    made = make(
        podiatrist,
        lesion,
        perfusion=CauseFound("do", "toe pressure again this week", ("Toe pressure: not known",)),
        wear=CauseFound("done", "talked through with his wife"),
    )
    (event,) = Event.objects.all()
    assert (event.kind, event.lesion, event.note) == (
        "decision",
        lesion,
        "Perfusion: toe pressure again this week",
    )
    kept = made.answers.get(topic="perfusion")
    assert kept.facts == ["Toe pressure: not known"]
    assert made.answers.count() == len(InquiryTopic)
    assert AuditEvent.objects.get().verb == "asked why"


@pytest.mark.parametrize(
    ("different", "field"),
    [
        ({"perfusion": CauseFound("", "words")}, "perfusion_outcome"),
        ({"surgery": CauseFound("do", "  ")}, "surgery_words"),
    ],
)
def test_half_a_sheet_is_not_kept(lesion, podiatrist, different, field):
    with pytest.raises(Refused) as refused:
        make(podiatrist, lesion, **different)
    assert refused.value.field == field
    assert not Inquiry.objects.exists()
    assert not Event.objects.exists()


def test_review_asks_for_the_sheet_until_it_is_made(lesion, site, podiatrist):
    def asked():
        row = review_list(site, TODAY()).row_of(lesion)
        return [due.words for due in row.due if due.kind == "inquiry"]

    assert asked() == ["Nobody has gone through why it is not healing."]
    make(podiatrist, lesion)
    assert asked() == []


def test_a_sheet_is_good_for_fourteen_days():
    day = TODAY()
    assert inquiry_due("stalled", day - timedelta(days=INQUIRY_DAYS), day) == ""
    assert "last gone through" in inquiry_due("stalled", day - timedelta(days=INQUIRY_DAYS + 1), day)
    assert inquiry_due("on_course", None, day) == ""


def test_the_sheet_stands_with_dated_facts_and_what_is_not_known(lesion):
    today = TODAY()
    factories.finding(of=lesion.limb, toe_pressure_mmhg=42, found_on=today - timedelta(days=200))
    factories.prescription(of=lesion.limb, lesions=[lesion], fitted_on=today - timedelta(days=21))
    facts = {cause.topic: " | ".join(cause.facts) for cause in why_sheet(lesion, today).causes}
    assert "Toe pressure 42 mmHg" in facts["perfusion"]
    assert "too old to rely on" in facts["perfusion"]
    assert "Probe to bone: not known" in facts["infection"]
    assert "Foam: 3 weeks in use" in facts["pressure"]
    assert "Wear: not known" in facts["wear"]
    assert "Nutrition: not known" in facts["tissue"]
    assert "Talk about surgery: not known" in facts["surgery"]
