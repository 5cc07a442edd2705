"""Pages of a signed plan's life: reached by staff, wrong sheets stop with what was typed still there."""

from __future__ import annotations

import json
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from django.utils.html import escape

from clinic.models import PlanFlag, WatchFinding, WatchPoint
from offload.models import PlanMeasurement, PlanStep
from tests import factories
from tests.clinic.relief.writes.test_relief import draft, lesion, limb, sign

__all__ = ["lesion", "limb"]


@pytest.fixture
def plan(podiatrist, limb, lesion):
    return sign(podiatrist, draft(podiatrist, limb, lesion))


#: No target is asked of the cut.
NONE = {"target_kind": "none"}


def told(plan, **changes):
    day = timezone.localdate().isoformat()
    return {
        "code": plan.plan.code,
        "side": "right",
        "bar_mm": "100",
        "depth_mm": "6",
        "done_on": day,
        **changes,
    }


def checked(found, **changes):
    day = timezone.localdate().isoformat()
    return {"method": "film", "dummy_marked": "yes", "found": found, "done_on": day, **changes}


def test_staff_cut_fit_and_check(as_staff, plan):
    at = f"/plans/{plan.plan.code}"
    assert as_staff.post(f"{at}/cut/", told(plan)).status_code == 302
    assert as_staff.post(f"{at}/fit/", told(plan)).status_code == 302
    assert as_staff.post(f"{at}/contact/", checked("clean")).status_code == 302
    page = as_staff.get(f"{at}/").content.decode()
    assert "Contact check: clean, after a dummy that left its mark." in page
    assert PlanStep.objects.count() == 3


def test_a_wrong_code_stops_and_what_was_typed_stays(as_staff, plan):
    answer = as_staff.post(f"/plans/{plan.plan.code}/cut/", told(plan, code="QQQQQQ", depth_mm="5.5"))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "STOP. The code typed is QQQQQQ" in page
    assert 'value="5.5"' in page
    assert not PlanStep.objects.exists()


def test_the_code_is_never_shown_where_it_is_typed(as_staff, plan):
    page = as_staff.get(f"/plans/{plan.plan.code}/cut/").content.decode()
    form = page[page.index("<form method") : page.index("</form>", page.index("<form method"))]
    assert f'value="{plan.plan.code}"' not in form
    assert ">Plan " + plan.plan.code not in page


def test_a_shallow_cut_says_so(as_staff, plan):
    page = as_staff.post(
        f"/plans/{plan.plan.code}/cut/", told(plan, depth_mm="4.9"), follow=True
    ).content.decode()
    assert "Kept as failed" in page
    assert "failed: too shallow" in page


def test_contact_stands_on_today_on_the_lesion_and_is_answered_by_a_podiatrist(
    as_staff, as_podiatrist, as_manager, plan, lesion
):
    at = f"/plans/{plan.plan.code}"
    as_staff.post(f"{at}/cut/", told(plan))
    as_staff.post(f"{at}/fit/", told(plan))
    as_staff.post(f"{at}/contact/", checked("touched", where=[f"{lesion.label}:base"]))
    assert "Relief plan of the" in as_staff.get("/today/").content.decode()
    assert "touches its opening" in as_staff.get(f"/lesions/{lesion.pk}/").content.decode()
    flag = PlanFlag.objects.get()
    assert as_staff.get(f"/plans/flags/{flag.pk}/").status_code == 403
    answer = as_podiatrist.post(
        f"/plans/flags/{flag.pk}/", {"answer": "Cut again today.", "version": flag.version}
    )
    assert answer.status_code == 302
    assert "Relief plan of the" not in as_staff.get("/today/").content.decode()


def test_the_visit_page_asks_for_each_watch_point_by_name_and_prefills_none(as_staff, plan, limb):
    page = as_staff.get(f"/people/{limb.person_id}/visits/new/").content.decode()
    for point in WatchPoint.objects.filter(limb_plan=plan):
        assert point.words in page
        assert f'name="watch_{point.pk}"' in page
    assert page.count('name="watch_') == 4 * WatchPoint.objects.count()
    watch = page[page.index("Watch points of the relief plan") :]
    assert "checked" not in watch[: watch.index("</section>")]


def looked(client, limb, **told):
    """A visit of today by its form, as a browser without script sends it."""
    first = limb.lesions.get()
    data = {
        "submission_key": str(uuid.uuid4()),
        "visited_on": timezone.localdate().isoformat(),
        "red_flags": ["none"],
        "next_in": "7",
        f"lesion-{first.pk}-covered_dry": "on",
        **told,
    }
    return client.post(f"/people/{limb.person_id}/visits/new/", data)


