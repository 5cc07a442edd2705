"""A device that stays on against a known danger, on its pages: the red line, the buttons, the telephone."""

import re

import pytest
from django.utils import timezone

from clinic.models import Prescription
from tests import factories
from tests.clinic.devices.writes.conftest import limb  # noqa: F401
from tests.clinic.devices.writes.test_overriding import choose, ischaemic  # noqa: F401

RED_LINE = "Signed against a known danger."


@pytest.fixture
def made(ischaemic, podiatrist):  # noqa: F811
    return choose(podiatrist, ischaemic)


def text(page):
    return page.content.decode()


@pytest.mark.parametrize("path", ["", "record/"])
def test_page_record_and_print_carry_the_red_line_before_anything_else(as_podiatrist, made, path):
    page = text(as_podiatrist.get(f"/prescriptions/{made.pk}/{path}"))
    assert page.count(f"<strong>{RED_LINE}</strong>") == 1
    line = page.index(RED_LINE)
    assert 'data-message="override"' in page
    assert all(line < page.index(words) for words in ("Why this device", "What the guidance said that day"))
    assert "ischaemia" in page[line : line + 900].lower()


def test_the_case_sheet_of_the_audit_carries_it_too(as_manager, made):
    page = text(as_manager.get(f"/audit/sheets/{made.pk}/"))
    assert RED_LINE in page


def test_a_device_signed_as_offered_carries_none(as_podiatrist, site):
    other = factories.prescription(of=factories.limb(of=factories.person(at=site)))
    assert RED_LINE not in text(as_podiatrist.get(f"/prescriptions/{other.pk}/"))


def test_the_page_says_before_signing_what_a_withheld_device_asks_for(as_podiatrist, ischaemic):  # noqa: F811
    answers = {"work_out": "yes"}
    page = text(as_podiatrist.post(f"/limbs/{ischaemic.pk}/prescribe/", answers))
    assert 'data-message="override_' in page


def test_only_who_may_sign_second_sees_the_button_and_the_signer_sees_the_telephone(
    as_podiatrist, as_staff, made
):
    signer = text(as_podiatrist.get(f"/prescriptions/{made.pk}/"))
    assert "Sign second" not in signer
    assert f"/prescriptions/{made.pk}/second/telephone/" in signer
    assistant = text(as_staff.get(f"/prescriptions/{made.pk}/"))
    assert "Sign second" not in assistant


def test_a_registered_nurse_signs_second_by_the_page(client, made, site):
    nurse = factories.user("staff", at=site, registered_as="nurse")
    client.force_login(nurse)
    page = text(client.get(f"/prescriptions/{made.pk}/"))
    assert "Sign second" in page
    version = re.search(r'name="version" value="(\d+)"', page).group(1)
    client.post(f"/prescriptions/{made.pk}/second/", {"version": version})
    stored = Prescription.objects.get()
    assert stored.second_by == nurse
    assert stored.second_confirmed_at


def test_a_manager_never_signs_second(as_manager, made):
    answer = as_manager.post(f"/prescriptions/{made.pk}/second/", {"version": made.version})
    assert answer.status_code == 403
    assert Prescription.objects.get().second_at is None


def test_by_telephone_then_confirmed_by_the_pages(as_podiatrist, made):
    now = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    told = {
        "version": made.version,
        "second_name": "Dr Ines Falk",
        "second_role": "vascular surgeon on call",
        "second_telephone": "000 4455",
        "spoken_at": now,
    }
    page = as_podiatrist.post(f"/prescriptions/{made.pk}/second/telephone/", told, follow=True)
    assert "to be confirmed by" in text(page)
    assert "stays unsealed" in text(page)
    made.refresh_from_db()
    confirmed = {"version": made.version, "second_confirmed_how": "letter of today"}
    page = as_podiatrist.post(f"/prescriptions/{made.pk}/second/confirm/", confirmed, follow=True)
    assert "letter of today" in text(page)
    assert Prescription.objects.get().second_confirmed_at


def test_what_is_missing_of_a_telephone_signature_is_named_and_what_was_typed_stays(as_podiatrist, made):
    told = {"version": made.version, "second_name": "Dr Ines Falk", "spoken_at": "2020-01-01T10:00"}
    page = as_podiatrist.post(f"/prescriptions/{made.pk}/second/telephone/", told)
    assert page.status_code == 422
    assert 'value="Dr Ines Falk"' in text(page)
    assert Prescription.objects.get().second_at is None
