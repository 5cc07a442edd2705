"""Fitting, sealing and opening a device."""

from datetime import timedelta
from decimal import Decimal

import pytest

from clinic.devices.writes import prescriptions as writes
from clinic.devices.writes import wear
from clinic.devices.writes.fittings import steps_of
from clinic.models import DecisionLine, Fitting
from clinic.record.errors import Refused
from tests import factories
from tests.clinic.devices.writes.signing import TODAY, fit, sign


@pytest.mark.parametrize(("days", "allowed"), [(1, True), (7, True), (8, False), (0, False)])
def test_the_first_sealing_is_opened_within_the_site_s_days(limb, podiatrist, days, allowed):
    made = sign(podiatrist, limb)
    if allowed:
        assert fit(podiatrist, made, days=days).open_by == TODAY() + timedelta(days=days)
    else:
        with pytest.raises(Refused, match="at the latest"):
            fit(podiatrist, made, days=days)


def test_opening_stops_the_clock_and_sealing_again_allows_the_site_s_longer_interval(limb, podiatrist):
    limb.person.site.sealed_days = 14
    limb.person.site.save()
    made = fit(podiatrist, sign(podiatrist, limb))
    wear.prescription_open(by=podiatrist, prescription=made, opened_on=TODAY(), expected_version=made.version)
    made.refresh_from_db()
    assert made.opened_on == TODAY()
    assert fit(podiatrist, made, days=14).opened_on is None


def test_a_removable_device_is_never_sealed(limb, podiatrist):
    made = sign(podiatrist, limb, device_class="ankle_high_removable", departure_reason="skill")
    with pytest.raises(Refused, match="Only a non-removable device"):
        fit(podiatrist, made)
    assert fit(podiatrist, made, sealed=False).sealed_on is None


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"steps": {}}, "steps not answered"),
        ({"bandage_below_knee_cm": None}, "not stated"),
        ({"bandage_below_knee_cm": Decimal("15.1")}, "0 to 15 cm"),
        ({"watch_points": " "}, "nothing named"),
        ({"review_on": None}, "within 7 days"),
        ({"review_on": TODAY() + timedelta(days=8)}, "lies after the day it must be opened by"),
        ({"steps": {"Polish the shell": "done"}}, "not a step"),
    ],
)
def test_a_device_that_stays_on_is_not_fitted_without_its_whole_list(limb, podiatrist, changed, words):
    made = sign(podiatrist, limb)
    with pytest.raises(Refused, match=words):
        fit(podiatrist, made, **changed)
    made.refresh_from_db()
    assert made.fitted_on is None
    assert not Fitting.objects.exists()


def test_a_step_that_does_not_apply_says_why(limb, podiatrist):
    made = sign(podiatrist, limb)
    steps = dict.fromkeys(steps_of(made), "done") | {steps_of(made)[1]: "not_apply"}
    with pytest.raises(Refused) as refused:
        fit(podiatrist, made, steps=steps)
    assert refused.value.field == "note"
    fit(podiatrist, made, steps=steps, note="no toes on this foot")
    assert "1 did not apply (no toes on this foot)" in DecisionLine.objects.get(kind="sealed").sentence


def test_the_fitting_keeps_the_site_s_own_list_as_it_stood(limb, podiatrist):
    site = limb.person.site
    site.fitting_steps = {"stays_on": ["Leg looked at", "Heel down"]}
    made = sign(podiatrist, limb)
    fit(podiatrist, made)
    site.fitting_steps = {}
    kept = Fitting.objects.get()
    assert [step["step"] for step in kept.steps] == ["Leg looked at", "Heel down"]
    assert kept.created_by == podiatrist


def test_where_the_site_asks_a_second_podiatrist_signs_before_the_fitting(limb, podiatrist, site):
    site.second_signature = True
    site.save()
    limb.person.site = site
    made = sign(podiatrist, limb)
    with pytest.raises(Refused, match="second signature"):
        fit(podiatrist, made)
    with pytest.raises(Refused, match="another podiatrist"):
        writes.prescription_second(by=podiatrist, prescription=made, expected_version=made.version)
    other = factories.user("podiatrist", at=site)
    writes.prescription_second(by=other, prescription=made, expected_version=made.version)
    assert fit(podiatrist, made).fitted_on == TODAY()
    assert [line.kind for line in DecisionLine.objects.order_by("pk")] == ["signed", "second", "sealed"]
    with pytest.raises(Refused, match="already"):
        writes.prescription_second(by=other, prescription=made, expected_version=made.version)
