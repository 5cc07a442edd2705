"""A lesion closes by finding, heals by confirmation, and may open again."""

from datetime import timedelta
from unittest.mock import patch

import pytest
from django.utils import timezone
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from clinic.lesions.writes import closure
from clinic.models import AuditEvent, Visit
from clinic.record.errors import Conflict, Refused
from tests import factories, factories_care

TODAY = timezone.localdate
AGO = lambda days: TODAY() - timedelta(days=days)  # noqa: E731


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def closed(lesion, by, days_ago):
    factories_care.found_covered(lesion, AGO(days_ago))
    return closure.lesion_close(
        by=by, lesion=lesion, closed_on=AGO(days_ago), expected_version=lesion.version
    )


def confirm(lesion, by, on, *, seen=True):
    if seen:
        factories_care.found_covered(lesion, on)
    return closure.lesion_confirm(
        by=by,
        lesion=lesion,
        confirmed_on=on,
        footwear="fitted shoes",
        next_on=on + timedelta(days=60),
        expected_version=lesion.version,
    )


def test_closing_waits_for_confirmation(lesion, staff):
    closed(lesion, staff, 0)
    lesion.refresh_from_db()
    assert (lesion.state, lesion.outcome, lesion.episode.ended_on) == ("to_confirm", "", None)


@pytest.mark.parametrize(("days", "allowed"), [(13, False), (14, True), (15, True)])
def test_healed_needs_a_second_visit_fourteen_days_later(lesion, podiatrist, days, allowed):
    closed(lesion, podiatrist, days)
    if not allowed:
        with pytest.raises(Refused, match="at the earliest"):
            confirm(lesion, podiatrist, TODAY())
        return
    confirm(lesion, podiatrist, TODAY())
    lesion.refresh_from_db()
    assert lesion.state == "healed"
    assert lesion.episode.ended_on == TODAY()
    assert Visit.objects.get(visited_on=TODAY()).next_on == TODAY() + timedelta(days=60)


def test_no_open_area_lies_after_a_closure(podiatrist):
    reached = {"closed": 0, "refused": 0}

    @settings(max_examples=40)
    @given(
        closed_ago=st.integers(14, 40),
        confirmed_ago=st.integers(0, 40),
        open_ago=st.integers(0, 50),
        area=st.sampled_from([0.0, 0.54, None]),
    )
    def law(closed_ago, confirmed_ago, open_ago, area):
        assume(open_ago not in (closed_ago, confirmed_ago))
        lesion = factories.lesion(first_seen_on=AGO(90))
        if area is not None:
            at = factories.visit(of=lesion.limb.person, on=AGO(open_ago))
            factories.measurement(at=at, of=lesion, cm2=area)
        contradicted = area == 0.54 and open_ago < closed_ago
        early = confirmed_ago > closed_ago - 14
        try:
            closed(lesion, podiatrist, closed_ago)
            confirm(lesion, podiatrist, AGO(confirmed_ago), seen=confirmed_ago != closed_ago)
        except Refused:
            assert contradicted or early
            reached["refused"] += 1
        else:
            assert not contradicted
            assert not early
            reached["closed"] += 1

    law()
    assert all(reached.values()), reached


def test_a_lesion_closes_only_on_the_day_of_a_visit_that_found_it_covered(lesion, podiatrist):
    with pytest.raises(Refused, match="found this ulcer covered and dry") as refused:
        closure.lesion_close(by=podiatrist, lesion=lesion, closed_on=AGO(3), expected_version=lesion.version)
    assert refused.value.field == "closed_on"
    assert not Visit.objects.exists()


def test_healed_is_confirmed_by_a_visit_and_makes_none(lesion, podiatrist):
    closed(lesion, podiatrist, 20)
    with pytest.raises(Refused, match="found this ulcer covered and dry") as refused:
        confirm(lesion, podiatrist, TODAY(), seen=False)
    assert refused.value.field == "confirmed_on"
    assert Visit.objects.count() == 1


def test_the_episode_stays_open_while_another_lesion_is(lesion, podiatrist):
    factories.lesion(on=lesion.limb, place="mth_5")
    closed(lesion, podiatrist, 20)
    confirm(lesion, podiatrist, TODAY())
    lesion.episode.refresh_from_db()
    assert lesion.episode.ended_on is None


def test_opened_soon_after_healing_it_is_the_same_lesion(lesion, podiatrist):
    closed(lesion, podiatrist, 20)
    confirm(lesion, podiatrist, AGO(2))
    closure.lesion_reopen(by=podiatrist, lesion=lesion, reopened_on=TODAY(), expected_version=lesion.version)
    lesion.refresh_from_db()
    assert (lesion.state, lesion.outcome, lesion.closed_on, lesion.episode.ended_on) == (
        "open",
        "",
        None,
        None,
    )


def test_opened_later_it_is_a_recurrence(lesion, podiatrist):
    closed(lesion, podiatrist, 50)
    confirm(lesion, podiatrist, AGO(30))
    with pytest.raises(Refused, match="recurs"):
        closure.lesion_reopen(
            by=podiatrist, lesion=lesion, reopened_on=TODAY(), expected_version=lesion.version
        )


def test_ending_by_amputation_ends_the_episode(lesion, staff):
    closure.lesion_end(
        by=staff, lesion=lesion, outcome="minor_amputation", ended_on=TODAY(), expected_version=lesion.version
    )
    lesion.episode.refresh_from_db()
    assert (lesion.state, lesion.outcome, lesion.episode.ended_on) == ("ended", "minor_amputation", TODAY())


def test_a_stale_page_overwrites_nothing(lesion, staff):
    factories_care.found_covered(lesion, TODAY())
    with pytest.raises(Conflict):
        closure.lesion_close(by=staff, lesion=lesion, closed_on=TODAY(), expected_version=lesion.version + 1)
    lesion.refresh_from_db()
    assert lesion.state == "open"


def test_nothing_is_saved_when_the_audit_row_cannot_be(lesion, staff):
    with (
        patch("clinic.lesions.writes.closure.audit.record", side_effect=RuntimeError),
        pytest.raises(RuntimeError),
    ):
        closed(lesion, staff, 0)
    lesion.refresh_from_db()
    assert lesion.state == "open"
    assert not AuditEvent.objects.exists()


@pytest.mark.parametrize("since", [None, 0.4])
def test_after_it_opened_again_no_page_says_closed(lesion, podiatrist, as_podiatrist, since):
    factories.series(lesion, [2.0, 1.5, 1.0, 0.5], last=AGO(30))
    closed(lesion, podiatrist, 20)
    closure.lesion_reopen(by=podiatrist, lesion=lesion, reopened_on=AGO(1), expected_version=lesion.version)
    if since:
        at = factories.visit(of=lesion.limb.person, on=TODAY())
        factories.measurement(at=at, of=lesion, cm2=since)
    for path in (f"/lesions/{lesion.pk}/", "/review/", f"/people/{lesion.limb.person_id}/"):
        page = as_podiatrist.get(path).content.decode()
        assert "closed, to confirm" not in page.lower(), path
    page = as_podiatrist.get(f"/lesions/{lesion.pk}/").content.decode()
    assert ("no area since" in page) is (since is None)
