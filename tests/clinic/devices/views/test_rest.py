"""Rest, with a walking aid or in bed and chair: chosen, fitted, printed and counted by the pages, alone and
beside a device; and the page always offers something.
"""

import re
from dataclasses import replace
from datetime import timedelta

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from clinic.audit.reads.cases import AuditFilter
from clinic.audit.reads.figures import spec_of
from clinic.audit.reads.lists import all_rows
from clinic.devices.reads.advice import limb_decision
from clinic.devices.writes.fittings import steps_of
from clinic.guidelines.combine import combine_limb
from clinic.guidelines.devices import DEVICES, classes_where
from clinic.guidelines.facts import CHOICES, GRADES, Facts
from clinic.guidelines.table import decide
from clinic.models import Prescription
from tests import factories

REST = classes_where(lambda d: d.is_rest)
AIDS = ("wheelchair", "crutches", "knee walker", "frame")


@pytest.fixture
def limb(person):
    made = factories.limb(of=person)
    factories.lesion(on=made)
    return made


def text(page):
    return page.content.decode()


def seen(page):
    return re.search(r'name="seen" value="([0-9a-f]{64})"', text(page))[1]


def choose(client, limb, device, **told):
    address = f"/limbs/{limb.pk}/prescribe/"
    page = client.get(address)
    sent = {
        "seen": seen(page),
        "device_class": device,
        "departure_reason": "not_available",
        "reason": "No device today; rest until Thursday.",
        **told,
    }
    answer = client.post(address, sent)
    assert answer.status_code == 302, text(answer)
    return Prescription.objects.get()


@pytest.mark.parametrize("device", REST)
def test_rest_is_chosen_fitted_printed_and_counted(as_podiatrist, limb, site, device):
    factories.visit(of=limb.person, next_on=timezone.localdate() + timedelta(days=3))
    made = choose(as_podiatrist, limb, device)
    words = " ".join(steps_of(made))
    assert all(aid in words for aid in AIDS)
    page = text(as_podiatrist.get(f"/prescriptions/{made.pk}/fit/"))
    assert all(aid in page for aid in AIDS)
    told = {"version": made.version, "fitted_on": timezone.localdate().isoformat()}
    told |= {f"step_{n}": "done" for n in range(len(steps_of(made)))}
    assert as_podiatrist.post(f"/prescriptions/{made.pk}/fit/", told).status_code == 302
    assert DEVICES[device].label in text(as_podiatrist.get(f"/prescriptions/{made.pk}/record/"))
    assert as_podiatrist.get(f"/prescriptions/{made.pk}/advice-sheet/").status_code == 200
    today = timezone.localdate()
    asked = AuditFilter((site,), today - timedelta(days=9), today, device_class=device)
    assert [row.prescription for row in all_rows(spec_of("all"), asked, today)] == [made]


@pytest.mark.parametrize(
    ("device", "mobility"), [("rest_and_walking_aid", "walks"), ("bed_and_chair_rest", "transfers_only")]
)
def test_rest_stands_beside_a_device_with_its_own_steps(as_podiatrist, limb, device, mobility):
    today = timezone.localdate()
    limb.person.circumstances.create(asked_on=today, mobility=mobility, created_by=factories.author())
    assert device in {row.device.id for row in limb_decision(limb, today, {}).beside}
    made = choose(as_podiatrist, limb, "ankle_high_removable", beside=[device])
    assert made.beside == [device]
    assert any("wheelchair" in step for step in steps_of(made))
    assert DEVICES[device].label.lower() in text(as_podiatrist.get(f"/prescriptions/{made.pk}/"))


def test_with_nothing_known_the_page_offers_interim_rest_and_calls_it_interim(as_podiatrist, limb):
    page = text(as_podiatrist.get(f"/limbs/{limb.pk}/prescribe/"))
    assert "Rest and a walking aid" in page
    assert "nterim" in page


def facts():
    """Any facts: known, known otherwise or missing."""
    drawn = {}
    for name in Facts.__dataclass_fields__:
        if name in CHOICES:
            drawn[name] = st.none() | st.sampled_from(CHOICES[name])
        elif name in GRADES:
            low, high = GRADES[name]
            drawn[name] = st.none() | st.integers(low, high)
        elif name == "recent_surgery_weeks":
            drawn[name] = st.none() | st.sampled_from([2.0, 26.0])
        else:
            drawn[name] = st.none() | st.booleans()
    return st.builds(Facts, **drawn)


@given(one=facts(), other=facts())
def test_classes_are_never_empty_whatever_is_known_of_one_ulcer_or_two(one, other):
    for lesions in ({"A": one}, {"A": one, "B": other}):
        advice = combine_limb("left", {label: decide(found) for label, found in lesions.items()})
        assert advice.classes


@given(found=facts())
def test_where_the_site_is_not_known_rest_is_offered_as_interim_and_the_site_is_asked_for(found):
    advice = decide(replace(found, region=None, surface=None))
    rest = [offer for offer in advice.classes if DEVICES[offer.id].is_rest]
    assert rest
    assert {"region", "surface"} <= set(advice.missing)
    assert all(any("Interim" in caution for caution in offer.cautions) for offer in advice.classes)
