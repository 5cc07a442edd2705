"""A lesion closes by finding, heals by confirmation, and may open again."""

from datetime import timedelta
from unittest.mock import patch

import pytest
from django.utils import timezone

from clinic.lesions.writes import closure
from clinic.models import AuditEvent, Visit
from clinic.record.errors import Conflict, Refused
from tests import factories

TODAY = timezone.localdate
AGO = lambda days: TODAY() - timedelta(days=days)  # noqa: E731


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def closed(lesion, by, days_ago):
    return closure.lesion_close(
        by=by, lesion=lesion, closed_on=AGO(days_ago), expected_version=lesion.version
    )


def confirm(lesion, by, on):
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
    assert Visit.objects.get(person=lesion.limb.person).next_on == TODAY() + timedelta(days=60)


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
