"""The pages of scale, trace and imprint: what they show, refuse and hand on; and the key of drafts."""

import io
import json
import re
from uuid import uuid4

import pytest
from django.utils import timezone

from clinic.capture.writes.photos import consent_give
from clinic.models import Measurement, Photo, PhotoScale, Trace
from tests import factories
from tests.offload.core.photo_scenes import scene

pytestmark = pytest.mark.django_db
SHOT = scene(7, 20)
SQUARE = [[[[0, 0], [10, 0], [10, 10], [0, 10]]]]


@pytest.fixture(autouse=True)
def _own_store(settings, tmp_path):
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path), "base_url": None},
        },
    }


@pytest.fixture
def lesion(person, staff):
    consent_give(by=staff, person=person, given_on=timezone.localdate())
    return factories.lesion(on=factories.limb(of=person))


@pytest.fixture
def photo(lesion, as_staff):
    out = io.BytesIO()
    SHOT.picture.save(out, "JPEG", quality=92)
    out.seek(0)
    out.name = "IMG.jpg"
    today = timezone.localdate().isoformat()
    sent = as_staff.post(
        f"/lesions/{lesion.pk}/photos/new/?for=visit", {"photo": out, "taken_on": today, "then": "measure"}
    )
    made = Photo.objects.get()
    assert sent["Location"] == f"/photos/{made.pk}/scale/?for=visit"
    return made


def corners():
    return "\n".join(f"{x:.1f}, {y:.1f}" for x, y in SHOT.card_px)


@pytest.fixture
def scale(photo, as_staff):
    told = {"reference": "card", "marks": corners(), "snap": "on"}
    assert as_staff.post(f"/photos/{photo.pk}/scale/", told).status_code == 302
    return PhotoScale.objects.get()


def test_the_scale_page_opens_with_the_card_found(photo, as_staff):
    page = as_staff.get(f"/photos/{photo.pk}/scale/")
    assert b"The card was found" in page.content


def test_marks_are_tried_without_being_kept(photo, as_staff):
    url = f"/photos/{photo.pk}/scale/check/"
    good = as_staff.post(url, {"reference": "card", "marks": corners(), "snap": "on"}).json()
    assert good["snapped"]
    assert good["error_percent"] < 3
    bad = as_staff.post(url, {"reference": "card", "marks": "1, 1\n2, x"}).json()
    assert "point 2" in bad["refused"]
    assert not PhotoScale.objects.exists()


def test_a_bad_scale_keeps_the_typed_marks(photo, as_staff):
    told = {"reference": "card", "marks": "10, 10\n20, 10\n20, 20\n10, 20"}
    answer = as_staff.post(f"/photos/{photo.pk}/scale/", told)
    assert answer.status_code == 422
    assert b"20, 20" in answer.content


def test_planimetry_comes_from_the_server(scale, as_staff):
    url = f"/scales/{scale.pk}/trace/check/"
    told = as_staff.post(url, {"outline": json.dumps(SQUARE)}).json()
    assert (told["area_mm2"], told["perimeter_mm"], told["width_mm"]) == (100.0, 40.0, 14.14)
    crossed = [[[[0, 0], [9, 9], [9, 0], [0, 9]]]]
    assert "crosses" in as_staff.post(url, {"outline": json.dumps(crossed)}).json()["refused"]
    for broken in ("{", "[[[]]]", "[1]", '[[["a","b"]]]', "[" * 5000, "[[[[1e999,0],[1,1],[2,0]]]]"):
        answer = as_staff.post(url, {"outline": broken})
        assert answer.status_code == 200, broken[:20]
        assert "refused" in answer.json(), broken[:20]
    assert not Trace.objects.exists()


def test_a_trace_goes_to_the_visit_and_is_stored_with_it(scale, lesion, as_staff):
    told = {"outline": json.dumps(SQUARE), "submission_key": str(uuid4()), "blind": "on"}
    url = f"/scales/{scale.pk}/trace/?for=visit"
    first = as_staff.post(url, told, headers={"accept": "application/json"}).json()
    again = as_staff.post(url, told)
    trace = Trace.objects.get()
    assert f"trace={trace.pk}" in first["next"]
    assert again["Location"] == first["next"]
    page = as_staff.get(first["next"].split("#")[0]).content.decode()
    assert "Traced on the photo of" in page
    sent = {
        "submission_key": str(uuid4()),
        "visited_on": timezone.localdate().isoformat(),
        "red_flags": "none",
        "next_in": "7",
        f"lesion-{lesion.pk}-outline": json.dumps(trace.outline_mm),
        f"lesion-{lesion.pk}-trace": trace.pk,
        f"lesion-{lesion.pk}-debridement": "before",
    }
    answer = as_staff.post(f"/people/{lesion.limb.person_id}/visits/new/", sent)
    assert answer.status_code == 302, answer.content.decode()[:2000]
    row = Measurement.objects.get()
    assert (row.area_mm2, row.trace) == (100.0, trace)
    assert row.outline_mm == SQUARE[0][0]


