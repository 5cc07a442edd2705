"""What a record still misses follows the person until it is whole."""

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.models import Circumstances, LimbFinding, Person, PhotoConsent
from clinic.people.reads.missing import next_step, registering_steps, still_missing
from tests import factories
from tests.clinic.fields.cases_lesions import REGISTERED
from tests.clinic.fields.cases_people import PERSON
from tests.clinic.fields.filled import day

pytestmark = pytest.mark.django_db


def words(person):
    return [one.words for one in still_missing(person)]


def test_each_thing_leaves_the_list_when_it_is_entered_and_the_last_ends_it(
    site, as_staff, django_assert_num_queries
):
    person = factories.person(at=site)
    feet = [factories.limb(of=person, side=side, foot_length_mm=None) for side in ("left", "right")]
    left = ["foot length, left", "foot length, right", "social and mobility", "photo consent"]
    left += ["perfusion, left", "perfusion, right"]
    assert words(person) == left
    page = as_staff.get(reverse("person", args=[person.pk])).content.decode()
    assert "6 still" in page
    for one in still_missing(person):
        assert as_staff.get(reverse(one.url_name, args=[one.pk])).status_code == 200
        assert reverse(one.url_name, args=[one.pk]) in page
    by = factories.author()
    for foot in feet:
        foot.foot_length_mm = 250
        foot.save()
        left.remove(f"foot length, {foot.side}")
        assert words(person) == left
    Circumstances.objects.create(person=person, asked_on=timezone.localdate(), created_by=by)
    left.remove("social and mobility")
    assert words(person) == left
    PhotoConsent.objects.create(person=person, given_on=timezone.localdate(), created_by=by)
    left.remove("photo consent")
    assert words(person) == left
    for foot in feet:
        LimbFinding.objects.create(
            limb=foot, found_on=timezone.localdate(), toe_pressure_mmhg=60, created_by=by
        )
    with django_assert_num_queries(1):
        assert still_missing(person) == ()
    assert "still-missing" not in as_staff.get(reverse("person", args=[person.pk])).content.decode()


def test_a_leg_that_is_gone_and_a_closed_record_miss_nothing(site):
    person = factories.person(at=site)
    factories.limb(of=person, amputation="major", foot_length_mm=None)
    assert words(person) == ["social and mobility", "photo consent"]
    person.state = "moved"
    assert words(person) == []


#: What is sent at each step, by the page.
STEPS = {
    "limb_edit": {"foot_length_mm": "250", "amputation": "none", "version": "1"},
    "circumstances_new": {"asked_on": day(0), "high_falls_risk": "no"},
    "lesion_new": {
        **REGISTERED,
        "side": "right",
        "first_presented_on": day(-9),
        "first_assessed_on": day(-6),
    },
    "photo_consent": {"on": day(0)},
    "finding_new": {"found_on": day(0), "toe_pressure_mmhg": "60"},
}


def registered(client):
    answer = client.post(
        reverse("person_new"), {**PERSON, "site": client.get("/people/new/").context["site"].pk}
    )
    assert answer.status_code == 302, answer.context["form"].errors
    return Person.objects.get(record_number=PERSON["record_number"]), answer["Location"]


@pytest.mark.parametrize("skipped", [None, *STEPS])
def test_each_step_saved_leads_on_to_the_next_and_one_left_out_stays_on_the_list(as_podiatrist, skipped):
    person, address = registered(as_podiatrist)
    steps, seen = registering_steps(person), []
    step = next_step(steps)
    page = as_podiatrist.get(address).content.decode()
    address = f"{reverse(step.url_name, args=[step.pk])}?registering=yes"
    assert f'href="{address}"' in page, "the page after registering offers the first step"
    while step is not None:
        seen.append(step)
        page = as_podiatrist.get(address)
        on = next_step(steps, step.url_name, step.pk)
        target = f"{reverse(on.url_name, args=[on.pk])}?registering=yes" if on else None
        assert on is None or f'href="{target}">Skip to {on.words}' in page.content.decode()
        if step.url_name != skipped:
            data = {**page.context["form"].initial, **STEPS[step.url_name]}
            answer = as_podiatrist.post(address, {name: v for name, v in data.items() if v is not None})
            assert answer.status_code == 302, (step, answer.context["form"].errors)
            assert answer["Location"] == (target or reverse("person", args=[person.pk]))
        step, address = on, target
    assert seen == list(steps)
    left = [one.words for one in steps if one.url_name == skipped and not one.optional]
    assert words(person) == left
    if skipped is None:
        assert next_step(registering_steps(person)) is None


def test_a_page_opened_otherwise_leads_where_it_always_led(as_podiatrist):
    person, _ = registered(as_podiatrist)
    foot = person.limbs.first()
    address = reverse("limb_edit", args=[foot.pk])
    assert "Skip to" not in as_podiatrist.get(address).content.decode()
    answer = as_podiatrist.post(address, STEPS["limb_edit"])
    assert answer["Location"] == reverse("person", args=[person.pk])
