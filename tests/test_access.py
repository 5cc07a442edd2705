"""Every route × role × site, in one sweep: a new view cannot forget its check."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import timedelta

import pytest
from django.conf import settings
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone
from django_otp.plugins.otp_totp.models import TOTPDevice

from clinic.access import ABILITIES
from clinic.accounts.writes.accounts import link_make
from clinic.models import (
    AccountLink,
    LimbPlan,
    LinkPurpose,
    Look,
    Person,
    PersonKey,
    Photo,
    PhotoScale,
    PlanFlag,
    Referral,
    Role,
    ViewEvent,
)
from offload.models import PlanStep, ReliefPlan
from tests import factories, factories_care, factories_insole

#: Charts of nothing: they answer 404 until there is something to draw, and have tests of their own.
NEED_DATA = {"lesion_compare_chart", "outcomes_chart"}
OPEN_TO_ALL = {"login", "logout", "account_link", "health", "sign_on", "sign_on_back", "draft_key"}


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
REFUSED = "who may is decided by the program; `swept` asks each address of a second one"


def records(site):
    """One row of every kind that a route names, all of one site."""
    person = factories.person(at=site)
    limb = factories.limb(of=person)
    weight = factories.weight(of=person)
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
        "weight": weight.pk,
        "step": PlanStep.objects.create(
            plan=plan,
            kind="fitted",
            done_on=timezone.localdate(),
            recorded_at=timezone.now(),
            done_by="test",
            passed=True,
        ).pk,
        "call": factories.call(of=person).pk,
        "contact": factories_care.contact(of=person).pk,
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
        "insole_outline": factories_insole.insole_outline(of=limb).pk,
        "measured_map": factories.measured_map(of=limb).pk,
        "noun": "visit",
        "pk": visit.pk,
        "account": factories.user("staff", at=site).pk,
        "glass": factories.broken_glass(of=person).pk,
        "problem": factories.problem(at=site).pk,
        "paper": "a4",
        "result": factories_care.result(of=person).pk,
        "owner": factories.danger_owner(of=limb).pk,
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


@pytest.mark.any_database(REFUSED)
def test_nobody_sees_anything_without_signing_in(site):
    row = records(site)
    client = Client()
    for name in ROUTES:
        for method in ("get", "post"):
            client.cookies.clear()
            answer = getattr(client, method)(address(name, row))
            assert answer.status_code == 302, name
            assert answer["Location"].startswith(reverse("login")), name


@pytest.mark.any_database(REFUSED)
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


@pytest.mark.any_database(REFUSED)
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


@pytest.mark.any_database(REFUSED)
@pytest.mark.parametrize("role", ROLES)
def test_a_user_without_a_site_sees_no_record(role, site):
    row = records(site)
    client = signed_in(factories.user(role))
    for name, (_, ability) in ROUTES.items():
        if names_a_record(name) and role in ABILITIES[ability]:
            assert client.get(address(name, row)).status_code == 404, (role, name)


#: The test's plan holds no computed result and its photo no picture: their pages have tests of their own.
WITHOUT_CONTENT = {"code", "photo", "scale"}
NAME, NUMBER = "Zweisteinfels", "ZW-44871"
PASSWORD = "correct horse battery"


@dataclass(frozen=True)
class Answer:
    """What one address answered, and which people the log of reads then held."""

    name: str
    method: str
    status: int
    streamed: bool
    body: str
    logged: frozenset[int]

    @property
    def of_content(self):
        return not WITHOUT_CONTENT & set(re.findall(r"<\w+:(\w+)>", ROUTES[self.name][0]))


def logged_people():
    found = set()
    for seen in ViewEvent.objects.all():
        found |= {seen.person_id, *(int(n) for n in seen.listed.split(",") if n)}
    return frozenset(found - {None})


@dataclass(frozen=True)
class Swept:
    """Every address of a clinic, asked once by each method by somebody of one role."""

    role: str
    person: int
    secrets: frozenset[str]
    answers: tuple[Answer, ...]


@pytest.fixture(scope="module", params=ROLES)
def swept(request, one_world):
    site = factories.site()
    user = factories.user(request.param, at=site, password=PASSWORD)
    client = Client()
    client.post(reverse("login"), {"username": user.username, "password": PASSWORD})
    row = records(site)
    # A person by a name and a number that stand nowhere else.
    Person.objects.filter(pk=row["person"]).update(family_name=NAME, record_number=f"{NUMBER}-{site.pk}")
    device = TOTPDevice.objects.create(user=user, confirmed=True)
    token = link_make(user, user, LinkPurpose.RESET)
    secrets = {
        user.password,
        device.key,
        client.session.session_key,
        AccountLink.objects.latest("pk").token_sha256,
        token,
        settings.SECRET_KEY,
        *PersonKey.objects.values_list("key", flat=True),
    }
    answers = []
    client.raise_request_exception = False  # an invented plan has no drawing
    for method in ("get", "post"):
        for name in sorted(ROUTES):
            if method == "post" and name == "switch_user":
                continue
            ViewEvent.objects.all().delete()
            answer = getattr(client, method)(address(name, {"token": "x", **row}))
            body = b"".join(answer.streaming_content) if answer.streaming else answer.content
            answers.append(
                Answer(
                    name,
                    method,
                    answer.status_code,
                    answer.streaming,
                    body.decode(errors="replace"),
                    logged_people(),
                )
            )
    return Swept(request.param, row["person"], frozenset(filter(None, secrets)), tuple(answers))


def test_what_the_role_may_see_opens(swept):
    for answer in swept.answers:
        if answer.method == "get" and swept.role in ABILITIES[ROUTES[answer.name][1]] and answer.of_content:
            allowed = (200, 404) if answer.name in NEED_DATA else (200, 302, 405)
            assert answer.status in allowed, (swept.role, answer.name, answer.status)


def test_every_page_of_a_role_lets_one_sign_out_and_shows_no_secret_of_the_database(swept):
    """All pages that open: hashes of passwords, keys of people and authenticators, hashes of links."""
    opened = 0
    for answer in swept.answers:
        if answer.status != 200 or answer.streamed or answer.method != "get" or not answer.of_content:
            continue
        assert [one for one in swept.secrets if one in answer.body] == [], answer.name
        if "<!doctype html" in answer.body.lower() and 'class="me"' in answer.body:
            assert f'action="{reverse("logout")}"' in answer.body, answer.name
            opened += 1
    assert opened > 20


def test_every_answer_that_shows_a_person_leaves_a_row_whatever_the_method(swept):
    shows = [
        answer
        for answer in swept.answers
        if (answer.status < 300 or answer.status in (409, 422))
        and (NAME in answer.body or NUMBER in answer.body)
    ]
    assert len(shows) > 10
    assert {answer.method for answer in shows} == {"get", "post"}
    unread = {(answer.name, answer.method) for answer in shows if swept.person not in answer.logged}
    assert not unread, sorted({name for name, _ in unread})
