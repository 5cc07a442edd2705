"""Peer reading: a draw that its seed makes again, two readers who do not see who chose, and their kappa."""

import html

import pytest

from clinic.audit.reads.peer import next_case, peer_result, round_rows
from clinic.audit.writes.peer import peer_draw, peer_read
from clinic.models import AuditEvent, PeerReading
from clinic.record.errors import Refused
from tests import factories
from tests.clinic.audit.scene import ago, year
from tests.pages import PageClient


@pytest.fixture
def readers(site):
    return [factories.user("podiatrist", at=site, first_name=f"Reader{n}") for n in (1, 2, 3)]


@pytest.fixture
def drawn(site, manager, podiatrist):
    year(site, podiatrist)
    return peer_draw(by=manager, site=site, seed=5, since=ago(365), until=ago(0), size=3)


def test_a_draw_has_as_many_departures_as_agreements_and_its_seed_makes_it_again(drawn, manager, site):
    kinds = [case.prescription.agreement for case in drawn.cases.all()]
    assert sorted(kinds) == ["departed"] * 3 + ["first"] * 3
    again = peer_draw(by=manager, site=site, seed=5, since=ago(365), until=ago(0), size=3)
    other = peer_draw(by=manager, site=site, seed=6, since=ago(365), until=ago(0), size=3)
    order = [
        list(r.cases.order_by("position").values_list("prescription", flat=True))
        for r in (drawn, again, other)
    ]
    assert order[0] == order[1] != order[2]
    assert AuditEvent.objects.filter(verb="drew").count() == 3


def test_a_period_without_a_departure_is_refused(manager, site):
    with pytest.raises(Refused, match="no departure"):
        peer_draw(by=manager, site=site, seed=1, since=ago(10), until=ago(0), size=3)


def test_two_others_read_each_choice_once(drawn, readers, podiatrist, manager):
    case = drawn.cases.first()
    before = AuditEvent.objects.count()
    assert peer_read(by=readers[0], case=case, opinion="same").place == 1
    assert AuditEvent.objects.count() == before + 1
    assert peer_read(by=readers[1], case=case, opinion="acceptable").place == 2
    for who, why in ((readers[2], "Two readers"), (podiatrist, "yours"), (manager, "A podiatrist reads")):
        with pytest.raises(Refused, match=why):
            peer_read(by=who, case=case, opinion="same")
    second = drawn.cases.all()[1]
    with pytest.raises(Refused, match="in words"):
        peer_read(by=readers[0], case=second, opinion="not_justified", words=" ")
    peer_read(by=readers[0], case=second, opinion="same")
    with pytest.raises(Refused, match="already"):
        peer_read(by=readers[0], case=second, opinion="same")


def test_the_result_waits_for_all_and_gives_kappa(drawn, readers, site):
    opinions = [
        ("same", "same"),
        ("same", "acceptable"),
        ("not_justified", "not_justified"),
        ("acceptable", "acceptable"),
        ("same", "same"),
        ("acceptable", "same"),
    ]
    for n, case in enumerate(drawn.cases.order_by("position")):
        assert peer_result(drawn) is None
        for who, opinion in zip(readers[:2], opinions[n], strict=True):
            peer_read(by=who, case=case, opinion=opinion, words="why")
    found = peer_result(drawn)
    # By hand: alike 4 of 6; by chance (3·3 + 2·2 + 1·1) / 36.
    assert (found.kappa.same, found.kappa.n) == (4, 6)
    assert found.kappa.kappa == pytest.approx((4 / 6 - 14 / 36) / (1 - 14 / 36))
    assert len(found.doubtful) == 1
    assert sum(n for _, _, n in found.by_kind) == 12
    row = round_rows(site, readers[2])[0]
    assert (row.cases, row.read_twice, row.left_for_you) == (6, 6, 0)


def test_a_reader_sees_neither_who_chose_nor_for_whom_nor_the_other_opinion(drawn, readers):
    case = next_case(drawn, readers[0])
    client = PageClient()
    client.force_login(readers[0])
    page = html.unescape(client.get(f"/audit/peer/choices/{case.pk}/").content.decode())
    p = case.prescription
    assert p.reason in page
    for hidden in (
        p.signed_by.username,
        str(p.signed_by),
        p.limb.person.full_name,
        p.limb.person.record_number,
    ):
        assert hidden not in page
    assert " checked" not in page
    sent = client.post(f"/audit/peer/choices/{case.pk}/", {"opinion": "not_justified", "words": ""})
    assert sent.status_code == 422
    sent = client.post(f"/audit/peer/choices/{case.pk}/", {"opinion": "same", "words": ""})
    assert sent.status_code == 302
    assert PeerReading.objects.get().reader == readers[0]
    mine = PageClient()
    mine.force_login(p.signed_by)
    assert mine.get(f"/audit/peer/choices/{case.pk}/").status_code == 404


def test_the_lead_draws_and_a_podiatrist_does_not(as_manager, as_podiatrist, site, podiatrist):
    year(site, podiatrist)
    sent = {"since": ago(365), "until": ago(0), "size": 2, "seed": 9}
    assert as_podiatrist.post("/audit/peer/new/", sent).status_code == 403
    assert as_manager.post("/audit/peer/new/", {**sent, "until": ago(400)}).status_code == 422
    assert as_manager.post("/audit/peer/new/", sent).status_code == 302
    assert "seed 9" in as_manager.get("/audit/peer/").content.decode()