def test_a_trace_of_another_lesion_or_day_is_not_put_into_the_visit(scale, lesion, as_staff, person):
    told = {"outline": json.dumps(SQUARE), "submission_key": str(uuid4())}
    as_staff.post(f"/scales/{scale.pk}/trace/", told)
    trace = Trace.objects.get()
    Photo.objects.filter(pk=scale.photo_id).update(taken_on=timezone.localdate() - timezone.timedelta(days=1))
    page = as_staff.get(f"/people/{person.pk}/visits/new/?trace={trace.pk}")
    assert b"Traced on the photo of" not in page.content
    for odd in ("x", "-1", "9" * 30):
        assert as_staff.get(f"/people/{person.pk}/visits/new/?trace={odd}").status_code == 200


def test_the_flattened_picture_and_the_thumbnail_are_private(scale, as_staff, as_manager, client):
    for url in (f"/scales/{scale.pk}/picture/", f"/photos/{scale.photo_id}/thumb/"):
        answer = as_staff.get(url)
        assert answer["Content-Type"] == "image/jpeg"
        assert "no-store" in answer["Cache-Control"]
        assert client.get(url).status_code == 302


def test_pages_of_outlines_and_repeats_open(scale, lesion, as_staff):
    factories.series(lesion, [2.0, 1.5])
    Measurement.objects.update(outline_mm=SQUARE[0][0])
    page = as_staff.get(f"/lesions/{lesion.pk}/outlines/").content.decode()
    assert page.count("<path d=") == 2
    assert as_staff.get("/repeatability/").status_code == 200
    sheet = as_staff.get("/reference-sheet.pdf")
    assert sheet.content.startswith(b"%PDF")


def test_the_plot_of_repeats_draws_the_mean_difference_and_its_limits_where_the_page_says_them(
    scale, as_staff
):
    url = f"/scales/{scale.pk}/trace/?for=repeat"
    for side in (10, 10.4, 12, 12.2):
        ring = [[0, 0], [side, 0], [side, side], [0, side]]
        as_staff.post(url, {"outline": json.dumps([[ring]]), "submission_key": str(uuid4()), "blind": "on"})
    page = as_staff.get("/repeatability/").content.decode()
    assert 'class="bias"' not in page, "one pair has no limits"
    other = PhotoScale.objects.create(
        photo=scale.photo,
        reference="card",
        marks_px=scale.marks_px,
        matrix=scale.matrix,
        error_percent=1,
        created_by=scale.created_by,
    )
    for area in (100, 90):
        Trace.objects.create(
            scale=other,
            outline_mm=[],
            area_mm2=area,
            perimeter_mm=1,
            length_mm=1,
            width_mm=1,
            created_by=scale.created_by,
        )
    page = as_staff.get("/repeatability/").content.decode()
    differences = [200 * (10.4**2 - 100) / (10.4**2 + 100), 200 * (90 - 100) / 190]
    bias = sum(differences) / 2
    spread = abs(differences[0] - differences[1]) / 2**0.5
    for kind, at in (("bias", bias), ("limit", bias + 1.96 * spread), ("limit", bias - 1.96 * spread)):
        y = 110 * (1 - max(-40, min(40, at)) / 40)
        (line,) = [
            one
            for one in re.findall(rf'class="{kind}" d="M10 ([\d.]+)H550"', page)
            if abs(float(one) - y) < 0.01
        ]
        assert f"{abs(at):.1f} %" in page


def test_the_key_of_drafts_is_each_persons_own_and_changes_with_the_password(
    as_staff, as_manager, staff, client
):
    mine, again = as_staff.get("/draft-key/").json(), as_staff.get("/draft-key/").json()
    assert {**mine, "csrf": ""} == {**again, "csrf": ""}
    assert mine["key"] != as_manager.get("/draft-key/").json()["key"]
    staff.set_password("another long pass phrase")
    staff.save()
    client.force_login(staff)
    assert client.get("/draft-key/").json()["key"] != mine["key"]


def test_an_imprint_by_numbers_is_kept_or_comes_back_with_its_reason(lesion, as_staff):
    url = f"/lesions/{lesion.pk}/imprint/"
    assert b"When not to" in as_staff.get(url).content
    told = {
        "taken_on": timezone.localdate().isoformat(),
        "x_mm": "-7",
        "y_mm": "195",
        "length_mm": "12",
        "width_mm": "10",
        "angle_deg": "0",
    }
    assert as_staff.post(url, {**told, "x_mm": "90"}).status_code == 422
    assert as_staff.post(url, told).status_code == 302
    assert lesion.imprints.get().how == "typed"
