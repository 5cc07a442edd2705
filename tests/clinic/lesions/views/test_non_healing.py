"""The pages of the non-healing review: nothing preselected, nothing typed lost, linked where it is due."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.curves.reads.healing import healing_of
from clinic.lesions.reads.non_healing import verdict_words
from clinic.models import NonHealingReview, NonHealingTopic
from tests import factories, factories_care

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate


@pytest.fixture
def lesion(person):
    found = factories.lesion(on=factories.limb(of=person))
    factories.series(found, [3.0] * 9)
    return found


def url(lesion):
    return f"/lesions/{lesion.pk}/non-healing/new/"


def typed(**changed):
    data = {f"{topic}_state": "not_needed" for topic in NonHealingTopic.values}
    data |= {f"{topic}_words": f"seen {topic}" for topic in NonHealingTopic.values}
    return {**data, **changed}


def test_it_is_linked_from_today_review_and_the_ulcer_while_it_is_due(as_podiatrist, lesion):
    for path in ("/today/", "/review/", f"/lesions/{lesion.pk}/"):
        assert url(lesion) in as_podiatrist.get(path).content.decode(), path
    assert as_podiatrist.post(url(lesion), typed()).status_code == 302
    for path in ("/today/", "/review/", f"/lesions/{lesion.pk}/"):
        assert url(lesion) not in as_podiatrist.get(path).content.decode(), path


def test_nothing_is_preselected_and_what_is_not_known_says_so(as_staff, lesion):
    page = as_staff.get(url(lesion)).content.decode()
    assert page.count("not known") > 4
    assert not re.search(r"<input[^>]*checked", page)
    assert verdict_words(healing_of(lesion), TODAY()) in page


def test_what_was_typed_stays_until_the_review_is_whole(as_staff, lesion, staff):
    half = typed(kidney_state="due")
    back = as_staff.post(url(lesion), half)
    assert back.status_code == 422
    page = back.content.decode()
    assert "Kidney: who does it?" in page
    assert "Kidney: until when?" in page
    assert page.count('value="seen ') == len(NonHealingTopic)
    day = (TODAY() + timedelta(days=3)).isoformat()
    whole = {**half, "kidney_owner": str(staff.pk), "kidney_due_on": day}
    answer = as_staff.post(url(lesion), whole)
    assert answer.status_code == 302
    made = NonHealingReview.objects.get()
    assert made.verdict.startswith("static, ")
    assert answer["Location"] == f"/non-healing/{made.pk}/"


def test_a_healing_ulcer_is_told_that_nothing_is_due(as_staff, person):
    found = factories.lesion(on=factories.limb(of=person))
    factories.series(found, [4.0, 3.0, 2.0, 1.3, 0.8, 0.5])
    page = as_staff.get(url(found))
    assert "nothing is due here" in page.content.decode()
    assert as_staff.post(url(found), typed()).status_code == 422
    assert not NonHealingReview.objects.exists()


def test_staff_work_items_off_and_a_podiatrist_decides(as_staff, as_podiatrist, lesion):
    review = factories_care.non_healing(of=lesion, due={"smoking": TODAY()})
    item = review.items.get(topic="smoking")
    page = as_staff.get(f"/non-healing/{review.pk}/").content.decode()
    assert f"/non-healing-items/{item.pk}/" in page
    assert "decide/" not in page
    decision = {"version": 1, "outcome": "failed", "outcome_words": "nine weeks of it"}
    refused = as_podiatrist.post(f"/non-healing/{review.pk}/decide/", decision)
    assert refused.status_code == 422
    assert "still due: smoking" in refused.content.decode()
    assert "nine weeks of it" in refused.content.decode()
    as_staff.post(f"/non-healing-items/{item.pk}/", {"version": 1, "state": "done", "words": "stopped"})
    assert as_podiatrist.post(f"/non-healing/{review.pk}/decide/", decision).status_code == 302
    advice = as_podiatrist.get(f"/limbs/{lesion.limb_id}/prescribe/").content.decode()
    assert "good care has failed" in advice
