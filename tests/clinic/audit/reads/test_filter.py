"""Whatever the audit is narrowed by, each count of the page is as long as the list it opens."""

import re
from dataclasses import fields
from html import unescape
from itertools import combinations

import pytest
from django.http import QueryDict
from django.urls import reverse
from django.utils import timezone

from clinic.audit.forms.audit import AuditForm
from clinic.audit.reads.cases import AuditFilter
from clinic.audit.reads.figures import spec_of
from clinic.audit.reads.lists import all_rows
from clinic.audit.reads.page import audit_report
from clinic.models import Site, TransferState
from tests import factories
from tests.clinic.audit.scene import ago, case, overridden, year
from tests.pages import PageClient

FIELDS = {field.name for field in fields(AuditFilter)}
#: What the page is narrowed by one at a time and in pairs, beside a year of all clinics.
NARROW = {
    "sites": lambda scene: (scene["site"],),
    "since": lambda scene: ago(62),
    "until": lambda scene: ago(64),
    "device_class": lambda scene: "ankle_high_removable",
    "prescriber": lambda scene: scene["prescriber"].pk,
    "everywhere": lambda scene: True,
}
#: Changes how a question is asked, never its answer: these are all clinics.
SAME_ANSWER = {"everywhere"}


pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def scene(one_world):
    """Two clinics with a year each, one person handed over, trouble at visits, a sentence used twice."""
    site, other_site = factories.site(name="Alder Lane clinic"), factories.site(name="Birch Road clinic")
    podiatrist = factories.user("podiatrist", at=site)
    year(site, podiatrist)
    year(other_site)
    overridden(site, signed_by=podiatrist)
    overridden(other_site)
    moved, _ = case(other_site)
    moved.counts_for = site
    moved.save()
    factories.transfer(
        of=moved.limb.person,
        to=other_site,
        from_site=site,
        state=TransferState.ACCEPTED,
        answered_at=timezone.now(),
    )
    for at, by in ((site, podiatrist), (other_site, None)):
        lesion, device = case(at, days_ago=63, **({"signed_by": by} if by else {}))
        factories.visit(of=lesion.limb.person, on=ago(50), fall=True, other_foot="problem")
        device.stopped_on, device.stop_reason = ago(40), "broken"
        device.save()
    return {"site": site, "prescriber": podiatrist}


def filtered(scene, names):
    whole = {"sites": tuple(Site.objects.order_by("pk")), "since": ago(365), "until": timezone.localdate()}
    return AuditFilter(**{**whole, **{name: NARROW[name](scene) for name in names}})


def counts_and_lists(asked, widest=False):
    """By figure; with `widest` only the largest figure of each kind of case."""
    today = timezone.localdate()
    counts = {key: figure.count for key, figure in audit_report(asked, today).figures.items()}
    if widest:
        by_base = {spec_of(key).base: key for key in sorted(counts, key=counts.__getitem__)}
        counts = {key: counts[key] for key in by_base.values()}
    lists = {key: sum(1 for _ in all_rows(spec_of(key), asked, today)) for key in counts}
    return counts, lists


def test_every_field_of_the_filter_is_swept_and_can_be_asked_on_the_page():
    assert set(NARROW) == FIELDS
    assert set(AuditForm.base_fields) == FIELDS - {"sites", "everywhere"}


def test_every_count_is_as_long_as_its_list_whatever_narrows_it(scene):
    whole, lists = counts_and_lists(filtered(scene, ()))
    assert whole == lists
    assert len([n for n in whole.values() if n]) > 40
    for name in sorted(FIELDS):
        counts, lists = counts_and_lists(filtered(scene, (name,)))
        assert counts == lists, name
        # A value that narrows nothing would prove nothing.
        assert (counts == whole) == (name in SAME_ANSWER), name
    for pair in combinations(sorted(FIELDS), 2):
        counts, lists = counts_and_lists(filtered(scene, pair), widest=True)
        assert counts == lists, pair


LINK = re.compile(r'<a href="(/audit/cases/\?[^"]+)"[^>]*>([\d,]+)')


@pytest.mark.parametrize("name", [None, "sites", "since", "until", "device_class", "prescriber"])
def test_every_count_of_the_page_opens_a_list_of_that_length(scene, name):
    """Of a narrowed page each link is narrowed alike, and the longest list of each kind of case is opened."""
    lead = factories.user("manager", at=scene["site"])
    lead.sites.set(Site.objects.all())
    client = PageClient()
    client.force_login(lead)
    told = {"site": "all"}
    if name == "sites":
        told["site"] = scene["site"].pk
    elif name:
        told[name] = NARROW[name](scene)
    page = client.get(reverse("audit"), told).content.decode()
    links = {unescape(url): int(n.replace(",", "")) for url, n in LINK.findall(page)}
    assert len(links) > 12
    asked = {url: QueryDict(url.partition("?")[2]) for url in links}
    for url, words in asked.items():
        assert {key: words[key] for key in told} == {key: str(value) for key, value in told.items()}, url
    if name:
        widest = {spec_of(asked[url]["figure"]).base: url for url in sorted(links, key=links.__getitem__)}
        links = {url: links[url] for url in widest.values()}
        assert len(links) > 3
    assert {url: client.get(url).context["count"] for url in links} == links
