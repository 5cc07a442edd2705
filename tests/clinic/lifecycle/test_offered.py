"""Pages offer an event exactly where the charts allow it, in every state of every noun with a page."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinic.lifecycle.charts import CHARTS
from clinic.models import Referral
from clinic.templatetags.offers import NOUNS, may_now
from tests import factories
from tests.clinic.relief.writes import test_plan_life, test_relief

TODAY = timezone.localdate

#: Noun and event -> the page that does it; `>words<` is a button on the noun's own page.
OFFERED = {
    ("person", "leave"): "person_state",
    ("person", "hand_over"): "transfer_new",
    ("ulcer", "measure"): "visit_new",
    ("ulcer", "close"): "lesion_close",
    ("ulcer", "confirm"): "lesion_confirm",
    ("ulcer", "reopen"): "lesion_reopen",
    ("ulcer", "end"): "lesion_end",
    ("ulcer", "imprint"): "imprint_new",
    ("ulcer", "plan"): "bench",
    ("ulcer", "ask"): "look_ask",
    ("ulcer", "correct"): "lesion_edit",
    ("ulcer", "in_error"): "lesion_in_error",
    ("device", "confirm"): "second_confirm",
    ("device", "card"): "card_new",
    ("device", "fit"): "prescription_fit",
    ("device", "seal"): "prescription_fit",
    ("device", "open"): "prescription_open",
    ("device", "unopen"): "opening_correct",
    ("device", "unseal"): "sealing_take_back",
    ("device", "stop"): "prescription_stop",
    ("visit", "finish"): "visit_finish",
    ("visit", "correct"): "visit_correct",
    ("visit", "correct_missed"): "visit_correct",
    ("visit", "move"): "visit_move_to",
    ("visit", "take_back"): "visit_in_error",
    ("plan", "sign"): ">Sign plan<",
    ("plan", "cut"): "plan_cut",
    ("plan", "fit"): "plan_fit",
    ("plan", "check"): "plan_contact",
    ("plan", "measure"): "plan_measured",
    ("plan", "set_aside"): "plan_set_aside",
    ("referral", "follow"): ">Save the follow-up<",
    ("transfer", "accept"): ">Accept<",
    ("transfer", "decline"): ">Decline<",
    ("transfer", "withdraw"): ">Withdraw<",
    ("transfer", "send_back"): ">Send it back<",
    ("account", "reset"): ">New password<",
}
#: Events that stand on another page than the noun's own, or follow from another event; and why.
ELSEWHERE = {
    "person": {"care", "correct", "return", "take_over", "restrict", "lift", "erase"},
    "ulcer": {"take_in", "split", "recur", "take_back"},
    "device": {"countersign", "telephone", "leave", "keep"},
    "plan": {"seal", "undo", "replace"},
    "referral": {"cancel"},
    "question": {"again", "answer", "read", "unread"},
    "transfer": {"see"},
    "account": {"set_password", "switch_off", "switch_on"},
    "opening card": {"hand_over", "seal"},
    "imprint": set(CHARTS["imprint"].events),
}


def test_every_event_of_the_charts_has_a_page_that_offers_it_or_a_reason_why_not():
    for noun, chart in CHARTS.items():
        here = {event for of, event in OFFERED if of == noun}
        assert here | ELSEWHERE.get(noun, set()) == set(chart.events), noun
        assert not here & ELSEWHERE.get(noun, set())


def ulcers(site):
    ago = TODAY() - timedelta(days=40)
    for values in (
        {},
        {"state": "to_confirm", "closed_on": ago},
        {"state": "healed", "outcome": "healed", "closed_on": ago, "confirmed_on": ago + timedelta(days=20)},
        {"state": "ended", "outcome": "minor_amputation", "ended_on": ago},
        {"state": "ended", "outcome": "lost", "ended_on": ago},
        {"state": "ended", "outcome": "in_error", "ended_on": ago, "error_because": "Wrong foot."},
    ):
        limb = factories.limb(of=factories.person(at=site))
        yield factories.lesion(on=limb, first_seen_on=ago - timedelta(days=9), **values)


def devices(site):
    day, by = TODAY(), factories.user("podiatrist", at=site)
    fitted = {"fitted_on": day - timedelta(days=6)}
    sealed = {**fitted, "sealed_on": day - timedelta(days=6), "open_by": day + timedelta(days=1)}
    for values in (
        {"second_needed": True},
        {},
        fitted,
        sealed,
        {**sealed, "opened_on": day},
        {**sealed, "opened_on": day, "stopped_on": day, "stop_reason": "changed"},
    ):
        limb = factories.limb(of=factories.person(at=site))
        values = {"device_class": "walker_non_removable", **values}
        yield factories.prescription(of=limb, lesions=[factories.lesion(on=limb)], signed_by=by, **values)


def visits(site):
    for values in (
        {"unfinished": True},
        {},
        {"attendance": "cancelled"},
        {"state": "in_error", "error_reason": "x"},
    ):
        yield factories.visit(of=factories.person(at=site), **values)


def plans(site):
    """One plan, from its draft to the day it is set aside."""
    by, person = factories.user("podiatrist", at=site), factories.person(at=site)
    factories.weight(of=person, kg=82)
    limb = factories.limb(of=person, side="right")
    link = test_relief.draft(by, limb, factories.lesion(on=limb))
    yield link
    test_relief.sign(by, link)
    for step in (
        lambda: None,
        lambda: test_plan_life.cut(by, link),
        lambda: test_plan_life.fit(by, link),
        lambda: test_plan_life.check(by, link, touches=False),
    ):
        step()
        yield link
    link.ended_on, link.ended_because = TODAY(), "Not worn."
    link.save()
    yield link


def transfers(site):
    there, now = factories.site(), timezone.now()
    answered = {"answered_at": now, "answered_by": factories.author()}
    for values in ({}, {"state": "accepted", **answered}, {"state": "declined", **answered}):
        person = factories.person(at=there if values.get("state") == "accepted" else site)
        yield factories.transfer(of=person, from_site=site, to=there, **values)


def referrals(site):
    ago = timezone.now() - timedelta(days=2)
    for values in ({}, {"reached_at": ago}, {"result": "x"}, {"cancelled_because": "x"}):
        yield Referral.objects.create(
            person=factories.person(at=site),
            to="vascular",
            urgency="planned",
            because="x",
            made_at=ago,
            created_by=factories.author(),
            **values,
        )


def people(site):
    for state in ("in_care", "moved", "died", "lost"):
        gone = {} if state == "in_care" else {"state": state, "state_on": TODAY()}
        yield factories.person(at=site, **gone)


def accounts(site):
    for active in (True, False):
        yield factories.user("staff", at=site, is_active=active)


PAGES = {
    "person": (people, "person", lambda row: row.pk),
    "ulcer": (ulcers, "lesion", lambda row: row.pk),
    "device": (devices, "prescription", lambda row: row.pk),
    "visit": (visits, "visit", lambda row: row.pk),
    "referral": (referrals, "referral", lambda row: row.pk),
    "account": (accounts, "account", lambda row: row.pk),
    "plan": (plans, "plan", lambda row: row.plan.code),
    "transfer": (transfers, "transfer", lambda row: row.pk),
}


def argument_of(row, route):
    if route.startswith("plan_"):
        return row.plan.code
    if route in ("visit_new", "person_state", "transfer_new"):
        return row.pk if hasattr(row, "given_name") else row.limb.person_id
    return row.limb_id if route == "bench" else row.pk


@pytest.mark.parametrize("noun", PAGES)
def test_a_page_offers_an_event_exactly_where_the_charts_allow_it(noun, site):
    make, page, key = PAGES[noun]
    clients = [Client() for _ in range(2)]
    users = [factories.user(role, at=site) for role in ("podiatrist", "manager")]
    for client, user in zip(clients, users, strict=True):
        client.force_login(user)
    seen = set()
    for row in make(site):
        if noun == "transfer":
            for user in users:
                user.sites.add(row.to_site)
        said = "".join(client.get(reverse(page, args=[key(row)])).content.decode() for client in clients)
        row = type(row).objects.get(pk=row.pk)
        state = NOUNS[type(row)][1](row)
        links = {}
        for (of, event), how in OFFERED.items():
            if of == noun:
                links.setdefault(how, set()).add(event)
        for how, events in links.items():
            mark = how if how.startswith(">") else f'href="{reverse(how, args=[argument_of(row, how)])}"'
            wanted = any(may_now(row, event) for event in events)
            assert (mark in said) == wanted, (noun, state, how)
        seen.add(state)
    assert len(seen) >= 2
