"""Every route × role × site, in one sweep: a new view cannot forget its check."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from clinic.access import ABILITIES
from clinic.models import LimbPlan, Look, Photo, PhotoScale, PlanFlag, Referral, Role
from offload.models import ReliefPlan
from tests import factories, factories_care

#: Charts of nothing: they answer 404 until there is something to draw, and have tests of their own.
NEED_DATA = {"lesion_compare_chart", "outcomes_chart"}
OPEN_TO_ALL = {"login", "logout", "account_link", "health", "sign_on", "sign_on_back"}


def routes():
    """Name -> (route, ability) of every view of the clinic."""
    found = {}

    def walk(patterns, prefix=""):
        for pattern in patterns:
            if isinstance(pattern, URLResolver):
                walk(pattern.url_patterns, prefix + str(pattern.pattern))
            elif isinstance(pattern, URLPattern) and pattern.name not in OPEN_TO_ALL:
                found[pattern.name] = (
                    prefix + str(pattern.pattern),
                    getattr(pattern.callback, "ability", None),
                )

    walk(get_resolver().url_patterns)
    return found


ROUTES = routes()
ROLES = list(Role.values)


def records(site):
    """One row of every kind that a route names, all of one site."""
    person = factories.person(at=site)
    limb = factories.limb(of=person)
    factories.weight(of=person)
    lesion = factories.lesion(on=limb)
    visit = factories.visit(of=person)
    factories.measurement(at=visit, of=lesion)
    plan = ReliefPlan.objects.create(
        code=f"T{ReliefPlan.objects.count():05d}",
        side="left",
        spec={},
        result={},
        sha256="0" * 64,
        core_version="test",
        created_at=timezone.now(),
        made_by="test",
    )
    link = LimbPlan.objects.create(limb=limb, plan=plan, created_by=factories.author())
    link.lesions.set([lesion])
    photo = Photo.objects.create(
        lesion=lesion,
        taken_on=timezone.localdate(),
        file="photos/none.jpg",
        sha256="0" * 64,
        width_px=1,
        height_px=1,
        created_by=factories.author(),
    )
    referral = Referral.objects.create(
        person=person,
        to="vascular",
        urgency="planned",
        because="test",
        made_at=timezone.now(),
        created_by=factories.author(),
    )
    prescription = factories.prescription(of=limb, lesions=[lesion])
    look = Look.objects.create(
        lesion=lesion, asked_at=timezone.now(), question="test", created_by=factories.author()
    )
    drawn = factories.peer_case(of=prescription)
    return {
        "report": factories.saved_report(at=site).pk,
        "round": drawn.round_id,
        "case": drawn.pk,
        "look": look.pk,
        "person": person.pk,
        "other": (other := factories.person(at=site)).pk,
        "merge": factories.merge(into=other).pk,
        "transfer": factories.transfer(of=person).pk,
        "limb": limb.pk,
        "lesion": lesion.pk,
        "visit": visit.pk,
        "call": factories.call(of=person).pk,
        "flag": factories.red_flag(of=person).pk,
        "prescription": prescription.pk,
        "card": factories.opening_card(of=prescription, open_by=timezone.localdate() + timedelta(days=7)).pk,
        "photo": photo.pk,
        "scale": PhotoScale.objects.create(
            photo=photo,
            reference="ruler",
            marks_px=[[0, 0], [1, 1]],
            matrix=[[1, 0, 0], [0, 1, 0], [0, 0, 1]],
            error_percent=5,
            created_by=factories.author(),
        ).pk,
        "referral": referral.pk,
        "code": plan.code,
        "kind": "stop",
        "key": f"own-{factories.site_reason(at=site).pk}",
        "site_foam": factories.site_foam(at=site).pk,
        "plan_flag": PlanFlag.objects.create(
            limb_plan=link,
            cause="contact",
            words="test",
            raised_on=timezone.localdate(),
            created_by=factories.author(),
        ).pk,
        "measured_map": factories.measured_map(of=limb).pk,
        "noun": "visit",
        "pk": visit.pk,
        "account": factories.user("staff", at=site).pk,
        "glass": factories.broken_glass(of=person).pk,
        "problem": factories.problem(at=site).pk,
        "paper": "a4",
        "result": factories_care.result(of=person).pk,
        "course": factories_care.antibiotic(of=lesion).pk,
        "judgement": factories_care.bone(of=lesion).pk,
        "non_healing": (review := factories_care.non_healing(of=lesion)).pk,
        "item": review.items.first().pk,
    }


def address(name, row):
    wanted = re.findall(r"<\w+:(\w+)>", ROUTES[name][0])
    return reverse(name, kwargs={key: row[key] for key in wanted})


def names_a_record(name):
    return "<" in ROUTES[name][0]


def signed_in(user):
    client = Client()
    client.force_login(user)
    return client


def test_every_view_names_the_ability_it_asks_for():
    without = [name for name, (_, ability) in ROUTES.items() if ability not in ABILITIES]
    assert len(ROUTES) > 40
    assert not without


def test_nobody_sees_anything_without_signing_in(site):
    row = records(site)
    for name in ROUTES:
        for method in ("get", "post"):
            answer = getattr(Client(), method)(address(name, row))
            assert answer.status_code == 302, name
            assert answer["Location"].startswith(reverse("login")), name


@pytest.mark.parametrize("role", ROLES)
def test_a_page_above_the_role_is_refused(role, site):
    row = records(site)
    client = signed_in(factories.user(role, at=site))
    swept = 0
    for name, (_, ability) in ROUTES.items():
        if role not in ABILITIES[ability]:
            for method in ("get", "post"):
                assert getattr(client, method)(address(name, row)).status_code == 403, (role, name, method)
                swept += 1
    assert swept, f"{role} is refused nowhere: is the table of abilities out of date?"


@pytest.mark.parametrize("role", ROLES)
def test_a_record_of_another_site_is_not_there(role, site, other_site):
    row = records(other_site)
    client = signed_in(factories.user(role, at=site))
    swept = 0
    for name, (_, ability) in ROUTES.items():
        if names_a_record(name) and role in ABILITIES[ability]:
            for method in ("get", "post"):
                assert getattr(client, method)(address(name, row)).status_code == 404, (role, name, method)
                swept += 1
    assert swept


@pytest.mark.parametrize("role", ROLES)
def test_a_user_without_a_site_sees_no_record(role, site):
    row = records(site)
    client = signed_in(factories.user(role))
    for name, (_, ability) in ROUTES.items():
        if names_a_record(name) and role in ABILITIES[ability]:
            assert client.get(address(name, row)).status_code == 404, (role, name)


@pytest.mark.parametrize("role", ROLES)
def test_what_the_role_may_see_opens(role, site):
    row = records(site)
    client = signed_in(factories.user(role, at=site))
    for name, (_, ability) in ROUTES.items():
        # The test's plan holds no computed result and its photo no picture: their pages have tests of their
        # own.
        if role in ABILITIES[ability] and not {"code", "photo", "scale"} & set(
            re.findall(r"<\w+:(\w+)>", ROUTES[name][0])
        ):
            answer = client.get(address(name, row))
            if name in NEED_DATA:
                assert answer.status_code in (200, 404), (role, name)
                continue
            assert answer.status_code in (200, 302, 405), (role, name, answer.status_code)
