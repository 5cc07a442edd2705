"""A typed value unlike the last is asked about once, before saving; pressing again saves it as typed."""

import re
from datetime import timedelta
from decimal import Decimal
from html import unescape

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.models import Measurement, PhotoConsent, Visit, Weight
from clinic.record.questions import ANSWER
from tests import factories
from tests.clinic.fields.test_no_field_is_lost import EXAMPLES
from tests.clinic.form_fields import Fields

from .test_visits import days, iso, post

pytestmark = pytest.mark.django_db


@pytest.fixture
def lesion(person):
    lesion = factories.lesion(on=factories.limb(of=person))
    visit = factories.visit(of=person, on=days(-7), next_on=days(0))
    measured = {"method": "ellipse", "length_mm": Decimal("8.2"), "width_mm": Decimal("6.4")}
    factories.measurement(at=visit, of=lesion, cm2=0.41, redness_mm=4, **measured)
    factories.weight(of=person, kg=Decimal("84.5"), on=days(-60))
    return lesion


@pytest.fixture
def url(person):
    return reverse("visit_new", args=[person.pk])


def typed(lesion, **told):
    """A whole visit; `length_mm` and so on belong to the lesion."""
    sizes = {f"lesion-{lesion.pk}-{name}": told.pop(name) for name in list(told) if name.endswith("_mm")}
    return post(lesion, **sizes, **told)


def sent_again(page, data):
    """The same page sent once more, with what it carries now."""
    carried = re.findall(f'name="{ANSWER}" value="([^"]*)"', page.content.decode())
    return {**data, ANSWER: list(map(unescape, carried))}


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"length_mm": "85", "width_mm": "60"}, "length: 85 mm is about ten times the last, 8.2 mm on "),
        ({"length_mm": "85", "width_mm": "6"}, "Is a decimal point missing?"),
        ({"length_mm": "14", "width_mm": "14"}, "area: 1.54 cm² is 3.8 times the last, 0.41 cm²"),
        ({"length_mm": "0,9", "width_mm": "0.8"}, "length: 0.9 mm is about a tenth of the last"),
        (
            {"length_mm": "8", "width_mm": "6", "weight_kg": "73,5", "weight_how": "scales"},
            "73.5 kg is 13 % less than the last, 84.5 kg",
        ),
    ],
)
def test_a_value_unlike_the_last_is_asked_about_once_and_saved_by_the_next_press(
    as_staff, url, lesion, told, words
):
    if "area" in words:
        Measurement.objects.filter(lesion=lesion).update(area_mm2=60)
        words = words.replace("3.8 times the last, 0.41", "2.6 times the last, 0.60")
    data = typed(lesion, **told)
    page = as_staff.post(url, data)
    assert page.status_code == 422
    text = page.content.decode()
    assert words in text
    assert "Yes, as typed: save visit" in text
    assert Visit.objects.count() == 1
    for name, value in told.items():
        assert f'value="{value}"' in text, name
    assert as_staff.post(url, sent_again(page, data)).status_code == 302
    kept = Visit.objects.latest("pk")
    assert any(words in one for one in kept.confirmed_as_typed)
    assert words in as_staff.get(reverse("visit", args=[kept.pk])).content.decode()


def test_a_corrected_value_is_saved_and_nothing_is_kept_of_the_question(as_staff, url, lesion):
    data = typed(lesion, length_mm="85", width_mm="60")
    page = as_staff.post(url, data)
    right = {f"lesion-{lesion.pk}-length_mm": "8,5", f"lesion-{lesion.pk}-width_mm": "6,0"}
    assert as_staff.post(url, {**sent_again(page, data), **right}).status_code == 302
    row = Measurement.objects.latest("pk")
    assert (row.length_mm, row.width_mm) == (Decimal("8.5"), Decimal("6.0"))
    assert row.visit.confirmed_as_typed == []


def test_another_value_unlike_the_last_is_another_question(as_staff, url, lesion):
    data = typed(lesion, length_mm="85", width_mm="6")
    page = as_staff.post(url, data)
    other = {**sent_again(page, data), f"lesion-{lesion.pk}-length_mm": "95"}
    again = as_staff.post(url, other)
    assert again.status_code == 422
    assert "95 mm is about ten times" in again.content.decode()


def test_an_answer_given_is_not_asked_for_again_when_something_else_is_refused(as_staff, url, lesion):
    data = typed(lesion, length_mm="85", width_mm="60")
    page = as_staff.post(url, data)
    faulty = as_staff.post(url, {**sent_again(page, data), "next_in_7": "", "next_on": iso(-3)})
    assert faulty.status_code == 422
    assert "Right as typed?" not in faulty.content.decode()
    assert as_staff.post(url, sent_again(faulty, data)).status_code == 302


@pytest.mark.parametrize(
    "told",
    [
        {"length_mm": "9", "width_mm": "7"},
        {"length_mm": "12", "width_mm": "7", "weight_kg": "80", "weight_how": "scales"},
    ],
)
def test_an_ordinary_change_is_asked_about_by_nobody(as_staff, url, lesion, told):
    assert as_staff.post(url, typed(lesion, **told)).status_code == 302
    assert Visit.objects.latest("pk").confirmed_as_typed == []


