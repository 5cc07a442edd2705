"""Two ulcers that grow together, and one that splits: each keeps its own history."""

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from clinic.audit.reads.cases import AuditFilter
from clinic.audit.reads.page import audit_report
from clinic.curves.reads.healing import courses_of
from clinic.lesions.writes.closure import lesion_end
from clinic.lesions.writes.lesions import lesion_register
from clinic.models import Lesion
from clinic.record.errors import Refused
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


@pytest.fixture
def limb(person):
    return factories.limb(of=person)


@pytest.fixture
def pair(limb):
    """Two ulcers of one foot, each with areas of its own."""
    both = factories.lesion(on=limb), factories.lesion(on=limb, label="B", place="plantar_hallux")
    for visit in factories.series(both[0], [3.0, 2.0]):
        factories.measurement(at=visit, of=both[1])
    return both


def join(by, lesion, into, **told):
    given = {"outcome": "joined", "ended_on": TODAY(), "expected_version": lesion.version, **told}
    return lesion_end(by=by, lesion=lesion, joined_into=into, **given)


def test_the_one_ends_the_other_goes_on_and_both_keep_their_areas(staff, pair):
    one, other = pair
    join(staff, other, one)
    one.refresh_from_db()
    assert (one.state, other.state, other.outcome, other.joined_into) == ("open", "ended", "joined", one)
    assert [lesion.measurements.count() for lesion in pair] == [2, 2]
    assert one.episode.ended_on is None


def test_the_curve_that_goes_on_is_marked_and_may_bend_from_that_day(staff, pair):
    one, other = pair
    join(staff, other, one)
    course = courses_of([one, other])
    (mark,) = [mark for mark in course[one.pk].marks if mark.kind == "joined"]
    assert (mark.day, mark.words, mark.breaks) == (TODAY(), "Ulcer B joined", True)
    assert TODAY() in course[one.pk].breaks
    assert not [mark for mark in course[other.pk].marks if mark.kind == "joined"]
    assert [len(course[lesion.pk].areas) for lesion in pair] == [2, 2]


def test_it_is_never_counted_as_lost(staff, pair, site):
    one, other = pair
    factories.prescription(of=one.limb, lesions=list(pair))
    join(staff, other, one)
    found = audit_report(AuditFilter((site,), TODAY(), TODAY()), TODAY()).figures
    assert found["outcome.every.joined"].count == 1
    assert found["outcome.every.lost"].count == 0


def test_only_another_open_ulcer_of_the_same_foot_goes_on(staff, pair, person):
    one, other = pair
    far = factories.lesion(on=factories.limb(of=person, side="right"), label="C")
    for into in (None, other, far):
        with pytest.raises(Refused) as refused:
            join(staff, other, into)
        assert refused.value.field == "joined_into"
    with pytest.raises(Refused):
        join(staff, other, one, outcome="lost")
    assert not Lesion.objects.filter(state="ended").exists()


def test_the_database_itself_wants_the_ulcer_named(pair):
    pair[1].state, pair[1].outcome, pair[1].ended_on = "ended", "joined", TODAY()
    with pytest.raises(ValidationError):
        pair[1].validate_constraints()


def register(by, limb, split_from):
    return lesion_register(
        by=by,
        limb=limb,
        place=split_from.place,
        wound_kind="ulcer",
        cause="neuropathic",
        onset_on=TODAY(),
        first_seen_on=TODAY(),
        split_from=split_from,
    )


def test_a_part_that_splits_off_is_an_ulcer_of_its_own_and_names_where_it_came_from(staff, limb, pair):
    made = register(staff, limb, pair[0])
    assert (made.label, made.split_from, made.state) == ("C", pair[0], "open")
    assert pair[0].measurements.count() == 2
    pair[0].refresh_from_db()
    assert pair[0].state == "open"


def test_nothing_splits_off_an_ulcer_of_the_other_foot_or_a_healed_one(staff, limb, pair, person):
    other = factories.limb(of=person, side="right")
    with pytest.raises(Refused) as refused:
        register(staff, other, pair[0])
    assert refused.value.field == "split_from"


def test_each_page_leads_to_the_other(as_staff, staff, limb, pair):
    one, other = pair
    made = register(staff, limb, one)
    join(staff, other, one)
    page = as_staff.get(f"/lesions/{one.pk}/").content.decode()
    assert "Joined by" in page
    assert "Split into" in page
    assert f'href="/lesions/{one.pk}/"' in as_staff.get(f"/lesions/{made.pk}/").content.decode()
    assert "the ulcer that goes on" in as_staff.get(f"/lesions/{other.pk}/").content.decode()
