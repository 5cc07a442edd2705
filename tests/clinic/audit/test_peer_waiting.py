"""A peer round says how many readers it needs, who has something to read, and how sure its kappa is."""

import pytest
from django.urls import reverse

from clinic.audit.writes.peer import peer_read
from clinic.healing.kappa import cohen_kappa
from clinic.models import PeerCase
from clinic.people.reads.peer_waiting import cases_short, peer_waiting
from tests import factories


@pytest.fixture
def case(person, podiatrist):
    limb = factories.limb(of=person)
    device = factories.prescription(of=limb, lesions=[factories.lesion(on=limb)], signed_by=podiatrist)
    return factories.peer_case(of=device)


def test_it_says_how_many_lack_a_reader_until_enough_work_here(case, site, as_podiatrist):
    factories.user("podiatrist", at=site)
    cases = PeerCase.objects.filter(round=case.round)
    assert cases_short(cases, site) == 1
    shown = as_podiatrist.get(reverse("peer_round", args=[case.round_id])).content.decode()
    assert "cannot be read by two podiatrists here" in shown
    factories.user("podiatrist", at=site)
    assert cases_short(cases, site) == 0


def test_today_and_review_mention_what_waits_for_the_reader(case, site, podiatrist, as_podiatrist):
    from tests.conftest import _signed_in

    other = factories.user("podiatrist", at=site)
    assert (peer_waiting(site, podiatrist), peer_waiting(site, other)) == (0, 1)
    for page in ("today", "review"):
        assert reverse("peer_rounds").encode() not in as_podiatrist.get(reverse(page)).content
        assert reverse("peer_rounds").encode() in _signed_in(other).get(reverse(page)).content
    peer_read(by=other, case=case, opinion="same")
    assert peer_waiting(site, other) == 0


@pytest.mark.parametrize("n", [6, 60])
def test_kappa_has_an_interval_that_narrows_with_cases_and_never_vanishes(n):
    first = ["a", "b"] * (n // 2)
    alike = cohen_kappa(first, first)
    assert alike.kappa == 1.0 == alike.high
    assert alike.low < 1.0
    half = cohen_kappa(first, ["a", "b", "b"] * (n // 3))
    assert -1.0 <= half.low < half.kappa < half.high <= 1.0
    if n == 60:
        small = cohen_kappa(first[:6], first[:6])
        assert small.low < alike.low
