"""The pages of measured maps, and the bench that starts from one."""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from clinic.models import AuditEvent, LimbPlan, MeasuredMap
from tests import factories
from tests.clinic.relief.views.test_relief import numbers


@pytest.fixture
def limb(person):
    factories.weight(of=person, kg=82)
    made = factories.limb(of=person, side="right")
    factories.lesion(on=made, place="mth_2")
    return made


@pytest.fixture
def lesion(limb):
    return limb.lesions.get()


CSV = "\n".join(",".join(map(str, line)) for line in factories.heel_and_forefoot())
TOLD = {
    "grid": CSV,
    "kind": "peak",
    "unit": "kPa",
    "cell_across": "5",
    "cell_along": "5",
    "first_mark": "heel",
    "first_across": "45",
    "first_along": "36",
    "second_mark": "metatarsal_head_2",
    "second_across": "45",
    "second_along": "195",
    "measured_on": "2026-01-05",
    "worn": "flat shoe, uncut insole",
    "taken": "shoe",
    "uncut": "on",
    "action": "keep",
}


def post(client, limb, **changes):
    told = {**TOLD, **changes}
    return client.post(f"/limbs/{limb.pk}/maps/", {name: v for name, v in told.items() if v is not None})


def words(answer):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_staff_keep_a_map_and_see_where_it_lies(as_staff, limb):
    answer = post(as_staff, limb)
    row = MeasuredMap.objects.get()
    assert answer.headers["Location"] == f"/maps/{row.pk}/"
    page = as_staff.get(f"/maps/{row.pk}/")
    assert "none: a peak map is not summed" in words(page)
    assert "The measured map on the insole; peak" in page.content.decode()
    assert str(row.measured_on.year) in words(as_staff.get(f"/limbs/{limb.pk}/maps/"))


def test_a_manager_reads_a_map_and_adds_none(as_manager, limb):
    row = factories.measured_map(of=limb)
    assert as_manager.get(f"/maps/{row.pk}/").status_code == 200
    assert "Withdraw" not in as_manager.get(f"/maps/{row.pk}/").content.decode()
    assert post(as_manager, limb).status_code == 403
    assert as_manager.post(f"/maps/{row.pk}/withdraw/").status_code == 403


def test_a_file_is_read_and_its_numbers_stay_when_something_is_missing(as_staff, limb):
    answer = post(as_staff, limb, grid="", file=SimpleUploadedFile("grid.csv", CSV.encode()), worn="")
    assert answer.status_code == 422
    assert CSV[:60] in answer.content.decode()
    assert "45" in answer.content.decode()
    assert not MeasuredMap.objects.exists()


def test_a_file_with_a_byte_order_mark_is_refused_in_words_and_the_typed_points_stay(as_staff, limb):
    sent = SimpleUploadedFile("grid.csv", b"\xef\xbb\xbf" + CSV.encode())
    answer = post(as_staff, limb, grid="", file=sent)
    assert answer.status_code == 422
    assert "it begins with a byte order mark; save it as UTF-8 without one" in words(answer)
    assert 'value="195"' in answer.content.decode()
    assert not MeasuredMap.objects.exists()


def test_a_file_of_json_is_kept_like_csv(as_staff, limb):
    rows = str(factories.heel_and_forefoot()).encode()
    assert post(as_staff, limb, grid="", file=SimpleUploadedFile("grid.json", rows)).status_code == 302
    assert MeasuredMap.objects.get().kpa == factories.heel_and_forefoot()


@pytest.mark.parametrize("taken", ["shoe", "device", "barefoot"])
def test_a_file_is_kept_wherever_the_foot_was(as_staff, limb, taken):
    sent = SimpleUploadedFile("grid.csv", CSV.encode())
    assert 'type="file" name="file"' in as_staff.get(f"/limbs/{limb.pk}/maps/").content.decode()
    assert post(as_staff, limb, grid="", file=sent, taken=taken).status_code == 302
    assert MeasuredMap.objects.get().taken == taken


def test_a_file_too_large_is_refused_with_its_size(as_staff, limb):
    sent = SimpleUploadedFile("grid.csv", b"0," * 250_000)
    answer = post(as_staff, limb, grid="", file=sent)
    assert "500000 bytes; the limit is 400000" in words(answer)


