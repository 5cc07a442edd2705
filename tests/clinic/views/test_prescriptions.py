"""The prescription page from facts to signature, and what follows."""

import re

import pytest
from django.utils import timezone

from clinic.models import Prescription
from tests import factories


@pytest.fixture
def limb(person):
    made = factories.limb(of=person)
    factories.lesion(on=made)
    return made


def seen(page):
    return re.search(r'name="seen" value="([0-9a-f]{64})"', page.content.decode()).group(1)


def test_missing_facts_are_named_and_nothing_that_stays_on_is_offered(as_podiatrist, limb):
    page = as_podiatrist.get(f"/limbs/{limb.pk}/prescribe/").content.decode()
    assert "not known" in page
    offered = page.split("Choose against the advice")[0]
    assert 'value="total_contact_cast"' not in offered
    assert 'value="walker_knee_high_removable"' in offered


def test_answers_change_the_advice_without_touching_the_record(as_podiatrist, limb):
    url = f"/limbs/{limb.pk}/prescribe/"
    before = seen(as_podiatrist.get(url))
    part = as_podiatrist.get(url, {"device_available": "no"}, headers={"HX-Request": "true"})
    assert part.content.decode().strip().startswith('<div id="advice"')
    assert seen(part) != before
    assert not Prescription.objects.exists()


def test_a_choice_is_signed_with_its_reason(as_podiatrist, limb):
    url = f"/limbs/{limb.pk}/prescribe/"
    sent = as_podiatrist.post(
        url,
        {
            "device_class": "walker_knee_high_removable",
            "reason": "Perfusion is not measured yet; removable meanwhile.",
            "seen": seen(as_podiatrist.get(url)),
        },
    )
    made = Prescription.objects.get()
    assert sent.status_code == 302
    assert made.agrees is None  # facts were missing, so no one can judge the choice
    page = as_podiatrist.get(f"/prescriptions/{made.pk}/").content.decode()
    assert "removable meanwhile" in page
    assert "cannot be judged" in page


def test_an_unfinished_form_keeps_what_was_typed(as_podiatrist, limb):
    url = f"/limbs/{limb.pk}/prescribe/"
    sent = as_podiatrist.post(
        url,
        {
            "device_class": "footwear_modification",
            "reason": "Words that must not be lost",
            "seen": seen(as_podiatrist.get(url)),
        },
    )
    assert sent.status_code == 422
    assert "Words that must not be lost" in sent.content.decode()
    assert "choose the reason that fits best" in sent.content.decode()


def test_a_limb_without_an_open_lesion_has_nothing_to_offload(as_podiatrist, person):
    page = as_podiatrist.get(f"/limbs/{factories.limb(of=person).pk}/prescribe/")
    assert "nothing to offload" in page.content.decode()


def test_staff_fit_but_do_not_prescribe(as_staff, limb):
    assert as_staff.get(f"/limbs/{limb.pk}/prescribe/").status_code == 403
    made = factories.prescription(of=limb, device_class="walker_non_removable")
    today = timezone.localdate()
    sent = as_staff.post(
        f"/prescriptions/{made.pk}/fit/",
        {"fitted_on": today.isoformat(), "sealed": "on", "open_by": "2999-01-01", "version": made.version},
    )
    assert sent.status_code == 422
    assert "at the latest" in sent.content.decode()


def test_a_prescription_of_another_site_is_not_there(as_podiatrist, other_site):
    limb = factories.limb(of=factories.person(at=other_site))
    made = factories.prescription(of=limb)
    assert as_podiatrist.get(f"/prescriptions/{made.pk}/").status_code == 404
    assert as_podiatrist.get(f"/limbs/{limb.pk}/prescribe/").status_code == 404
