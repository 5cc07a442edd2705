"""One touch and a sentence; the answer comes back."""

import pytest

from clinic.models import Look
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def lesion(person):
    found = factories.lesion(on=factories.limb(of=person))
    factories.series(found, [3.0, 3.0, 3.0, 3.0, 3.0, 3.0])
    return found


def test_a_look_goes_from_the_lesion_to_review_and_back_to_today(as_staff, as_podiatrist, lesion):
    assert f"/lesions/{lesion.pk}/look/" in as_staff.get(f"/lesions/{lesion.pk}/").content.decode()
    as_staff.post(f"/lesions/{lesion.pk}/look/", {"question": "Undermined at 4 o'clock?"})
    look = Look.objects.get()
    assert "Undermined at 4" in as_podiatrist.get("/review/").content.decode()
    as_podiatrist.post(f"/looks/{look.pk}/answer/", {"answer": "Yes, debride", "version": look.version})
    assert "Yes, debride" in as_staff.get("/today/").content.decode()
    as_staff.post(f"/looks/{look.pk}/read/")
    assert "Yes, debride" not in as_staff.get("/today/").content.decode()


def test_an_empty_question_comes_back(as_staff, lesion):
    assert as_staff.post(f"/lesions/{lesion.pk}/look/", {"question": ""}).status_code == 422
    assert as_staff.get(f"/lesions/{lesion.pk}/look/").status_code == 200
