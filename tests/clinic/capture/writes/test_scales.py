"""A photo is brought to scale, traced, and its imprint laid on the insole; what is not good enough is
refused.
"""

import io
from decimal import Decimal
from uuid import uuid4

import numpy as np
import pytest
from django.utils import timezone
from PIL import Image

from clinic.capture.writes.photos import consent_give, photo_store, thumbnail
from clinic.capture.writes.scales import plane_frame, plane_picture, scale_guess, scale_store, scale_try
from clinic.capture.writes.traces import trace_store
from clinic.models import AuditEvent, Imprint, Lesion, PhotoScale, Trace
from clinic.record.errors import Refused
from clinic.relief.writes.imprints import imprint_by_trace, imprint_place, imprint_typed, not_now
from offload.core.shapes.insole import insole_for
from tests import factories
from tests.offload.core.photo_scenes import scene

pytestmark = pytest.mark.django_db
SHOT = scene(7, 20)


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
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


@pytest.fixture
def photo(lesion, staff):
    return taken(lesion, staff)


def taken(lesion, staff, subject="wound", picture=SHOT.picture):
    person = lesion.limb.person
    if not person.photo_consents.exists():
        consent_give(by=staff, person=person, given_on=timezone.localdate())
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=92)
    out.seek(0)
    return photo_store(by=staff, lesion=lesion, taken_on=timezone.localdate(), upload=out, subject=subject)


def in_plane(scale, points):
    flat = np.column_stack([points, np.ones(len(points))]) @ np.array(scale.matrix).T
    return [[float(x), float(y)] for x, y in flat[:, :2] / flat[:, 2:]]


def test_the_card_is_found_and_the_traced_area_is_true(photo, staff):
    marks = scale_guess(photo, "card")
    assert np.abs(np.asarray(marks) - SHOT.card_px).max() < 1.0
    scale = scale_store(by=staff, photo=photo, reference="card", marks=marks)
    assert scale.error_percent < 3
    assert scale.residual_mm < 0.1
    trace = trace_store(by=staff, scale=scale, outline=in_plane(scale, SHOT.wound_px), submission_key=uuid4())
    assert trace.area_mm2 == pytest.approx(SHOT.area, rel=0.01)
    assert AuditEvent.objects.filter(target_kind__in=["photoscale", "trace"]).count() == 2


def test_roughly_marked_corners_go_to_the_straight_edges(photo):
    rough = [(x + 6, y - 5) for x, y in SHOT.card_px]
    tried = scale_try(photo=photo, reference="card", marks=rough)
    assert tried.snapped
    assert np.abs(np.asarray(tried.marks) - SHOT.card_px).max() < 0.5
    as_marked = scale_try(photo=photo, reference="card", marks=rough, snap=False)
    assert not as_marked.snapped
    assert "could not be checked" in as_marked.caveat
    assert as_marked.error_percent > tried.error_percent


def test_a_ruler_alone_has_a_larger_error_and_its_caveat(photo):
    ends = [tuple(p) for p in SHOT.ruler_px]
    tried = scale_try(photo=photo, reference="ruler", marks=ends, distance_mm=Decimal(50))
    assert tried.error_percent > 6
    assert "tilt" in tried.caveat


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"reference": "nothing"}, "not one of the list"),
        ({"marks": [(1, 1)]}, "4 are needed"),
        ({"marks": [(0, 0), (9000, 0), (100, 100), (0, 100)]}, "outside the picture"),
        ({"marks": [(10, 10), (20, 10), (20, 20), (10, 20)]}, "Shortest side"),
        ({"marks": [(100, 100), (400, 400), (400, 100), (100, 400)]}, "convex"),
        ({"marks": [(100, 100), (100, 400), (600, 400), (600, 100)], "snap": False}, "counter-clockwise"),
        ({"marks": [(20, 20), (72, 20), (72, 62), (20, 62)], "snap": False}, "Expected area error"),
        ({"reference": "ruler", "marks": [(1, 1), (500, 1)]}, "missing"),
    ],
)
def test_marks_that_will_not_do_are_refused_with_the_reason(photo, told, words):
    with pytest.raises(Refused, match=words):
        scale_try(photo=photo, **{"reference": "card", "marks": [tuple(p) for p in SHOT.card_px], **told})


def test_the_same_marks_and_the_same_trace_are_kept_once(photo, staff):
    marks = [tuple(p) for p in SHOT.card_px]
    scale = scale_store(by=staff, photo=photo, reference="card", marks=marks)
    assert scale_store(by=staff, photo=photo, reference="card", marks=marks).pk == scale.pk
    key, ring = uuid4(), in_plane(scale, SHOT.wound_px)
    first = trace_store(by=staff, scale=scale, outline=ring, submission_key=key)
    assert trace_store(by=staff, scale=scale, outline=ring, submission_key=key).pk == first.pk
    assert (PhotoScale.objects.count(), Trace.objects.count()) == (1, 1)


def test_islands_and_holes_count_and_a_crossing_is_refused(photo, staff):
    scale = scale_store(by=staff, photo=photo, reference="card", marks=[tuple(p) for p in SHOT.card_px])
    square = [[0, 0], [20, 0], [20, 20], [0, 20]]
    hole = [[5, 5], [10, 5], [10, 10], [5, 10]]
    island = [[30, 0], [40, 0], [40, 10], [30, 10]]
    trace = trace_store(by=staff, scale=scale, outline=[[square, hole], [island]], submission_key=uuid4())
    assert trace.area_mm2 == 400 - 25 + 100
    assert trace.perimeter_mm == 80 + 20 + 40
    with pytest.raises(Refused, match="crosses"):
        trace_store(by=staff, scale=scale, outline=[[0, 0], [9, 9], [9, 0], [0, 9]], submission_key=uuid4())
    with pytest.raises(Refused, match="overlap"):
        trace_store(by=staff, scale=scale, outline=[[square], [hole]], submission_key=uuid4())


