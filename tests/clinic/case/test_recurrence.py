"""What came back has a letter of its own, begins from what healed it, and shows the device of the foot."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.lesions.writes.closure import lesion_confirm
from clinic.lesions.writes.lesions import lesion_register
from clinic.models import Lesion
from clinic.people.reads.left_open import devices_without_ulcer
from clinic.record.errors import Refused
from clinic.relief.reads.relief import letters_in, plan_that_healed, start_of
from offload.core.shapes.insole import insole_for
from tests import factories, factories_care
from tests.clinic.case.writes.test_settling import a_plan, sealed_device

TODAY = timezone.localdate
AGO = lambda days: TODAY() - timedelta(days=days)  # noqa: E731
SHAPE = {"label": "A", "centre_mm": [12.0, 180.0], "length_mm": 21.0, "width_mm": 13.0}


@pytest.fixture
def limb(person):
    return factories.limb(of=person)


@pytest.fixture
def healed(limb):
    lesion = factories.lesion(
        on=limb,
        state="healed",
        outcome="healed",
        first_seen_on=AGO(300),
        closed_on=AGO(200),
        confirmed_on=AGO(180),
    )
    type(lesion.episode).objects.filter(pk=lesion.episode_id).update(ended_on=AGO(180))
    return lesion


def again(by, lesion, first_seen):
    return lesion_register(
        by=by,
        limb=lesion.limb,
        place=lesion.place,
        wound_kind="ulcer",
        cause="neuropathic",
        onset_on=first_seen,
        first_seen_on=first_seen,
        episode={"first_presented_on": first_seen, "first_assessed_on": first_seen},
        recurs_of=lesion,
        recurrence_answered=True,
    )


def test_each_recurrence_has_a_letter_of_its_own(healed, staff):
    second = again(staff, healed, AGO(100))
    assert second.label == "A2"
    Lesion.objects.filter(pk=second.pk).update(
        state="healed", outcome="healed", closed_on=AGO(60), confirmed_on=AGO(40)
    )
    type(second.episode).objects.filter(pk=second.episode_id).update(ended_on=AGO(40))
    assert again(staff, Lesion.objects.get(pk=second.pk), AGO(3)).label == "A3"


def test_the_bench_begins_from_the_plan_that_healed_until_it_has_its_own(healed, staff):
    link = a_plan(healed.limb, healed)
    link.plan.spec = {"lesions": [SHAPE]}
    link.plan.save()
    lesion = again(staff, healed, AGO(3))
    source = plan_that_healed([lesion])
    assert source == link
    letter = letters_in(source)[lesion.recurs_of_id]
    start = start_of(lesion, insole_for(260.0, None), source.plan, letter).start
    assert (start["x_mm"], start["y_mm"], start["length_mm"]) == (12.0, 180.0, 21.0)
    a_plan(healed.limb, lesion, "draft")
    assert plan_that_healed([lesion]) is None


def test_another_ulcer_of_the_same_letter_takes_nothing_from_it(healed, staff):
    link = a_plan(healed.limb, healed)
    link.plan.spec = {"lesions": [SHAPE]}
    lesion = factories.lesion(on=healed.limb, place="heel_medial")
    assert lesion.label == "A"
    assert plan_that_healed([lesion]) is None
    letter = letters_in(link).get(lesion.pk, "")
    assert start_of(lesion, insole_for(260.0, None), link.plan, letter).start["length_mm"] != 21.0


def test_its_page_shows_the_device_the_foot_is_in(healed, staff, as_staff):
    sealed_device(healed.limb, healed)
    lesion = again(staff, healed, AGO(3))
    shown = " ".join(as_staff.get(reverse("lesion", args=[lesion.pk])).content.decode().split())
    assert "No device was chosen for this ulcer" in shown
    assert "total contact cast" in shown
    assert "Sealed" in shown


@pytest.fixture
def to_confirm(limb):
    lesion = factories.lesion(on=limb, state="to_confirm", closed_on=AGO(20), first_seen_on=AGO(90))
    factories_care.found_covered(lesion, AGO(20))
    factories_care.found_covered(lesion, TODAY())
    return lesion


def sent(lesion, **more):
    return {
        "version": lesion.version,
        "confirmed_on": TODAY().isoformat(),
        "footwear": "deep shoes",
        "next_on": (TODAY() + timedelta(days=40)).isoformat(),
        **more,
    }


@pytest.mark.parametrize(("device", "stopped"), [("taken_off", True), ("kept", False)])
def test_confirming_asks_what_happens_to_the_device(to_confirm, as_podiatrist, device, stopped):
    worn = factories.prescription(
        of=to_confirm.limb, lesions=[to_confirm], prescribed_on=AGO(30), fitted_on=AGO(30)
    )
    page = reverse("lesion_confirm", args=[to_confirm.pk])
    assert as_podiatrist.post(page, sent(to_confirm)).status_code == 422
    assert as_podiatrist.post(page, sent(to_confirm, device=device)).status_code == 422
    answer = as_podiatrist.post(page, sent(to_confirm, device=device, device_words="Nora, after the cast"))
    assert answer.status_code == 302
    worn.refresh_from_db()
    assert (worn.stopped_on is not None, worn.kept_on is not None) == (stopped, not stopped)
    assert not devices_without_ulcer()


def test_without_a_device_or_with_another_open_ulcer_it_asks_nothing(to_confirm, as_podiatrist):
    factories.lesion(on=to_confirm.limb, place="heel_medial")
    factories.prescription(of=to_confirm.limb, lesions=[to_confirm], prescribed_on=AGO(30))
    page = reverse("lesion_confirm", args=[to_confirm.pk])
    assert as_podiatrist.post(page, sent(to_confirm)).status_code == 302


def test_confirming_says_nothing_of_the_device_then_today_asks(to_confirm, podiatrist):
    factories.prescription(of=to_confirm.limb, lesions=[to_confirm], prescribed_on=AGO(30))
    given = {
        "by": podiatrist,
        "lesion": to_confirm,
        "confirmed_on": TODAY(),
        "footwear": "deep shoes",
        "next_on": TODAY() + timedelta(days=40),
    }
    lesion_confirm(**given, expected_version=to_confirm.version)
    assert devices_without_ulcer().count() == 1


def test_a_sealed_device_is_not_worn_on(to_confirm, podiatrist):
    sealed_device(to_confirm.limb, to_confirm)
    with pytest.raises(Refused) as refused:
        lesion_confirm(
            by=podiatrist,
            lesion=to_confirm,
            confirmed_on=TODAY(),
            footwear="deep shoes",
            next_on=TODAY() + timedelta(days=40),
            expected_version=to_confirm.version,
            device="kept",
            device_words="as a shoe",
        )
    assert refused.value.field == "device"