def test_areas_of_another_method_or_state_or_long_ago_are_not_compared(as_staff, url, lesion):
    Measurement.objects.filter(lesion=lesion).update(area_mm2=60, method="traced")
    data = typed(lesion, length_mm="20", width_mm="20")
    assert as_staff.post(url, data).status_code == 302


def test_the_house_rules_move_the_question(as_staff, url, lesion, site):
    site.question_weight_percent = 20
    site.save()
    data = typed(lesion, length_mm="8", width_mm="6", weight_kg="73.5", weight_how="scales")
    assert as_staff.post(url, data).status_code == 302


def test_a_weight_of_its_own_page_is_asked_about_too(as_staff, person, lesion):
    url = reverse("weight_new", args=[person.pk])
    data = {"kg": "65", "how": "scales", "measured_on": timezone.localdate().isoformat()}
    page = as_staff.post(url, data)
    assert page.status_code == 422
    assert "65 kg is 23 % less than the last" in page.content.decode()
    assert Weight.objects.count() == 1
    assert as_staff.post(url, sent_again(page, data)).status_code == 302
    assert Weight.objects.latest("pk").kg == 65


#: Fields that are asked about -> pages that carry one. At registering there is no value before it.
ASKED = {
    "kg": {"weight_new", "weight_correct", "person_new"},
    "weight_kg": {"visit_new", "visit_finish", "visit_correct"},
    "length_mm": {"visit_new", "visit_finish", "visit_correct"},
}
#: The size of a print on an insole and of an opening is no area of the ulcer.
NOT_OF_THE_ULCER = {"bench", "imprint_new"}


def test_every_page_with_such_a_field_is_known():
    """A new form with a weight or a measured area joins the pages that ask."""
    found = {name: set() for name in ASKED}
    for example in EXAMPLES:
        for form in example.forms:
            for name in found:
                if name in form.base_fields and example.route not in NOT_OF_THE_ULCER:
                    found[name].add(example.route)
    assert found == ASKED


def asked_then_saved(client, url, data, words, button):
    """Asked once with everything typed still there, saved by the next press; the answer to it."""
    page = client.post(url, data)
    assert page.status_code == 422
    text = page.content.decode()
    assert words in text
    assert f"Yes, as typed: {button}" in text
    answer = client.post(url, sent_again(page, data))
    assert answer.status_code == 302


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("length_mm", "85", "length: 85 mm is about ten times the last, 8.2 mm on "),
        ("weight_kg", "65", "65 kg is 23 % less than the last, 84.5 kg"),
    ],
)
def test_a_correction_asks_as_the_first_saving_does(as_staff, url, lesion, name, value, words):
    data = typed(lesion, length_mm="9", width_mm="7", weight_kg="83", weight_how="scales")
    assert as_staff.post(url, data).status_code == 302
    visit = Visit.objects.latest("pk")
    url = reverse("visit_correct", args=[visit.pk])
    stored = Fields(as_staff.get(url).content.decode()).values
    field = f"lesion-{lesion.pk}-{name}" if name == "length_mm" else name
    changed = {**stored, "reason": "read wrongly", field: value}
    asked_then_saved(as_staff, url, changed, words, "save the correction")
    visit.refresh_from_db()
    assert any(words in one for one in visit.confirmed_as_typed)
    # What was confirmed is not asked about again when something else is corrected.
    stored = Fields(as_staff.get(url).content.decode()).values
    assert as_staff.post(url, {**stored, "reason": "again", "note": "called home"}).status_code == 302


def test_a_weight_that_is_corrected_is_asked_about_too(as_staff, person, lesion):
    weight = factories.weight(of=person, kg=Decimal("83"), on=days(-2))
    url = reverse("weight_correct", args=[weight.pk])
    data = {"kg": "65", "how": "scales", "measured_on": iso(-2), "reason": "misread", "version": "1"}
    asked_then_saved(as_staff, url, data, "65 kg is 23 % less than the last", "save the correction")
    weight.refresh_from_db()
    assert weight.kg == 65
    data = {"kg": "65", "how": "estimate", "measured_on": iso(-2), "reason": "guessed", "version": "2"}
    assert as_staff.post(url, data).status_code == 302, "an unchanged weight is asked about by nobody"


def test_the_form_says_that_last_time_was_traced_and_offers_the_trace(as_staff, url, person, lesion):
    note = "Last time it was traced"
    assert note not in as_staff.get(url).content.decode()
    Measurement.objects.filter(lesion=lesion).update(method="traced")
    assert note in as_staff.get(url).content.decode()
    PhotoConsent.objects.create(
        person=person, given_on=timezone.localdate() - timedelta(days=1), created_by=factories.author()
    )
    page = as_staff.get(url).content.decode()
    assert "; a trace is." in page.split(note)[1].split("</p>")[0]
    # The button beside the numbers, once: a second link to it would be a stop more for the keyboard.
    way = f'href="{reverse("photo_new", args=[lesion.pk])}?for=visit">Trace a photo</a>'
    assert page.count(way) == 1