def test_the_flattened_photo_shows_the_card_as_a_true_rectangle(photo, staff):
    scale = scale_store(by=staff, photo=photo, reference="card", marks=scale_guess(photo, "card"))
    frame = plane_frame(scale)
    flat = Image.open(io.BytesIO(plane_picture(scale)))
    grey = np.asarray(flat.convert("L"), dtype=float)

    def at(x, y):
        return grey[round((y - frame.top) * frame.scale), round((x - frame.left) * frame.scale)]

    assert at(2, 27) > 215 > at(-2, 27)
    assert at(83.6, 27) > 215 > at(87.6, 27)
    assert at(43, 2) > 215 > at(43, -2)
    assert at(43, 52) > 215 > at(43, 56)
    assert Image.open(io.BytesIO(thumbnail(photo))).size == (400, 300)


def insole_photo(lesion, staff):
    """A bare picture; the scale is what counts."""
    photo = taken(lesion, staff, "insole", Image.new("RGB", (1200, 1600), "#ddd"))
    return PhotoScale.objects.create(
        photo=photo,
        reference="card",
        marks_px=[[0, 0], [1, 0], [1, 1], [0, 1]],
        matrix=[[0.25, 0, 0], [0, 0.25, 0], [0, 0, 1]],
        error_percent=1,
        created_by=staff,
    )


def seen(points, side):
    sign = 1 if side == "right" else -1
    return [[sign * x + 150, 320 - y] for x, y in points]


INSOLE = insole_for(260.0)
MARKS = {"heel": (0.0, 0.0), "second_toe": (-4.9, 269.0), "big_toe": (-26.0, 233.0)}
RING = [(-12.0, 190.0), (0.0, 190.0), (0.0, 202.0), (-12.0, 202.0)]


@pytest.mark.parametrize("side", ["left", "right"])
def test_an_imprint_traced_on_a_photo_lands_on_the_insole(person, staff, side):
    lesion = factories.lesion(on=factories.limb(of=person, side=side))
    scale = insole_photo(lesion, staff)
    trace = trace_store(by=staff, scale=scale, outline=seen(RING, side), submission_key=uuid4())
    marks = {name: tuple(seen([at], side)[0]) for name, at in MARKS.items()}
    told = {"lesion": lesion, "trace": trace, "placed_by": "landmarks", "marks": marks}
    imprint = imprint_by_trace(by=staff, dressing_mm=Decimal(3), **told)
    assert np.abs(np.asarray(imprint.outline_mm) - RING).max() < 1.5
    assert (imprint.how, imprint.placed_by, imprint.scale) == ("traced", "landmarks", scale)
    assert imprint_by_trace(by=staff, dressing_mm=Decimal(3), **told).pk == imprint.pk
    assert AuditEvent.objects.filter(target_kind="imprint").count() == 1
    other = "right" if side == "left" else "left"
    mixed = {name: tuple(seen([at], other)[0]) for name, at in MARKS.items()}
    with pytest.raises(Refused, match="other foot"):
        imprint_place(lesion=lesion, trace=trace, placed_by="landmarks", marks=mixed)


def test_an_imprint_on_the_other_half_than_its_site_is_asked_about(person, staff):
    lesion = factories.lesion(on=factories.limb(of=person), place="mth_1")
    told = {"taken_on": timezone.localdate(), "length_mm": 12.0, "width_mm": 10.0}
    with pytest.raises(Refused, match="little-toe side"):
        imprint_typed(by=staff, lesion=lesion, centre=(25.0, 175.0), **told)
    imprint_typed(by=staff, lesion=lesion, centre=(25.0, 175.0), side_confirmed=True, **told)
    with pytest.raises(Refused, match="off the insole"):
        imprint_typed(by=staff, lesion=lesion, centre=(80.0, 175.0), **told)
    assert Imprint.objects.count() == 1


THREE = {"infection_looked": True, "infection_signs": ["redness", "pus"], "redness_mm": 25}


def test_nobody_walks_for_a_print_on_an_infected_foot(lesion):
    assert not_now(lesion) == ""
    factories.measurement(at=factories.visit(of=lesion.limb.person), of=lesion, **THREE)
    assert "Infection grade 3" in not_now(lesion)


@pytest.mark.parametrize(
    ("of_person", "of_lesion"),
    [
        ({"state": "died", "state_on": "2026-01-02"}, {}),
        ({"state": "moved", "state_on": "2026-01-02"}, {}),
        (
            {},
            {"state": "healed", "outcome": "healed", "closed_on": "2026-01-02", "confirmed_on": "2026-01-20"},
        ),
        ({}, {"state": "ended", "outcome": "lost", "ended_on": "2026-01-02"}),
    ],
)
def test_no_imprint_is_kept_of_what_is_looked_after_no_longer(staff, lesion, of_person, of_lesion):
    for row, values in ((lesion.limb.person, of_person), (lesion, of_lesion)):
        for name, value in values.items():
            setattr(row, name, value)
        row.save()
    with pytest.raises(Refused, match="no longer in care here|is (healed|ended)"):
        imprint_typed(
            by=staff,
            lesion=Lesion.objects.get(pk=lesion.pk),
            taken_on=timezone.localdate(),
            centre=(25.0, 175.0),
            length_mm=14,
            width_mm=10,
            side_confirmed=True,
        )
    assert not Imprint.objects.exists()
