"""Every figure of the audit home against a slow second count that shares no code with it."""

from datetime import date, timedelta

import pytest
from django.core.cache import cache
from django.db.models import F

from clinic.audit.reads.cases import AuditFilter
from clinic.audit.reads.figures import SMALL, spec_of
from clinic.audit.reads.funnel import prescriber_rows, site_funnels
from clinic.audit.reads.lists import all_rows
from clinic.audit.reads.page import audit_report
from clinic.models import Lesion, Person, Prescription, Site, Visit
from tests.bench.invented import Sizes, seed
from tests.clinic.audit.by_hand import Hand
from tests.clinic.audit.scene import overridden

TODAY = date(2026, 11, 25)


@pytest.fixture
def network(db):
    """Two seeded clinics, roughened by what the seed never makes."""
    cache.clear()
    seed(Sizes(2, 150, 225, 2700), 11, TODAY, lambda done, rows: None)
    for n, visit in enumerate(Visit.objects.filter(attendance="came").order_by("pk")[:400:7]):
        if n % 2:
            visit.state, visit.error_reason = "in_error", "wrong patient"
        else:
            visit.skin_under_device, visit.fall = "problem", True
        visit.save()
    for n, device in enumerate(Prescription.objects.filter(agreement="departed").order_by("pk")):
        device.reason = ("  Will not wear it. ", "will not wear it.", f"Own words {n}.")[n % 3]
        device.save()
    sealed = Prescription.objects.filter(opened_on__isnull=False, stopped_on__gt=F("opened_on")).order_by(
        "pk"
    )
    for n, device in enumerate(sealed[:30:3]):
        # Handed to another team while it was sealed: past its day, or on it.
        device.opened_on, device.opened_visit, device.left_how = None, None, "handed_over"
        device.open_by = device.stopped_on - timedelta(days=n % 2)
        device.save()
    for site in Site.objects.all():
        overridden(site)
    for person in Person.objects.filter(state="in_care", limbs__lesions__state="open").distinct()[:3]:
        person.state, person.state_on = "died", TODAY - timedelta(days=5)
        person.save()
    for lesion in Lesion.objects.filter(state="healed").order_by("pk")[:60:6]:
        lesion.wound_kind = "blister"
        lesion.save()
    return list(Site.objects.order_by("pk"))


@pytest.mark.parametrize("which", ["one clinic", "all clinics", "a past quarter"])
def test_every_figure_equals_a_plain_second_count(network, which):
    sites = network[:1] if which == "one clinic" else network
    since, until = TODAY - timedelta(days=365), TODAY
    if which == "a past quarter":
        since, until = TODAY - timedelta(days=300), TODAY - timedelta(days=210)
    asked = AuditFilter(tuple(sites), since, until)
    found = audit_report(asked, TODAY)
    hand = Hand([s.pk for s in sites], since, until, TODAY).all()
    told = {key: f for key, f in found.figures.items() if not key.startswith("reused.")}
    assert {key: f.count for key, f in told.items() if f.count} == {
        key: n for key, n in hand.got.items() if n and key != "visits.all"
    }
    assert {key: f.of for key, f in told.items() if f.count} == {
        key: hand.of.get(key) for key, f in told.items() if f.count
    }
    assert {key for key in hand.of if hand.got[key]} <= set(told)
    assert [row.figure.count for row in found.reused] == hand.reused
    assert found.uncovered == (hand.bare, hand.open_days)
    assert found.device_weeks == pytest.approx(hand.device_days / 7)
    for row in found.harm:
        assert row.rate == pytest.approx(700 * hand.got[row.figure.key] / hand.device_days)
    words = (
        "half or more still wait"
        if hand.median >= 10**5
        else f"{hand.median:g} day{'' if hand.median == 1 else 's'}"
    )
    assert found.median_words == words
    for row in found.recurrence:
        followed = sum(days >= 7 * row.weeks for days, _ in hand.followed)
        assert row.at_risk == followed
        if followed:
            assert row.share == pytest.approx(hand.recurred_by(7 * row.weeks))
    departed = hand.got["departed"]
    for reason in found.reasons:
        own = hand.got[reason.departed.key]
        assert reason.here == (pytest.approx(100 * own / departed) if own and departed >= SMALL else None)
    # Not empty where the point is to compare.
    if which == "all clinics":
        assert len([f for f in told.values() if f.count]) > 60
        assert found.reused


def test_the_list_behind_every_figure_is_as_long_as_the_figure(network):
    asked = AuditFilter(tuple(network), TODAY - timedelta(days=365), TODAY)
    for key, figure in audit_report(asked, TODAY).figures.items():
        assert len(list(all_rows(spec_of(key), asked, TODAY))) == figure.count, key


def test_funnels_and_prescribers_count_what_the_page_of_each_counts(network):
    asked = AuditFilter(tuple(network), TODAY - timedelta(days=365), TODAY)
    for funnel in site_funnels(asked, TODAY):
        for row in funnel.rows:
            own = audit_report(
                AuditFilter((Site.objects.get(pk=row.key),), asked.since, asked.until), TODAY
            ).figures[funnel.key]
            assert (row.count, row.of) == (own.count, own.of)
    rows = prescriber_rows(AuditFilter((network[0],), asked.since, asked.until))
    assert rows
    for row in rows:
        own = audit_report(AuditFilter((network[0],), asked.since, asked.until, "", row.key), TODAY).agreed
        assert (row.count, row.of) == (own.count, own.of)
        assert row.of >= 20