def test_one_touch_names_every_watch_point_and_answers_each_as_clear(as_staff, plan, limb):
    page = as_staff.get(f"/people/{limb.person_id}/visits/new/").content.decode()
    touch = page[page.index('name="looked_clear"') :]
    touch = touch[: touch.index("</label>")]
    points = WatchPoint.objects.filter(limb_plan=plan)
    assert all(f"“{escape(point.words)}” clear" in touch for point in points)
    assert looked(as_staff, limb, looked_clear="on").status_code == 302
    assert {(one.point_id, one.found) for one in WatchFinding.objects.all()} == {
        (point.pk, "clear") for point in points
    }


def test_an_untouched_watch_point_is_not_looked_at(as_staff, plan, limb):
    assert looked(as_staff, limb, other_foot="clear").status_code == 302
    assert not WatchFinding.objects.exists()


def test_the_touch_beside_another_answer_to_one_watch_point_is_refused(as_staff, plan, limb):
    point = WatchPoint.objects.filter(limb_plan=plan).first()
    answer = looked(as_staff, limb, looked_clear="on", **{f"watch_{point.pk}": "red"})
    assert answer.status_code == 422
    assert "is ticked beside another answer" in answer.content.decode()
    assert not WatchFinding.objects.exists()


def test_typed_peaks_are_kept_and_the_page_says_how_few_they_are(as_staff, as_manager, plan):
    day = timezone.localdate().isoformat()
    at = f"/plans/{plan.plan.code}/measured/"
    assert (
        as_staff.post(at, {"label": "A", "measured_on": day, "without_kpa": "260", **NONE}).status_code == 422
    )
    answer = as_staff.post(
        at, {"label": "A", "measured_on": day, "without_kpa": "260", "with_kpa": "130", **NONE}
    )
    assert answer.status_code == 302
    row = PlanMeasurement.objects.get()
    page = as_manager.get("/plans/predictions/").content.decode()
    assert f"{row.difference:.0f}" in page
    assert "Few pairs (1 of the 30" in page


def high_block(value, low=5):
    """30 x 12 cells of 10 mm; the block of high cells surrounds the ulcer of the test."""
    return [[value if 14 <= i <= 21 and 3 <= j <= 8 else low for j in range(12)] for i in range(30)]


def csv(rows):
    return "\n".join(",".join(map(str, row)) for row in rows)


def two_grids(plan, **grids):
    """A measurement from two grids, laid by heel and first head."""
    from offload.plans.keeping import recomputed

    marks = {mark.name: mark.at for mark in recomputed(plan.plan).insole.landmarks}
    (x0, y0), (x1, y1) = marks["heel"], marks["metatarsal_head_1"]
    return {
        "label": "A",
        "measured_on": timezone.localdate().isoformat(),
        **NONE,
        **grids,
        "unit": "N/cm2",
        "cell_across": "10",
        "cell_along": "10",
        "first_mark": "heel",
        "second_mark": "metatarsal_head_1",
        "first_across": f"{x0 + 65:.1f}",
        "first_along": f"{y0:.1f}",
        "second_across": f"{x1 + 65:.1f}",
        "second_along": f"{y1:.1f}",
    }


def test_two_grids_are_read_and_nothing_about_them_is_guessed(as_staff, plan, lesion):
    data = two_grids(plan, without_map=csv(high_block(25)), with_map=csv(high_block(12)))
    at = f"/plans/{plan.plan.code}/measured/"
    refused = as_staff.post(at, {**data, "unit": ""})
    assert refused.status_code == 422
    assert "never guessed" in refused.content.decode()
    answer = as_staff.post(at, data)
    assert answer.status_code == 302, answer.content.decode()
    row = PlanMeasurement.objects.get()
    assert row.from_map
    assert row.without_kpa == pytest.approx(250, rel=0.15)
    assert row.with_kpa == pytest.approx(120, rel=0.15)


def test_two_grids_are_read_from_files_and_their_numbers_stay_when_something_is_missing(
    as_staff, plan, lesion
):
    def files():
        without = SimpleUploadedFile("without.csv", csv(high_block(25)).encode())
        return {
            "without_file": without,
            "with_file": SimpleUploadedFile("with.json", json.dumps(lower).encode()),
        }

    lower, at = high_block(12), f"/plans/{plan.plan.code}/measured/"
    page = as_staff.get(at).content.decode()
    assert page.count('type="file"') == 2
    assert 'enctype="multipart/form-data"' in page
    refused = as_staff.post(at, {**two_grids(plan), **files(), "cell_along": ""})
    assert refused.status_code == 422
    assert csv(high_block(25))[:60] in refused.content.decode()
    assert as_staff.post(at, {**two_grids(plan), **files()}).status_code == 302
    row = PlanMeasurement.objects.get()
    assert (row.without_kpa, row.with_kpa) == pytest.approx((250, 120), rel=0.15)


