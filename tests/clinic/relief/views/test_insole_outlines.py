"""The pages of an insole's own outline, and the look over the photo before an imprint is kept."""

import re
import uuid

import numpy as np
import pytest
from django.urls import reverse

from clinic.capture.writes.traces import trace_store
from clinic.models import Imprint, InsoleOutline, Photo
from clinic.people.reads.limbs import drawn_insole
from tests import factories
from tests.clinic.fields.scenes import traced

pytestmark = pytest.mark.django_db


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person, side="right"))


@pytest.fixture
def nurse(client, staff):
    client.force_login(staff)
    return client


def insole_photo(lesion, by, longer):
    """A print and an edge traced on a photo; the insole is so much longer than drawn [mm]."""
    scale = traced(lesion).scale
    Photo.objects.filter(pk=scale.photo_id).update(subject="insole")
    drawn = drawn_insole(lesion.limb).outline
    share = 1 + longer / drawn.bounds[3]
    edge = [[x + 60.0, 300.0 - y * share] for x, y in drawn.exterior]
    ring = [[x + 60.0, 300.0 - y] for x, y in ((-12, 190), (0, 190), (0, 202), (-12, 202))]
    for outline in (ring, edge):
        trace_store(by=by, scale=scale, outline=outline, submission_key=uuid.uuid4())
    return scale, scale.traces.filter(area_mm2__lt=6000).order_by("-created_at", "-pk").first()


def hidden(answer):
    return re.search(r'name="looked"[^>]*value="(\w*)"', answer.content.decode())[1]


def test_the_first_press_shows_the_insole_with_its_misfit_and_the_second_keeps(nurse, staff, lesion):
    scale, ring = insole_photo(lesion, staff, 2.0)
    url = reverse("imprint_place", args=[scale.pk])
    data = {"placed_by": "outline", "trace": ring.pk, "dressing_mm": "2.5"}
    shown = nurse.post(url, data)
    page = shown.content.decode()
    assert "2.0 mm longer than the insole drawn from the foot" in page
    assert 'class="insole-over"' in page
    assert 'value="2.5"' in page, "what was typed stays"
    assert not Imprint.objects.exists()
    other = nurse.post(url, {**data, "looked": "0" * 16})
    assert not Imprint.objects.exists(), "what was looked at was another place"
    kept = nurse.post(url, {**data, "looked": hidden(other)})
    assert kept.status_code == 302
    assert np.mean(Imprint.objects.get().outline_mm, axis=0) == pytest.approx((-6.0, 196.0), abs=0.5)


def test_another_length_is_refused_in_words_with_the_way_to_its_outline(nurse, staff, lesion):
    scale, ring = insole_photo(lesion, staff, -16.0)
    refused = nurse.post(
        reverse("imprint_place", args=[scale.pk]), {"placed_by": "outline", "trace": ring.pk}
    ).content.decode()
    assert "16 mm shorter; the limit is 5 mm" in refused
    way = reverse("insole_from_photo", args=[scale.pk])
    assert f'href="{way}"' in refused
    shown = nurse.get(way).content.decode()
    assert "The traced edge is 254 mm long" in shown
    assert 'class="insole-over"' in shown
    nurse.post(way, {"note": "trimmed at the toes"})
    own = InsoleOutline.objects.get()
    assert (own.how, own.scale_id, own.note) == ("photo", scale.pk, "trimmed at the toes")
    shown = nurse.get(reverse("insole_outline", args=[lesion.limb_id])).content.decode()
    assert "254.0 mm long" in shown
    assert reverse("insole_outline_withdraw", args=[own.pk]) in shown


def test_an_edge_alone_leads_to_the_outline_and_no_edge_to_tracing_it(nurse, staff, lesion):
    scale = traced(lesion).scale
    Photo.objects.filter(pk=scale.photo_id).update(subject="insole")
    way = reverse("insole_from_photo", args=[scale.pk])
    assert nurse.get(way)["Location"] == reverse("trace_new", args=[scale.pk]) + "?for=insole"
    scale.traces.update(area_mm2=9000)
    assert nurse.get(reverse("imprint_place", args=[scale.pk]))["Location"] == way


@pytest.mark.parametrize("paper", ["a4", "a3", "letter"])
def test_the_grid_is_printed_on_three_papers(nurse, paper):
    answer = nurse.get(reverse("reference_sheet"), {"of": "insole", "paper": paper})
    assert answer["Content-Type"] == "application/pdf"
    assert f"insole-grid-{paper}.pdf" in answer["Content-Disposition"]
    assert answer.content.startswith(b"%PDF")


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ("1, 2\n3, 4", "12 are needed"),
        ("", "12 are needed"),
        ("0, 0\nx, 1", "point 2"),
        ("\n".join("0, 0" for _ in range(401)), "at most 400"),
    ],
)
def test_points_that_will_not_do_are_refused_and_stay_typed(nurse, lesion, points, words):
    answer = nurse.post(
        reverse("insole_outline", args=[lesion.limb_id]), {"points": points, "taken_on": "2026-11-01"}
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert words in page
    assert points.split("\n")[0] in page
    assert not InsoleOutline.objects.exists()


def test_the_page_leads_to_the_camera_for_each_open_ulcer_of_the_foot(nurse, lesion):
    url = reverse("insole_outline", args=[lesion.limb_id])
    other = factories.lesion(on=lesion.limb)
    page = nurse.get(url).content.decode()
    for one in (lesion, other):
        assert f'href="{reverse("photo_new", args=[one.pk])}?of=insole"' in page
    lesion.limb.lesions.update(state="ended", outcome="minor_amputation", ended_on="2026-01-05")
    page = nurse.get(url).content.decode()
    assert "?of=insole" not in page.replace("reference_sheet", "").split("From the printed grid")[0]
    assert "this foot has none" in page
