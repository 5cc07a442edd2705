"""A record that is restricted, or opened in an emergency, offers nothing that is refused on saving."""

import re

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.writes.erasure import person_restrict
from clinic.models import BreakGlass
from clinic.week.reads.today import today_lists
from tests import factories
from tests.clinic.case.writes.test_settling import sealed_device
from tests.test_access import ROUTES

TODAY = timezone.localdate


@pytest.fixture
def record(person):
    limb = factories.limb(of=person)
    lesion = factories.lesion(on=limb)
    visit = factories.visit(of=person)
    factories.measurement(at=visit, of=lesion)
    device = sealed_device(limb, lesion)
    flag = factories.red_flag(of=person)
    return {
        "person": person,
        "limb": limb,
        "lesion": lesion,
        "visit": visit,
        "prescription": device,
        "flag": flag,
    }


def pages(record):
    return [
        reverse("person", args=[record["person"].pk]),
        reverse("lesion", args=[record["lesion"].pk]),
        reverse("visit", args=[record["visit"].pk]),
        reverse("prescription", args=[record["prescription"].pk]),
    ]


def links_that_write(client, page):
    """Addresses on a page that a role must be able to write for."""
    from django.urls import resolve

    from clinic.access import WRITING

    shown = client.get(page).content.decode()
    main = shown[shown.index("<main") :]
    found = set()
    for address in re.findall(r'(?:href|action)="(/[^"#?]*)', main):
        if address.startswith("/static/"):
            continue
        name = resolve(address).url_name
        if ROUTES.get(name, ("", ""))[1] in WRITING:
            found.add(name)
    return found, shown


def test_a_restricted_record_says_so_and_offers_no_write(record, manager, as_podiatrist):
    page = pages(record)[0]
    assert links_that_write(as_podiatrist, page)[0]
    person_restrict(by=manager, person=record["person"], because="objection of the patient")
    for page in pages(record):
        found, shown = links_that_write(as_podiatrist, page)
        assert not found, f"{page}: {found}"
        assert "restricted: reading only" in shown
    assert as_podiatrist.get(reverse("visit_new", args=[record["person"].pk])).status_code == 403


def test_today_asks_nothing_of_it_but_the_manager_who_sees_its_flags(record, manager, as_manager):
    person_restrict(by=manager, person=record["person"], because="objection of the patient")
    lists = today_lists(record["person"].site, TODAY())
    rows = [*lists.morning.rows, *lists.overdue, *lists.due, *lists.coming]
    assert rows
    assert {ask.message.id for row in rows for ask in row.asks} == {"restricted_wait"}
    assert b"only you can lift the restriction" in as_manager.get(reverse("audit")).content
    assert record["person"].full_name in as_manager.get(reverse("left_open")).content.decode()


def test_emergency_access_reads_and_offers_no_write(record, other_site):
    from tests.conftest import _signed_in

    stranger = factories.user("podiatrist", at=other_site)
    client = _signed_in(stranger)
    glass = factories.broken_glass(of=record["person"], by=stranger)
    assert isinstance(glass, BreakGlass)
    session = client.session
    session["glass"] = [glass.pk]
    session.save()
    for page in pages(record):
        found, shown = links_that_write(client, page)
        assert not found, f"{page}: {found}"
        assert "emergency access: reading only" in shown
    assert client.get(reverse("visit_new", args=[record["person"].pk])).status_code == 403
