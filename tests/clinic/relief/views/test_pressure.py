"""The bench shows what the estimate says: pictures on one scale, numbers, advice, other cuts to choose."""

from __future__ import annotations

import base64
import io
import re

import pytest
from PIL import Image

from offload.models import ReliefPlan
from tests.clinic.relief.views.test_relief import bench_url, lesion, limb, numbers, save, sign

__all__ = ["lesion", "limb"]

CHOICE = re.compile(r'name="use" value="([^"]+)"')


def pictures(page):
    found = re.findall(r"data:image/png;base64,([^\"]+)", page)
    return [Image.open(io.BytesIO(base64.b64decode(one))) for one in found]


@pytest.mark.full_pressure
def test_a_computed_plan_shows_pictures_words_ranges_and_other_cuts(as_podiatrist, limb, lesion):
    page = as_podiatrist.post(bench_url(limb), {**numbers(lesion), "action": "compute"}).content.decode()
    before, after = pictures(page)
    assert before.size == after.size
    assert before.tobytes() != after.tobytes()
    assert "Cutting the middle takes the peak at lesion A from" in page
    assert "over the stiffness of tissue" in page
    assert "Measured cut-outs in print relieve 32 to 51 %" in page
    assert "House policy" in page
    assert "Mechanics: " in page
    assert "Scale from 0 to " in page
    assert "device's own relief is not in this figure" in page
    assert len(CHOICE.findall(page)) >= 5
    assert "style=" not in page


def test_an_alternative_is_used_without_a_script_and_asks_why_it_departs(as_podiatrist, limb, lesion):
    page = as_podiatrist.post(
        bench_url(limb), {**numbers(lesion, cut="auto"), "use": "middle+base:8:15:60"}
    ).content.decode()
    assert re.search(r'name="margin_mm" value="8"', page)
    assert re.search(r'name="bevel_deg" value="60"', page)
    assert '<option value="middle+base" selected' in page
    assert "it needs a written reason" in page
    assert re.search(r'<textarea name="departure_reason"[^>]*autofocus', page)
    assert not ReliefPlan.objects.exists()


def test_a_made_up_choice_changes_nothing(as_podiatrist, limb, lesion):
    page = as_podiatrist.post(
        bench_url(limb), {**numbers(lesion), "use": "cover:1:1:1<script>"}
    ).content.decode()
    assert re.search(r'name="margin_mm" value="5"', page)


def test_the_live_answer_is_the_picture_without_other_cuts(as_podiatrist, limb, lesion):
    page = as_podiatrist.post(bench_url(limb) + "preview/?live=1", numbers(lesion)).content.decode()
    assert len(pictures(page)) == 2
    assert "takes the peak at lesion A" in page
    assert not CHOICE.findall(page)


@pytest.mark.full_pressure
def test_the_plan_page_shows_the_figures_it_was_kept_with(as_podiatrist, as_staff, limb, lesion):
    made = save(as_podiatrist, limb, lesion)
    sign(as_podiatrist, made)
    page = as_staff.get(f"/plans/{made.plan.code}/").content.decode()
    kept = made.plan.result["pressure"]["lesions"][0]
    assert f"to {kept['peak_after_kpa']:.0f} kPa" in page
    assert len(pictures(page)) == 2
    assert not CHOICE.findall(page)


def test_a_plan_kept_before_pressures_were_solved_opens_and_says_so(as_podiatrist, limb, lesion):
    made = save(as_podiatrist, limb, lesion)
    row = made.plan
    row.result = {**row.result, "pressure": None, "alternatives": []}
    del row.result["foams"]
    row.save()
    page = as_podiatrist.get(f"/plans/{row.code}/").content.decode()
    assert "No pressure is estimated for this plan" in page
    assert pictures(page) == []
