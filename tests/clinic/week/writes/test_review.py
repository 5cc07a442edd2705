"""A look at a lesion is a row with a note, its author, and one line of the chain."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.models import AuditEvent, ReviewNote
from clinic.record.errors import Conflict, Refused
from clinic.record.writes import audit
from clinic.week.writes import review_seen
from tests import factories

TODAY = timezone.localdate


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def look(by, lesion, **fields):
    given = {
        "concern": "slow",
        "shown": "slow",
        "may_be_seen": True,
        "note": "Waits for shoes.",
        "seen_on": TODAY(),
    }
    return review_seen(by=by, lesion=lesion, **{**given, **fields})


def test_a_look_is_kept_with_what_the_list_said(podiatrist, lesion):
    made = look(podiatrist, lesion, note="  Waits for shoes. ")
    assert (made.concern, made.note, made.created_by, made.seen_on) == (
        "slow",
        "Waits for shoes.",
        podiatrist,
        TODAY(),
    )
    assert [e.verb for e in AuditEvent.objects.all()] == ["reviewed"]


@pytest.mark.parametrize(
    ("fields", "fault", "words"),
    [
        ({"may_be_seen": False}, Refused, "not set aside"),
        ({"shown": "on_course"}, Conflict, "something else"),
        ({"note": "  "}, Refused, "few words"),
    ],
)
def test_what_may_not_be_set_aside_is_refused(podiatrist, lesion, fields, fault, words):
    with pytest.raises(fault, match=words):
        look(podiatrist, lesion, **fields)
    assert not ReviewNote.objects.exists()
    assert not AuditEvent.objects.exists()


def test_a_lesion_no_longer_open_is_refused(podiatrist, person):
    closed = factories.lesion(
        on=factories.limb(of=person), state="ended", outcome="lost", ended_on=TODAY() - timedelta(days=1)
    )
    with pytest.raises(Refused, match="no longer open"):
        look(podiatrist, closed)


def test_without_its_line_in_the_chain_nothing_is_kept(podiatrist, lesion, monkeypatch):
    def broken(**_):
        raise RuntimeError("chain")

    monkeypatch.setattr(audit, "record", broken)
    with pytest.raises(RuntimeError, match="chain"):
        look(podiatrist, lesion)
    assert not ReviewNote.objects.exists()
