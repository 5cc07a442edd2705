"""Queries that are kept answer every question as if they were put together for it."""

from collections.abc import Mapping
from datetime import timedelta
from itertools import product

import pytest
from django.db.models import Count, DateField
from django.utils import timezone

from clinic.models import Lesion, Site, TransferState
from clinic.selectors.audit_cases import AuditFilter
from clinic.selectors.audit_figures import ALL_BASES, Tally
from clinic.selectors.kept_queries import Blank, Kept
from tests import factories
from tests.clinic.audit_scene import ago, case, year

pytestmark = pytest.mark.django_db


def _told(rows):
    return sorted(repr(sorted(row.items())) for row in rows)


def _anew(base, asked, today):
    kind = ALL_BASES[base]
    rows = kind.rows(asked, today).order_by().values(*kind.apart).annotate(n=Count("pk"))
    return [kind.derive(row) for row in rows]


def test_each_count_of_the_audit_is_the_one_put_together_for_its_question(site, other_site, podiatrist):
    year(site, podiatrist)
    year(other_site)
    moved, _ = case(other_site)
    moved.counts_for = site
    moved.save()
    person = moved.limb.person
    factories.transfer(
        of=person, to=other_site, from_site=site, state=TransferState.ACCEPTED, answered_at=timezone.now()
    )
    apart = factories.site(name="Nobody moved here")
    year(apart)
    today = timezone.localdate()
    whole = set()
    sites = ((site,), (other_site,), (apart,), (site, apart), tuple(Site.objects.all()))
    for where, (since, until, day), narrow in product(
        sites,
        ((ago(365), today, today), (ago(80), ago(40), today + timedelta(days=60))),
        ({}, {"device_class": "total_contact_cast"}, {"device_class": "ankle_high_removable"},
         {"prescriber": podiatrist.pk}, {"prescriber": podiatrist.pk, "device_class": "ankle_high_removable"}),
    ):  # fmt: skip
        asked = AuditFilter(where, since, until, everywhere=len(where) == Site.objects.count(), **narrow)
        for base in ALL_BASES:
            told = _told(Tally.read(base, asked, day).rows)
            assert told == _told(_anew(base, asked, day)), (base, asked, day)
            whole.add((base, tuple(told)))
    # Not the same answer to everything.
    assert len(whole) > 60


def _lesions(site):
    limbs = [factories.limb(of=factories.person(at=site)) for _ in range(2)]
    return [
        factories.lesion(on=limb, first_seen_on=ago(days)) for limb, days in zip(limbs, (50, 5), strict=True)
    ]


def _seen_from(shape, filling):
    made.append(shape)
    return Lesion.objects.filter(first_seen_on__gte=Blank(filling, "day", DateField()) + timedelta(days=1))


made: list[str] = []


def test_a_query_is_put_together_once_and_answers_by_its_days(site):
    made.clear()
    kept = Kept(_seen_from)
    old, new = _lesions(site)
    assert kept.read("seen", {"day": ago(51)}) == [old, new]
    assert kept.read("seen", {"day": ago(50)}) == [new]
    assert kept.read("seen", {"day": ago(5)}) == []
    late = factories.lesion(on=factories.limb(of=new.limb.person, side="right"), first_seen_on=ago(1))
    assert kept.read("seen", {"day": ago(50)}) == [new, late]
    assert made == ["seen"]


def test_a_second_reader_gets_a_query_of_its_own(site):
    made.clear()
    kept = Kept(_seen_from)
    old, new = _lesions(site)
    between = []

    class Interrupted(Mapping):
        """Somebody else reads while this query is being written out."""

        def __getitem__(self, name):
            between.append(kept.read("seen", {"day": ago(10)}))
            return ago(60)

        def __iter__(self):
            return iter(["day"])

        def __len__(self):
            return 1

    assert kept.read("seen", Interrupted()) == [old, new]
    assert between == [[new]]
    assert made == ["seen", "seen"]
    assert kept.read("seen", {"day": ago(10)}) == kept.read("seen", {"day": ago(10)}) == [new]
    assert made == ["seen", "seen"]


def test_a_query_that_failed_is_not_kept(site):
    made.clear()
    kept = Kept(_seen_from)
    with pytest.raises(KeyError):
        kept.read("seen", {})
    assert kept.read("seen", {"day": ago(10)}) == []
    assert made == ["seen", "seen"]
