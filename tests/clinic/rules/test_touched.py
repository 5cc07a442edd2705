"""Before a rule is changed the page says whom it touches; afterwards the message says so again."""

import pytest
from django.urls import reverse

from clinic.rules.reads.touched import touched_by_foam, touched_now
from tests import factories
from tests.clinic.case.writes.test_settling import a_plan, sealed_device


@pytest.fixture
def touched(person):
    limb = factories.limb(of=person)
    lesion = factories.lesion(on=limb)
    draft, signed = a_plan(limb, lesion, "draft"), a_plan(limb, lesion)
    draft.plan.spec = {"stack": [{"foam": "soft"}]}
    draft.plan.save()
    return draft, signed, sealed_device(limb, lesion)


def test_drafts_signed_plans_and_running_clocks_are_named(touched, site, as_manager, other_site):
    draft, signed, device = touched
    found = touched_now(site)
    assert (found.drafts, found.signed, found.sealed) == ([draft.plan.code], [signed.plan.code], [device.pk])
    assert not touched_now(other_site)
    shown = as_manager.get(reverse("house_rules")).content.decode()
    for link in (reverse("plan", args=[draft.plan.code]), reverse("prescription", args=[device.pk])):
        assert link in shown


def test_a_foam_touches_the_plans_that_name_it(touched, site):
    draft = touched[0]
    assert touched_by_foam(site, "soft").drafts == [draft.plan.code]
    assert not touched_by_foam(site, "firm")


@pytest.mark.parametrize("ended", ["set aside", "left"])
def test_what_is_over_is_not_touched(touched, site, person, ended):
    if ended == "left":
        type(person).objects.filter(pk=person.pk).update(state="moved", state_on=touched[2].sealed_on)
        assert not touched_now(site)
        return
    type(touched[0]).objects.update(ended_on=touched[2].sealed_on, ended_because="wrong foot")
    assert not touched_now(site).drafts
