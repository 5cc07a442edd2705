"""What healed it before: what was on at closing, what failed first, and the months since."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.case.reads.before import healed_before
from tests import factories

pytestmark = pytest.mark.django_db


def ago(n):
    return timezone.localdate() - timedelta(days=n)


@pytest.fixture
def limb(person):
    return factories.limb(of=person)


def healed(limb, **fields):
    return factories.lesion(
        on=limb,
        first_seen_on=ago(400),
        onset_on=ago(410),
        state="healed",
        outcome="healed",
        closed_on=ago(344),
        confirmed_on=ago(330),
        footwear="extra-depth shoes",
        **fields,
    )


def test_device_weeks_failures_footwear_and_remission(limb, as_podiatrist):
    past = healed(limb)
    failed = factories.prescription(
        of=limb,
        lesions=[past],
        device_class="ankle_high_removable",
        prescribed_on=ago(400),
        fitted_on=ago(400),
        stopped_on=ago(370),
        stop_reason="not_tolerated",
    )
    worked = factories.prescription(
        of=limb,
        lesions=[past],
        prescribed_on=ago(370),
        fitted_on=ago(369),
        stopped_on=ago(330),
        stop_reason="healed",
    )
    new = factories.lesion(on=limb, first_seen_on=ago(3), onset_on=ago(25), recurs_of=past)
    (told,) = healed_before(new)
    assert (told.device, told.failed, told.weeks) == (worked, (failed,), 8)
    assert told.same_place
    assert round(told.months) == 10
    page = as_podiatrist.get(f"/lesions/{new.pk}/").content.decode()
    for words in ("Previous episode", "after 8 weeks", "extra-depth shoes", "10 months"):
        assert words in page


def test_the_same_place_comes_first_and_the_other_foot_not_at_all(limb, person):
    other_place = healed(limb, place="mth_1")
    same = healed(limb)
    healed(factories.limb(of=person, side="right"))
    new = factories.lesion(on=limb, first_seen_on=ago(3), onset_on=ago(5))
    assert [told.lesion for told in healed_before(new)] == [same, other_place]


def test_a_limb_without_history_has_nothing_to_tell(limb):
    assert healed_before(factories.lesion(on=limb)) == ()
