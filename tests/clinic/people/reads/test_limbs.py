"""The newest answer to each question about a foot, and what is too old."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.models import Event
from clinic.people.reads.limbs import latest_findings, running_devices
from tests import factories


def days_ago(n):
    return timezone.localdate() - timedelta(days=n)


@pytest.fixture
def limb(person):
    return factories.limb(of=person)


def latest(limb):
    return {value.name: value for value in latest_findings([limb], limb.person.site)[limb.pk]}


def test_each_finding_keeps_its_own_newest_day(limb):
    factories.finding(of=limb, found_on=days_ago(50), charcot="suspected", oedema="steady")
    factories.finding(of=limb, found_on=days_ago(5), charcot="none")
    found = latest(limb)
    assert (found["charcot"].words, found["charcot"].found_on) == ("None", days_ago(5))
    assert (found["oedema"].words, found["oedema"].found_on) == ("Steady", days_ago(50))
    assert "dorsalis_pedis" not in found


def test_a_no_is_a_finding(limb):
    factories.finding(of=limb, rigid_deformity=False)
    assert latest(limb)["rigid_deformity"].words == "No"


@pytest.mark.parametrize(("days", "old"), [(90, False), (91, True)])
def test_blood_supply_ages_by_the_house_rule(limb, days, old):
    factories.finding(of=limb, found_on=days_ago(days), toe_pressure_mmhg=55, deformity="large")
    assert latest(limb)["toe_pressure_mmhg"].stale is old
    assert latest(limb)["deformity"].stale is False


def test_an_operation_makes_the_blood_supply_old_at_once_on_its_own_limb_only(person, limb):
    other = factories.limb(of=person, side="right")
    for one in (limb, other):
        factories.finding(of=one, found_on=days_ago(10), ankle_index="0.72")
    Event.objects.create(
        limb=limb, kind="revascularisation", happened_on=days_ago(4), created_by=factories.author()
    )
    assert latest(limb)["ankle_index"].stale
    assert not latest(other)["ankle_index"].stale


def test_a_skin_finding_counts_on_its_own_day_only(limb):
    factories.finding(of=limb, found_on=days_ago(1), fragile_skin=True)
    assert latest(limb)["fragile_skin"].stale
    factories.finding(of=limb, fragile_skin=True)
    assert not latest(limb)["fragile_skin"].stale


def test_the_queries_do_not_grow_with_the_findings(person, limb, django_assert_num_queries):
    limbs = [limb, factories.limb(of=person, side="right")]
    for count in (3, 12):
        for n in range(count):
            factories.finding(of=limb, found_on=days_ago(n), charcot="none")
        with django_assert_num_queries(2):
            latest_findings(limbs, person.site)


def test_a_stopped_device_does_not_run(limb):
    stopped = factories.prescription(of=limb, stopped_on=days_ago(1), stop_reason="broken")
    running = factories.prescription(of=limb)
    assert running_devices([limb]) == {limb.pk: running}
    assert stopped.pk != running.pk
