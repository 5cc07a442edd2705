"""A clinic's own error enters the forecast only from pairs enough on; outlines are laid on their centre."""

import re
from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.db import connection
from django.db.models import F
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.capture.reads.repeat import repeatability_of, site_error, trace_errors
from clinic.capture.reads.traces import centred, outline_rings, outlines_of
from clinic.case.reads.lesions_page import lesion_page
from clinic.curves.reads.healing import healing_of
from clinic.evidence.reads.standing import standing_of
from clinic.healing.repeatability import LEAST_PAIRS
from clinic.models import Photo, PhotoScale, Trace
from clinic.visits.reads import change_words
from clinic.week.reads.today import today_lists
from tests import factories

pytestmark = pytest.mark.django_db


def traced_twice(lesion, by, first, second, blind=True):
    photo = Photo.objects.create(
        lesion=lesion,
        taken_on=timezone.localdate(),
        file="photos/none.jpg",
        sha256="0" * 64,
        width_px=9,
        height_px=9,
        created_by=by,
    )
    scale = PhotoScale.objects.create(
        photo=photo, reference="card", marks_px=[], matrix=[], error_percent=1, created_by=by
    )
    for area in (first, second):
        Trace.objects.create(
            scale=scale,
            outline_mm=[],
            area_mm2=area,
            perimeter_mm=1,
            length_mm=1,
            width_mm=1,
            blind=blind,
            created_by=by,
        )


@pytest.fixture
def lesion(person):
    lesion = factories.lesion(on=factories.limb(of=person))
    factories.series(lesion, [3.0, 2.6, 2.2])
    return lesion


def test_few_pairs_leave_the_design_choice_and_enough_replace_it(lesion, staff):
    for _ in range(LEAST_PAIRS - 1):
        traced_twice(lesion, staff, 200.0, 190.0)
    assert trace_errors([lesion]) == {}
    assert {area.share for area in healing_of(lesion).areas} == {None}
    traced_twice(lesion, staff, 200.0, 190.0)
    share = trace_errors([lesion])[lesion.pk]
    assert share == pytest.approx(10 / 195 / 2**0.5, rel=1e-6)
    assert {area.share for area in healing_of(lesion).areas} == {share}


def shares(sentences):
    return {re.search(r"± \d+ %", one).group() for one in sentences}


def test_the_words_of_a_change_use_the_error_this_clinic_measured(site, staff, lesion):
    # Large areas: on small ones the half millimetre round the margin is the larger error.
    lesion.measurements.update(method="traced", area_mm2=F("area_mm2") * 10)

    def words():
        today = today_lists(site, timezone.localdate())
        rows = [*today.morning.rows, *today.overdue, *today.due, *today.coming]
        on_today = next(line.change for row in rows for line in row.lesions if line.lesion == lesion)
        on_page = lesion_page(lesion, standing_of(lesion.limb, timezone.localdate())).rows[0].change.words
        typed = change_words(
            lesion,
            timezone.localdate() + timedelta(days=1),
            SimpleNamespace(method="traced", debridement="before", area_mm2=1900.0),
            True,
        )
        return on_today, on_page, typed[0].split(",")[0]

    assert shares(words()) == {"± 14 %"}
    for _ in range(LEAST_PAIRS):
        traced_twice(lesion, staff, 200.0, 140.0)
    assert site_error(site.pk) == pytest.approx(60 / 170 / 2**0.5)
    assert shares(words()) == {"± 35 %"}
    lesion.measurements.update(method="ellipse")
    assert shares(words()[:2]) == {"± 28 %"}, "a ruler is no tracing"


def test_traces_drawn_over_last_weeks_outline_are_no_repeats(lesion, staff):
    for _ in range(LEAST_PAIRS):
        traced_twice(lesion, staff, 200.0, 190.0, blind=False)
    assert trace_errors([lesion]) == {}


def test_another_clinics_traces_say_nothing_here(lesion, other_site):
    stranger = factories.lesion(on=factories.limb(of=factories.person(at=other_site)))
    by = factories.user("staff", at=other_site)
    for _ in range(LEAST_PAIRS):
        traced_twice(stranger, by, 200.0, 190.0)
    assert trace_errors([lesion]) == {}
    assert set(trace_errors([lesion, stranger])) == {stranger.pk}


def test_the_number_of_queries_does_not_grow(lesion, staff):
    traced_twice(lesion, staff, 200.0, 190.0)
    assert staff.site_ids  # read once a request
    with CaptureQueriesContext(connection) as few:
        repeatability_of(staff)
    for _ in range(9):
        traced_twice(lesion, staff, 200.0, 190.0)
    with CaptureQueriesContext(connection) as many:
        repeatability_of(staff)
    assert len(few) == len(many)


def test_outlines_are_laid_on_the_centre_of_their_area_with_holes_taken_out(lesion):
    square = [[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]]
    hole = [[6.0, 4.0], [8.0, 4.0], [8.0, 6.0], [6.0, 6.0]]
    rings = centred(outline_rings([[square, hole]]))
    x = (100 * 5 - 4 * 7) / 96
    assert rings[0][0] == pytest.approx([-x, -5])
    visit = lesion.measurements.first().visit
    visit.measurements.update(outline_mm=square)
    assert len(outlines_of(lesion)) == 1
