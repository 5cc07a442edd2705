from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from tests import factories

pytestmark = pytest.mark.django_db


def due(site, **fields):
    who = factories.person(at=site, **fields)
    factories.series(
        factories.lesion(on=factories.limb(of=who)), [3.0, 2.0], last=timezone.localdate() - timedelta(days=7)
    )
    return who


def test_today_lists_who_is_due_with_the_way_to_the_visit(as_staff, site):
    who = due(site)
    page = as_staff.get(reverse("today")).content.decode()
    assert who.full_name in page
    assert reverse("visit_new", args=[who.pk]) in page
    assert "2.00 cm², traced" in page
    assert '<svg class="spark"' in page


def test_a_visit_logged_leaves_today_at_once(as_staff, site):
    who = due(site)
    lesion = who.limbs.get().lesions.get()
    head = f"lesion-{lesion.pk}-"
    as_staff.post(
        reverse("visit_new", args=[who.pk]),
        {
            "submission_key": "6f1b2f2e-7a35-4a8e-9d0c-0d7c3f0b1a11",
            "visited_on": timezone.localdate().isoformat(),
            "red_flags": ["none"],
            "next_in": "7",
            f"{head}length_mm": "15",
            f"{head}width_mm": "10",
            f"{head}debridement": "before",
        },
    )
    page = as_staff.get(reverse("today")).content.decode()
    assert "Nobody is due today" in page
    assert "Next 7 days (1)" in page
    assert "1.18 cm², length × width" in page


def test_an_empty_day_says_so(as_staff):
    assert "Nobody is due today" in as_staff.get(reverse("today")).content.decode()


@pytest.mark.parametrize("group", ["due", "overdue"])
def test_somebody_in_remission_stands_in_the_day_once(as_staff, site, group):
    who = factories.person(at=site)
    closed = timezone.localdate() - timedelta(days=60)
    factories.lesion(
        on=factories.limb(of=who), state="healed", outcome="healed", closed_on=closed, confirmed_on=closed
    )
    back = {"due": 0, "overdue": 2}[group]
    factories.visit(
        of=who,
        on=timezone.localdate() - timedelta(days=30),
        next_on=timezone.localdate() - timedelta(days=back),
    )
    page = as_staff.get(reverse("today")).content.decode()
    assert page.count(f'class="name" href="{reverse("person", args=[who.pk])}"') == 1


def test_the_site_is_switched_among_ones_own(as_staff, staff, site, other_site):
    who = due(other_site)
    assert as_staff.get(reverse("today"), {"site": other_site.pk}).status_code == 404
    staff.sites.add(other_site)
    assert who.full_name not in as_staff.get(reverse("today")).content.decode()
    page = as_staff.get(reverse("today"), {"site": other_site.pk}).content.decode()
    assert who.full_name in page
    assert f"?site={site.pk}" in page


def test_a_transfer_to_this_clinic_stands_on_today_until_it_is_answered(as_staff, site, other_site):
    asked = factories.transfer(of=factories.person(at=other_site), to=site)
    page = as_staff.get(reverse("today")).content.decode()
    assert "1 record handed over to this clinic awaits an answer" in page
    assert f"{reverse('transfers')}?site={site.pk}" in page
    asked.state = "declined"
    asked.answered_at, asked.answered_by = timezone.now(), asked.created_by
    asked.save()
    assert "handed over" not in as_staff.get(reverse("today")).content.decode()


def test_managers_have_no_today(as_manager):
    assert as_manager.get(reverse("today")).status_code == 403


def test_the_number_of_queries_does_not_grow(as_staff, site):
    def count():
        with CaptureQueriesContext(connection) as caught:
            assert as_staff.get(reverse("today")).status_code == 200
        return len(caught)

    for _ in range(3):
        factories.red_flag(of=due(site))
    count()
    few = count()
    for _ in range(9):
        factories.red_flag(of=due(site))
    assert count() == few