@pytest.mark.parametrize(
    ("sent", "why"),
    [(b"\xef\xbb\xbf1,2", "byte order mark"), (b"0," * 250_000, "500000 bytes; the limit is 400000")],
)
def test_a_file_that_cannot_be_read_is_refused_at_its_field(as_staff, plan, lesion, sent, why):
    data = two_grids(plan, with_map=csv(high_block(12)), without_file=SimpleUploadedFile("a.csv", sent))
    answer = as_staff.post(f"/plans/{plan.plan.code}/measured/", data)
    assert answer.status_code == 422
    assert why in answer.content.decode()
    assert not PlanMeasurement.objects.exists()


def test_counts_do_not_need_more_queries_for_more_plans(
    as_manager, podiatrist, site, django_assert_num_queries
):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def add():
        person = factories.person(at=site)
        factories.weight(of=person, kg=82)
        limb = factories.limb(of=person, side="right")
        sign(podiatrist, draft(podiatrist, limb, factories.lesion(on=limb)))

    add()
    as_manager.get("/plans/predictions/")  # the session's own rows are written once
    with CaptureQueriesContext(connection) as few:
        as_manager.get("/plans/predictions/")
    for _ in range(3):
        add()
    with django_assert_num_queries(len(few)):
        as_manager.get("/plans/predictions/")


def test_a_clean_check_without_its_dummy_is_refused_at_the_field_and_the_page_shows_how(as_staff, plan):
    at = f"/plans/{plan.plan.code}"
    as_staff.post(f"{at}/cut/", told(plan))
    as_staff.post(f"{at}/fit/", told(plan))
    page = as_staff.get(f"{at}/contact/").content.decode()
    assert page.count("<svg") >= 9
    assert "Dummy first: put the piece that was cut out, 6 mm thick" in page
    assert " checked" not in page
    answer = as_staff.post(f"{at}/contact/", checked("clean", dummy_marked="none", note="steps in the hall"))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "was not seen to fail" in page
    assert "steps in the hall" in page
    as_staff.post(f"{at}/contact/", checked("unreadable", dummy_marked="no"))
    page = as_staff.get(f"{at}/").content.decode()
    assert "could not be read" in page
    assert "dummy left no mark" in " ".join(page.split())


def test_the_page_tells_target_and_error_and_every_estimate_the_running_bias(
    as_staff, as_podiatrist, plan, limb
):
    at = f"/plans/{plan.plan.code}/"
    day = timezone.localdate().isoformat()
    assert "nothing yet, so how far" in as_podiatrist.get(at).content.decode()
    assert "No target is published for an open ulcer" in as_staff.get(f"{at}measured/").content.decode()
    typed = {"label": "A", "measured_on": day, "without_kpa": "260", "with_kpa": "130"}
    refused = as_staff.post(f"{at}measured/", {**typed, "target_kind": "less"})
    assert refused.status_code == 422
    assert "above 0 and up to 99 %" in refused.content.decode()
    as_staff.post(f"{at}measured/", {**typed, "target_kind": "peak", "target": "120"})
    page = " ".join(as_podiatrist.get(at).content.decode().split())
    off = PlanMeasurement.objects.get().difference
    assert f"model off by {off:+.0f} kPa. Target, at most 120 kPa: <strong>not met</strong>" in page
    for page in (at, f"/limbs/{limb.pk}/bench/"):
        assert "Nothing is corrected by it." in as_podiatrist.get(page).content.decode(), page


def test_a_plan_that_no_device_carries_is_set_aside_on_its_own_page(as_podiatrist, as_staff, plan):
    at = f"/plans/{plan.plan.code}/set-aside/"
    assert at in as_podiatrist.get(f"/plans/{plan.plan.code}/").content.decode()
    assert as_staff.get(at).status_code == 403
    told = {"ended_on": timezone.localdate().isoformat(), "because": "The other plan is worn."}
    assert as_podiatrist.post(at, {**told, "because": ""}).status_code == 422
    assert as_podiatrist.post(at, told).status_code == 302
    page = as_podiatrist.get(f"/plans/{plan.plan.code}/").content.decode()
    assert "The other plan is worn." in page
    assert at not in page


def test_a_plan_that_a_running_device_carries_is_not_set_aside(as_podiatrist, podiatrist, limb, lesion):
    facts = {"region": "forefoot"}
    device = factories.prescription(of=limb, lesions=[lesion], facts=facts)
    plan = sign(podiatrist, draft(podiatrist, limb, lesion))
    told = {"ended_on": timezone.localdate().isoformat(), "because": "Words that stay."}
    answer = as_podiatrist.post(f"/plans/{plan.plan.code}/set-aside/", told)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert f"/prescriptions/{device.pk}/" in page
    assert "Words that stay." in page
    plan.refresh_from_db()
    assert plan.ended_on is None
