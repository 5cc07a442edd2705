"""The bench shows what the estimate says: pictures on one scale, numbers, advice, other cuts to choose."""

from __future__ import annotations

import base64
import io
import re

import pytest
from PIL import Image

from offload.models import ReliefPlan
from tests import factories
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
    assert "Cutting the middle takes the mean over 1.5 cm² at ulcer A from" in page
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


def test_the_live_answer_is_what_is_looked_at_while_an_ulcer_is_dragged_and_no_more(
    as_podiatrist, limb, lesion
):
    url = bench_url(limb) + "preview/"
    live, whole = (as_podiatrist.post(url + ask, numbers(lesion)).content.decode() for ask in ("?live=1", ""))
    parts = r'<div id="([a-z-]+)" class="(?:stack|insole-drawing)|<div id="(sections)"'
    found = {one or other for one, other in re.findall(parts, live)}
    assert found == {"headline", "insole-drawing", "sections"}
    assert found < {one or other for one, other in re.findall(parts, whole)}
    assert "mean over 1.5 cm² at the ulcer, kPa" in live
    assert "Load not scaled: insole in a flat shoe" in live
    assert len(re.findall("<svg", live)) == 2
    assert (pictures(live), len(pictures(whole))) == ([], 2)
    assert not CHOICE.findall(live)
    assert len(live) < len(whole) / 2


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


def test_the_headline_of_bench_and_plan_page_says_by_what_the_load_was_scaled(as_podiatrist, limb, lesion):
    url = f"/limbs/{limb.pk}/bench/preview/"
    flat = as_podiatrist.post(url, numbers(lesion)).content.decode()
    assert "Load not scaled: insole in a flat shoe" in flat
    factories.prescription(of=limb, device_class="ankle_high_removable")
    page = " ".join(as_podiatrist.post(url, numbers(lesion)).content.decode().split())
    assert "Load scaled 0.42 (0.20 to 0.62) at the forefoot: removable ankle-high device" in page
    assert "Source: Crews RT" in page
    assert "insole in a flat shoe: the device" not in page
    made = save(as_podiatrist, limb, lesion)
    assert made.plan.spec["device"] == "ankle_high_removable"
    assert made.plan.result["pressure"]["device_factor"] == [0.42, 0.2, 0.62]
    shown = " ".join(as_podiatrist.get(f"/plans/{made.plan.code}/").content.decode().split())
    assert "Load scaled 0.42 (0.20 to 0.62) at the forefoot: removable ankle-high device" in shown


@pytest.mark.full_pressure
def test_chances_stand_on_the_bench_where_they_are_asked_for_and_nowhere_else(as_podiatrist, limb, lesion):
    factories.prescription(of=limb)
    plain = as_podiatrist.post(f"/limbs/{limb.pk}/bench/preview/", numbers(lesion)).content.decode()
    assert "not worked out yet" in plain
    assert "Chance it relieves" not in plain
    asked = {**numbers(lesion), "action": "sure"}
    sure = " ".join(as_podiatrist.post(bench_url(limb), asked).content.decode().split())
    assert "Proposed: cut the middle" in sure
    assert "Model suggests" in sure or "The model suggests no other cut" in sure
    assert "Chance the space under the ulcer closes" in sure
    assert "Chance it relieves more" in sure
    assert "80 % interval" in sure
