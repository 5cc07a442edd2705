"""Outcomes count each lesion once, under its first fitted device, from that fitting to its ending."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.audit.reads.outcomes import OutcomesFilter, outcomes_of
from tests import factories

AGO = lambda days: timezone.localdate() - timedelta(days=days)  # noqa: E731


def lesion(site, *, first=120, fitted=113, device="total_contact_cast", stopped=None, **fields):
    found = factories.lesion(
        on=factories.limb(of=factories.person(at=site)), first_seen_on=AGO(first), **fields
    )
    factories.visit(of=found.limb.person, on=AGO(first))
    if fitted is not None:
        more = {} if stopped is None else {"stopped_on": AGO(stopped), "stop_reason": "changed"}
        factories.prescription(
            of=found.limb,
            lesions=[found],
            device_class=device,
            prescribed_on=AGO(fitted),
            fitted_on=AGO(fitted),
            **more,
        )
    return found


def healed(days):
    return {"state": "healed", "outcome": "healed", "closed_on": AGO(days), "confirmed_on": AGO(days - 14)}


def asked(site, by="device", since=400):
    return outcomes_of(OutcomesFilter((site,), AGO(since), AGO(0), by), timezone.localdate())


def test_time_runs_from_the_first_fitting_to_the_day_found_closed(site):
    lesion(site, **healed(43))
    (line,) = asked(site).lines
    assert line.name == "Total contact cast"
    assert line.cases[0].weeks == pytest.approx(10.0)
    assert line.counts == (1, 0, 0, 0)


def test_a_lesion_stays_under_its_first_device_and_one_prescribed_but_not_fitted_does_not_count(site):
    found = lesion(site, stopped=60, **healed(20))
    factories.prescription(
        of=found.limb,
        lesions=[found],
        device_class="ankle_high_removable",
        prescribed_on=AGO(60),
        fitted_on=AGO(60),
        stopped_on=AGO(50),
        stop_reason="changed",
    )
    never = lesion(site, fitted=None)
    factories.prescription(of=never.limb, lesions=[never], prescribed_on=AGO(100))
    assert [(line.name, line.n) for line in asked(site).lines] == [
        ("Total contact cast", 1),
        ("never fitted", 1),
    ]


def test_amputation_and_death_compete_and_lost_is_censored_when_last_seen(site):
    lesion(site, state="ended", outcome="minor_amputation", ended_on=AGO(50))
    lesion(site, state="ended", outcome="died", ended_on=AGO(40))
    lost = lesion(site, state="ended", outcome="lost", ended_on=AGO(10))
    factories.visit(of=lost.limb.person, on=AGO(92))
    (line,) = asked(site).lines
    assert line.counts == (0, 1, 1, 1)
    assert {c.lesion.pk: c.weeks for c in line.cases}[lost.pk] == pytest.approx(3.0)


def test_a_person_who_died_with_the_lesion_open_counts_as_died(site):
    person = lesion(site).limb.person
    person.state, person.state_on = "died", AGO(30)
    person.save()
    (line,) = asked(site).lines
    assert line.counts == (0, 0, 1, 0)


def test_a_lesion_that_ended_before_its_first_fitting_is_left_out_and_named(site):
    found = lesion(site, fitted=30, **healed(43))
    assert [x.pk for x in asked(site).left_out] == [found.pk]
    assert asked(site).lines == ()


def test_closed_but_not_confirmed_is_not_healed_yet(site):
    lesion(site, state="to_confirm", closed_on=AGO(3))
    (line,) = asked(site).lines
    assert line.counts == (0, 0, 0, 1)


def test_few_lesions_make_no_percentage_and_are_not_drawn(site):
    for _ in range(4):
        lesion(site, **healed(43))
    found = asked(site)
    assert found.lines[0].small
    assert found.drawn == ()
    lesion(site, **healed(43))
    assert [line.chart_name for line in asked(site).drawn] == ["Cast"]


def test_the_largest_group_comes_first_and_the_never_fitted_last(site):
    for _ in range(2):
        lesion(site, device="ankle_high_removable")
    lesion(site)
    for _ in range(3):
        lesion(site, fitted=None)
    assert [line.n for line in asked(site).lines] == [2, 1, 3]


def test_lesions_can_be_counted_by_place_and_by_depth_when_first_seen(site):
    found = lesion(site, place="heel_central")
    for days, depth in ((110, "bone"), (120, "skin")):
        visit = factories.visit(of=found.limb.person, on=AGO(days), attendance="elsewhere")
        factories.measurement(at=visit, of=found, depth=depth)
    assert asked(site, "place").lines[0].name == "Rearfoot"
    assert asked(site, "depth").lines[0].name == "Skin only"


def test_only_this_site_and_this_period_count(site, other_site):
    lesion(other_site)
    lesion(site, first=500, fitted=490)
    assert asked(site).total == 0


def test_half_healed_is_not_estimable_where_it_never_came_to_that(site):
    lesion(site, **healed(43))
    for _ in range(2):
        factories.visit(of=lesion(site).limb.person, on=AGO(10))
    assert asked(site).lines[0].median_weeks is None


@pytest.mark.parametrize("by", ["depth", "severity_site"])
def test_the_number_of_queries_does_not_grow(site, by):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            for line in asked(site, by).lines:
                assert all(case.lesion.limb.person.record_number for case in line.cases)
        return len(caught)

    for _ in range(2):
        lesion(site, **healed(43))
    few = queries()
    for _ in range(5):
        lesion(site)
    assert queries() == few <= 10


def graded(site, *, place="plantar_hallux", cm2=0.5, pulses="present", felt=10, depth="skin", **fields):
    found = lesion(site, place=place, **fields)
    limb = found.limb
    factories.finding(
        of=limb,
        found_on=found.first_seen_on,
        dorsalis_pedis=pulses,
        posterior_tibial=pulses,
        monofilament_tested=10,
        monofilament_felt=felt,
    )
    visit = limb.person.visits.get(visited_on=found.first_seen_on)
    factories.measurement(at=visit, of=found, cm2=cm2, depth=depth, infection_looked=True, infection_grade=1)
    return found


def test_by_default_lesions_stand_under_their_severity_when_first_seen(site):
    graded(site)  # 0 of 6
    graded(site, place="heel_central", felt=4, cm2=1.0)  # site, sensation, area: 3
    graded(site, felt=4, cm2=1.0)  # 2
    lesion(site)  # nothing looked at
    found = outcomes_of(OutcomesFilter((site,), AGO(400), AGO(0)), timezone.localdate())
    assert [(line.name, line.n) for line in found.lines] == [
        ("SINBAD under 3", 2),
        ("SINBAD 3 or more", 1),
        ("SINBAD not known", 1),
    ]


def test_what_was_found_later_does_not_change_the_severity_when_first_seen(site):
    found = graded(site)
    later = factories.visit(of=found.limb.person, on=AGO(90))
    factories.measurement(at=later, of=found, cm2=9.0, depth="bone", infection_looked=True, infection_grade=4)
    factories.finding(
        of=found.limb,
        found_on=AGO(90),
        dorsalis_pedis="absent",
        posterior_tibial="absent",
        monofilament_tested=10,
        monofilament_felt=0,
    )
    (line,) = asked(site, "severity").lines
    assert line.name == "SINBAD under 3"


def test_missing_findings_that_cannot_change_the_side_do_not_hide_it(site):
    """Four parts of six say 3 already; the two that are missing cannot lower it."""
    found = lesion(site, place="heel_central")
    factories.finding(of=found.limb, found_on=AGO(118), monofilament_tested=10, monofilament_felt=2)
    visit = found.limb.person.visits.get(visited_on=found.first_seen_on)
    factories.measurement(at=visit, of=found, cm2=2.0, depth="")
    (line,) = asked(site, "severity").lines
    assert line.name == "SINBAD 3 or more"


def test_clinics_stand_by_name_and_severities_from_mild_to_severe(site, other_site):
    for _ in range(2):
        graded(other_site, place="heel_central", felt=4, cm2=1.0)
    graded(other_site)
    graded(site)
    both = (site, other_site)
    by_site, by_both = (
        [line.name for line in outcomes_of(OutcomesFilter(both, AGO(400), AGO(0), by), AGO(0)).lines]
        for by in ("site", "severity_site")
    )
    first, second = sorted(both, key=lambda one: one.name)
    assert by_site == [first.name, second.name]
    assert by_both == sorted(by_both, key=lambda name: (name.split(": ")[0], "under" not in name))
    assert f"{other_site.name}: SINBAD 3 or more" in by_both


def test_an_interval_is_by_people(site):
    """Six people of whom each has two lesions that fare alike: as wide as if each had one."""
    for k in range(6):
        one = lesion(site, **(healed(43) if k % 2 else {}))
        factories.visit(of=one.limb.person, on=AGO(1))
        twin = factories.lesion(
            on=one.limb, first_seen_on=one.first_seen_on, label="B", **(healed(43) if k % 2 else {})
        )
        factories.prescription(
            of=factories.limb(of=one.limb.person, side="right"),
            lesions=[twin],
            device_class="total_contact_cast",
            prescribed_on=AGO(113),
            fitted_on=AGO(113),
        )
    (line,) = asked(site).lines
    week, share, ends = line.healed_at[0]
    assert (week, line.n, share) == (12, 12, pytest.approx(50.0))
    # Of six people drawn, three healed on average: percentiles of the binomial (0.5, 6) in sixths.
    assert ends == (pytest.approx(100 / 6, abs=0.1), pytest.approx(500 / 6, abs=0.1))


def test_more_than_a_page_can_count_are_not_counted(site, monkeypatch):
    monkeypatch.setattr("clinic.audit.reads.outcomes.MOST", 2)
    for _ in range(3):
        lesion(site)
    found = asked(site)
    assert found.too_many
    assert found.lines == ()


def test_a_share_ends_where_fewer_than_five_are_observed_and_goes_on_where_all_are_known(site):
    for days in (30, 32, 34, 36, 38):
        lesion(site, **healed(113 - days))
    (line,) = asked(site).lines
    assert [share for _, share, _ in line.healed_at] == [100.0, 100.0], "all healed: nobody is out of sight"
    assert line.open_weeks[0] == pytest.approx(34 / 7)
    lost = lesion(site, state="ended", outcome="lost", ended_on=AGO(60))
    factories.visit(of=lost.limb.person, on=AGO(110))
    (line,) = asked(site).lines
    assert [share for _, share, _ in line.healed_at] == [None, None]
    assert line.open_weeks is None
    assert line.outcome.until == 30.0


def test_devices_are_compared_within_severity(site):
    """Within each severity both devices heal alike; over all, the one given to milder wounds looks better."""
    for device, counts in (("total_contact_cast", (6, 2)), ("ankle_high_removable", (2, 6))):
        for severe, count in zip((False, True), counts, strict=True):
            for number in range(count):
                graded(
                    site,
                    device=device,
                    **({"place": "heel_central", "felt": 4, "cm2": 2.0} if severe else {}),
                    **healed((10 if severe else 90) - 5 * (number % 2)),
                )
    by_device, by_severity = asked(site, "device").cohort.test, asked(site, "severity").cohort.test
    assert by_device.strata == 2
    assert by_device.chi2 == pytest.approx(0.0, abs=1e-9)
    assert not hasattr(by_severity, "strata")
    assert by_severity.p < 0.01


def began(site, *, ago, seen, **fields):
    found = factories.lesion(
        on=factories.limb(of=factories.person(at=site)), onset_on=AGO(ago), first_seen_on=AGO(seen), **fields
    )
    factories.visit(of=found.limb.person, on=AGO(1))
    return found


def test_old_ulcers_that_come_late_count_from_the_day_they_came(site):
    for _ in range(6):
        began(site, ago=120, seen=119, **healed(50))  # healed on day 70
        began(site, ago=120, seen=119)
    plain = asked(site).began
    assert plain.healed_at[0] == (12, pytest.approx(50.0))
    for _ in range(20):
        began(site, ago=200, seen=100)  # came on day 100, open
    found = asked(site).began
    assert found.late == 20
    assert found.healed_at[0] == (12, pytest.approx(50.0)), "who came on day 100 says nothing of week 12"


def test_before_five_are_seen_together_nothing_is_told_since_the_ulcer_began(site):
    for _ in range(4):
        began(site, ago=120, seen=119)
    assert asked(site).began is None
    began(site, ago=120, seen=20)
    found = asked(site).began
    assert found.start == pytest.approx(100 / 7)
    assert found.healed_at[0] == (12, None)
