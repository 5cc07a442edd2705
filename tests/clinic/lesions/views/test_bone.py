"""The page that judges the bone: proposes and keeps nothing until it is signed; nothing is preselected."""

import re

import pytest
from django.utils import timezone

from clinic.models import BoneJudgement
from tests import factories, factories_care

pytestmark = pytest.mark.django_db

PARTS = {
    "probe": "supports",
    "xray": "supports",
    "blood": "not_done",
    "mri": "not_done",
    "sample": "not_done",
}


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def url(lesion):
    return f"/lesions/{lesion.pk}/bone/new/"


def test_nothing_is_preselected_and_what_stands_is_told(as_podiatrist, lesion):
    factories_care.bone(of=lesion, state="probable")
    page = as_podiatrist.get(url(lesion)).content.decode()
    assert not re.search(r'name="(probe|xray|blood|mri|sample|state)"[^>]*checked', page)
    assert "Stands as: probable" in page


def test_a_proposal_is_shown_with_its_source_and_kept_nowhere(as_podiatrist, lesion):
    answer = as_podiatrist.post(url(lesion), {**PARTS, "note": "ask again", "propose": "yes"})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Proposed: probable" in page
    assert "IWGDF/IDSA 2023" in page
    assert "ask again" in page
    assert not BoneJudgement.objects.exists()


def test_a_part_left_alone_is_named_and_what_was_typed_stays(as_podiatrist, lesion):
    rest = {name: said for name, said in PARTS.items() if name != "mri"}
    answer = as_podiatrist.post(url(lesion), {**rest, "note": "probed twice", "propose": "yes"})
    assert answer.status_code == 422
    assert "MRI: supports it, against it, or not done" in answer.content.decode()
    assert "probed twice" in answer.content.decode()


def test_signed_it_stands_on_the_ulcer_page_and_on_the_choice_of_device(as_podiatrist, lesion):
    data = {**PARTS, "judged_on": timezone.localdate().isoformat(), "state": "probable"}
    assert as_podiatrist.post(url(lesion), data).status_code == 302
    assert "Probable" in as_podiatrist.get(f"/lesions/{lesion.pk}/").content.decode()
    page = as_podiatrist.get(f"/limbs/{lesion.limb_id}/prescribe/").content.decode()
    assert url(lesion) in page
    assert not re.search(r'name="(osteomyelitis|non_surgical_care_failed)', page)


def test_staff_see_the_judgement_and_are_offered_none(as_staff, lesion):
    factories_care.bone(of=lesion)
    page = as_staff.get(f"/lesions/{lesion.pk}/").content.decode()
    assert "Bone infection" in page
    assert url(lesion) not in page
    assert as_staff.get(url(lesion)).status_code == 403