def test_looking_shows_the_grid_with_millimetres_and_keeps_nothing(as_staff, limb):
    bare = dict.fromkeys((*[name for name in TOLD if "first_" in name or "second_" in name], "worn", "uncut"))
    answer = post(as_staff, limb, action="look", **bare)
    assert answer.status_code == 200
    assert "The grid as read: 50 rows, 18 columns" in answer.content.decode()
    assert not MeasuredMap.objects.exists()


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("unit", "", "Unit: missing; it is needed to read a grid and is never guessed"),
        ("cell_across", "", "Cell across (mm): missing"),
        ("kind", "", "A cell holds"),
        ("grid", "", "Or its numbers: missing"),
        ("grid", "1,2\n3", "row 2 has 1 values"),
        ("first_along", "", "First point, along from the heel end (mm): missing"),
        ("second_along", "300", "apart on the grid"),
        ("second_along", "210", "nearer or farther apart than their landmarks; the limit is 12 mm"),
        ("uncut", None, "Only a map without any cut"),
        ("measured_on", "2999-01-01", "the latest possible is today"),
        ("unit", "psi", "Select a valid choice"),
    ],
)
def test_what_is_missing_or_wrong_is_said_and_nothing_typed_is_lost(as_staff, limb, field, value, said):
    answer = post(as_staff, limb, **{field: value})
    assert answer.status_code == 422
    assert said in words(answer)
    if field != "grid":
        assert CSV[:60] in answer.content.decode()
    if field != "worn":
        assert "flat shoe, uncut insole" in answer.content.decode()
    assert not MeasuredMap.objects.exists()


def test_without_a_foot_length_the_page_says_where_to_record_it(as_staff, person):
    bare = factories.limb(of=person, side="right", foot_length_mm=None)
    answer = as_staff.get(f"/limbs/{bare.pk}/maps/")
    assert "The length of this foot is not recorded" in words(answer)
    assert f"/limbs/{bare.pk}/edit/" in answer.content.decode()
    assert post(as_staff, bare).status_code == 200
    assert not MeasuredMap.objects.exists()


def test_the_next_map_begins_with_the_reading_of_the_last(as_staff, limb):
    factories.measured_map(of=limb, unit="N/cm2", cell_across_mm="5.08", cell_along_mm="5.08")
    page = as_staff.get(f"/limbs/{limb.pk}/maps/").content.decode()
    assert '<option value="N/cm2" selected>' in page
    assert 'value="5.08"' in page


def test_withdrawing_asks_for_words_and_shows_them_afterwards(as_staff, limb):
    row = factories.measured_map(of=limb)
    assert (
        as_staff.post(f"/maps/{row.pk}/withdraw/", {"because": "", "version": row.version}).status_code == 422
    )
    stale = as_staff.post(f"/maps/{row.pk}/withdraw/", {"because": "left foot", "version": 9})
    assert stale.status_code == 422
    assert "left foot" in stale.content.decode()
    as_staff.post(f"/maps/{row.pk}/withdraw/", {"because": "left foot", "version": row.version})
    assert "Withdrawn on" in words(as_staff.get(f"/maps/{row.pk}/"))
    assert AuditEvent.objects.filter(verb="withdrew", target_kind="measuredmap").count() == 1


# --- the bench
# ---------------------------------------------------------------------------------------------------
def test_the_bench_starts_from_the_map_and_says_so(as_podiatrist, limb):
    assert "reference map, a group average" in words(as_podiatrist.get(f"/limbs/{limb.pk}/bench/"))
    row = factories.measured_map(of=limb)
    page = as_podiatrist.get(f"/limbs/{limb.pk}/bench/")
    assert f'<option value="{row.pk}" selected>' in page.content.decode()
    assert "All of it starts from a map measured under this foot." in words(page)


def test_a_draft_keeps_which_map_it_starts_from_and_its_new_version_too(as_podiatrist, limb, lesion):
    older = factories.measured_map(of=limb)
    newer = factories.measured_map(of=limb)
    told = {**numbers(lesion), "baseline": str(older.pk), "action": "save"}
    assert as_podiatrist.post(f"/limbs/{limb.pk}/bench/", told).status_code == 302
    made = LimbPlan.objects.get()
    assert made.measured_map == older
    again = as_podiatrist.get(f"/limbs/{limb.pk}/bench/?from={made.plan.code}").content.decode()
    assert f'<option value="{older.pk}" selected>' in again
    assert f'<option value="{newer.pk}" selected>' not in again
    assert made.plan.code in words(as_podiatrist.get(f"/maps/{older.pk}/"))
    plan = as_podiatrist.get(f"/plans/{made.plan.code}/")
    assert "All of it starts from a map measured under this foot." in words(plan)


def test_a_map_of_another_foot_or_a_withdrawn_one_is_no_choice(as_podiatrist, limb, lesion, person):
    foreign = factories.measured_map(of=factories.limb(of=person, side="left"))
    answer = as_podiatrist.post(
        f"/limbs/{limb.pk}/bench/preview/", {**numbers(lesion), "baseline": foreign.pk}
    )
    assert answer.status_code == 422
    assert "Select a valid choice" in words(answer)


def test_a_map_without_load_under_the_case_is_said_at_its_field(as_podiatrist, limb, lesion):
    """Only the heel was measured, and the lesion is solved at push-off."""
    heel = [line if n < 16 else [0.0] * 18 for n, line in enumerate(factories.heel_and_forefoot())]
    row = factories.measured_map(of=limb, kpa=heel)
    answer = as_podiatrist.post(f"/limbs/{limb.pk}/bench/preview/", {**numbers(lesion), "baseline": row.pk})
    assert answer.status_code == 422
    assert "carries 0 N distal of the midfoot" in words(answer)
