"""The drawn scenes of the invented clinic go the way a photo goes: card found, scale kept, margin traced
twice more.
"""

from random import Random
from types import SimpleNamespace

import pytest
from django.utils import timezone

from clinic.capture.reads.repeat import repeatability_of
from clinic.capture.writes import photos
from clinic.demo import capture, course
from clinic.models import Trace
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_store(settings, tmp_path):
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path), "base_url": None},
        },
    }


@pytest.mark.parametrize("seed", range(4))
def test_a_drawn_scene_is_scaled_and_traced_to_its_true_area(person, staff, podiatrist, seed):
    lesion = factories.lesion(on=factories.limb(of=person))
    today = timezone.localdate()
    photos.consent_give(by=staff, person=person, given_on=today)
    story = SimpleNamespace(
        staff=staff,
        podiatrist=podiatrist,
        seed=Random(seed),
        lesions={0: lesion},
        traced={},
        shape_seeds=[0.4],
    )
    trace = capture.photograph_and_trace(story, 0, today, course.outline(1.8, Random(seed)))
    assert trace.scale.reference == "card"
    assert trace.scale.error_percent < 1
    assert trace.area_mm2 == pytest.approx(180, rel=0.12)
    capture.after_visit(story, SimpleNamespace(visited_on=today), 3, [0])
    assert Trace.objects.filter(scale=trace.scale).count() == 3
    found = repeatability_of(staff)
    assert (len(found.within_pairs), len(found.between_pairs)) == (1, 1)
    assert found.within_pairs[0].first != found.within_pairs[0].second
