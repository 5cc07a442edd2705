"""A refusal names all that is missing at once, each with the link to where it is put right."""

from __future__ import annotations

import re
from datetime import timedelta
from itertools import product

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.lesions.writes import closure
from clinic.models import Weight
from clinic.record.errors import Refused
from tests import factories, factories_care
from tests.clinic.relief.writes.test_relief import draft
from tests.clinic.relief.writes.test_relief import sign as sign_plan

TODAY = timezone.localdate
AGO = lambda days: TODAY() - timedelta(days=days)  # noqa: E731


def parts_of(write):
    """The parts of what a write refuses; none where it goes through."""
    try:
        write()
    except Refused as refused:
        return refused.parts
    return ()


def each_combination(faults, write):
    """Every subset of the faults is made, and the refusal names each of them, and no other, with its way."""
    for chosen in product((False, True), repeat=len(faults)):
        wanted = [words for (words, _), on in zip(faults.items(), chosen, strict=True) if on]
        found = parts_of(lambda c=chosen: write(*c))
        assert len(found) == len(wanted), (wanted, [one.message for one in found])
        for words in wanted:
            one = next(part for part in found if re.search(words, part.message))
            assert (one.way.route if one.way else None) == faults[words]


def test_closing_names_each_finding_that_is_missing(site, staff):
    faults = {
        "lies before the ulcer was first seen": "lesion_edit",
        "No visit of .* found this ulcer covered": "visit_new",
        "found an open area": "visit",
    }

    def close(early, unseen, opened):
        person = factories.person(at=site)
        lesion = factories.lesion(on=factories.limb(of=person), first_seen_on=AGO(5 if early else 90))
        if not unseen:
            factories_care.found_covered(lesion, AGO(20))
        if opened:
            factories.measurement(at=factories.visit(of=person, on=AGO(3)), of=lesion, cm2=1.5)
        version = lesion.version
        closure.lesion_close(by=staff, lesion=lesion, closed_on=AGO(20), expected_version=version)

    each_combination(faults, close)


def test_confirming_names_each_finding_that_is_missing(site, podiatrist):
    faults = {
        "days after it was found covered": None,
        "must lie after the confirmation": None,
        "No visit of .* found this ulcer covered": "visit_new",
        "found an open area": "visit",
    }

    def confirm(early, next_, unseen, opened):
        person = factories.person(at=site)
        lesion = factories.lesion(on=factories.limb(of=person), first_seen_on=AGO(90))
        lesion.state, lesion.closed_on = "to_confirm", AGO(8 if early else 30)
        lesion.save()
        if not unseen:
            factories_care.found_covered(lesion, AGO(5))
        if opened:
            factories.measurement(at=factories.visit(of=person, on=AGO(3)), of=lesion, cm2=1.5)
        closure.lesion_confirm(
            by=podiatrist,
            lesion=lesion,
            confirmed_on=AGO(5),
            footwear="",
            next_on=AGO(5) if next_ else TODAY(),
            expected_version=lesion.version,
        )

    each_combination(faults, confirm)


@pytest.fixture
def limb(person):
    factories.weight(of=person, kg=82)
    return factories.limb(of=person, side="right")


def test_signing_a_plan_names_everything_and_its_page_offers_the_ways(limb, podiatrist, as_podiatrist):
    lesion, other = factories.lesion(on=limb), factories.lesion(on=limb)
    made = draft(podiatrist, limb, lesion)
    flag = factories.red_flag(of=limb.person)
    Weight.objects.update(kg=99)
    limb.foot_length_mm = 271
    limb.save()
    made.lesions.add(other)
    other.state, other.outcome, other.ended_on = "ended", "minor_amputation", TODAY()
    other.save()
    wanted = (
        "red flag",
        "No team has taken",
        "body weight on record is now 99",
        "foot length on record is now 271",
        "no longer open",
        "closed under load",
    )
    made.refresh_from_db()
    found = parts_of(lambda: sign_plan(podiatrist, made, shut_reason=""))
    assert len(found) == len(wanted)
    for words, part in zip(wanted, found, strict=True):
        assert words in part.message
    sent = as_podiatrist.post(
        reverse("plan_sign", args=[made.plan.code]),
        {"version": made.plan.version, "shut_reason": "Measured next."},
    )
    page = sent.content.decode()
    assert sent.status_code == 422
    for words, part in zip(wanted, found, strict=True):
        if part.way is None:
            continue  # words, asked in the form once nothing else stands in the way
        assert words in page
        assert f'href="{reverse(part.way.route, args=[part.way.key])}"' in page
    assert f'href="{reverse("flag_answer", args=[flag.pk])}"' in page


def test_a_draft_says_on_its_page_what_changed_since_it_was_drawn(limb, podiatrist, as_podiatrist, site):
    """Foams, house rules, weight: the draft is marked where it is read, before anybody tries to sign it."""
    made = draft(podiatrist, limb, factories.lesion(on=limb))
    address = reverse("plan", args=[made.plan.code])
    before = as_podiatrist.get(address).content.decode()
    site.weight_threshold_kg = 60
    site.save()
    after = as_podiatrist.get(address).content.decode()
    assert "The weight threshold is now 60 kg" in after
    assert "The weight threshold is now" not in before
    assert (">Sign plan</button>" in before, ">Sign plan</button>" in after) == (True, False)
