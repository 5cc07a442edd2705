"""The audit's figures against a plain second count of the same rows."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.audit.reads.cases import AuditFilter
from clinic.audit.reads.figures import spec_of
from clinic.audit.reads.lists import all_rows
from clinic.audit.reads.page import audit_report
from clinic.models import Lesion, Prescription, Visit
from tests import factories
from tests.clinic.audit.scene import ago, case, end, overridden, year


def report(site, **asked):
    today = timezone.localdate()
    return audit_report(AuditFilter(**{"sites": (site,), "since": ago(365), "until": today, **asked}), today)


def counts(site, **asked):
    return {key: figure.count for key, figure in report(site, **asked).figures.items()}


def test_agreement_is_counted_on_judged_prescriptions_only(site):
    year(site)
    found = report(site)
    assert (found.agreed.count, found.departed.count, found.unjudged.count) == (8, 4, 2)
    assert found.agreed.share == "8 of 12 (67\u00a0%)"
    assert (found.agreement.count, found.agreement.of) == (8, 12)
    # Worked by hand from Wilson's formula: 8 of 12 at 95 %.
    assert found.agreement_percent == {"share": 67, "low": 39, "high": 86, "width": 47}


def test_every_figure_equals_a_plain_count_of_the_same_rows(site):
    year(site)
    year(factories.site())
    mine = Prescription.objects.filter(limb__person__site=site)
    lesions = Lesion.objects.filter(limb__person__site=site)
    got = counts(site)
    assert got["all"] == mine.count()
    for reason in ("person_declines", "not_available", "skill"):
        assert got[f"reason.{reason}"] == mine.filter(departure_reason=reason, agrees=False).count()
    assert got["reason_unjudged.fact_missing"] == mine.filter(departure_reason="fact_missing").count()
    assert got["lesions"] == lesions.count()
    assert got["outcome.every.healed"] == lesions.filter(state="healed").count() == 1
    assert got["outcome.every.to_confirm"] == lesions.filter(state="to_confirm").count() == 1
    assert got["outcome.every.amputation"] == 1
    assert got["outcome.every.lost"] == 1
    assert got["outcome.every.died"] == 1  # still open when the person died
    assert got["outcome.every.open"] == lesions.filter(state="open").count() - 1
    late = in_time = 0
    for p in mine.exclude(fitted_on=None):
        days = Visit.objects.filter(person=p.limb.person_id).values_list("visited_on", flat=True)
        seen = any(1 <= (day - p.fitted_on).days <= 7 for day in days)
        in_time, late = in_time + seen, late + (not seen)
    assert (got["review.in_time"], got["review.late"], got["review.not_fitted"]) == (in_time, late, 1)
    assert in_time == 3


def test_parts_of_one_whole_add_up(site):
    year(site)
    got = counts(site)
    assert got["agreed"] + got["departed"] + got["unjudged"] == got["all"]
    parts = {
        "part": "all",
        "four_week": "lesions",
        "review": "all",
        "lesion12": "arrived",
        "episode12": "episodes",
        "after": "healed",
        "assessed": "episodes",
    }
    for family, whole in parts.items():
        assert sum(n for key, n in got.items() if key.startswith(f"{family}.")) == got[whole], family
    outcomes = [n for key, n in got.items() if key.startswith("outcome.every.") and not key.endswith(".all")]
    assert sum(outcomes) == got["lesions"]
    by_class = [
        n
        for key, n in got.items()
        if key.startswith("outcome.") and key.endswith(".all") and "every" not in key
    ]
    assert sum(by_class) == got["lesions"]


def test_a_lesion_counts_by_its_first_fitted_device(site):
    lesion, first = case(site, device_class="total_contact_cast", days_ago=80)
    first.stopped_on, first.stop_reason = ago(40), "changed"
    first.save()
    factories.prescription(
        of=lesion.limb,
        lesions=[lesion],
        device_class="ankle_high_removable",
        prescribed_on=ago(40),
        fitted_on=ago(40),
    )
    got = counts(site)
    assert got["all"] == 2
    assert got["lesions"] == got["outcome.total_contact_cast.open"] == 1
    # Filtered to the later class, and with the first before the period, it still stands with its first
    # device.
    assert counts(site, device_class="ankle_high_removable")["outcome.total_contact_cast.open"] == 1
    assert counts(site, since=ago(50))["outcome.total_contact_cast.open"] == 1


def test_a_device_never_fitted_is_a_line_of_its_own(site):
    case(site, fitted_after=None)
    got = counts(site)
    assert got["outcome.none.open"] == got["to_device.waiting"] == 1


@pytest.mark.parametrize(
    ("days", "by"), [(0, "2 7 14"), (2, "2 7 14"), (3, "7 14"), (7, "7 14"), (8, "14"), (14, "14"), (15, "")]
)
def test_the_share_fitted_by_a_day_is_cumulative(site, days, by):
    case(site, seen_before=0, fitted_after=days)
    got = counts(site)
    assert [d for d in (2, 7, 14) if got[f"to_device.by_{d}"]] == [int(d) for d in by.split()]


def test_an_ulcer_without_a_prescription_waits_in_the_whole_of_each_day_it_was_known_for(site):
    for known in (1, 5, 10, 30):
        factories.lesion(on=factories.limb(of=factories.person(at=site)), first_seen_on=ago(known))
    found = report(site)
    assert found.waiting.count == 4
    assert [figure.of for figure in found.to_device] == [3, 2, 1]


def test_the_median_counts_those_who_wait_as_longer_than_any(site):
    for days in (1, 2, 9):
        case(site, seen_before=0, fitted_after=days)
    assert report(site).median_words == "too few for a median (n < 5)"
    for _ in range(2):
        case(site, fitted_after=None)
    assert report(site).median_words == "9 days"
    for _ in range(2):
        case(site, fitted_after=None)
    assert report(site).median_words == "half or more still wait"


@pytest.mark.parametrize(("day", "recorded"), [(20, False), (21, True), (28, True), (35, True), (36, False)])
def test_the_area_at_four_weeks_is_looked_for_on_days_21_to_35(site, day, recorded):
    lesion, _ = case(site)
    at = factories.visit(of=lesion.limb.person, on=lesion.first_seen_on + timedelta(days=day))
    factories.measurement(at=at, of=lesion)
    assert counts(site)["four_week.recorded"] == int(recorded)
    at.state, at.error_reason = "in_error", "wrong patient"
    at.save()
    assert counts(site)["four_week.recorded"] == 0


def test_a_lesion_closed_before_day_35_owes_no_area(site):
    lesion, _ = case(site)
    end(lesion, state="to_confirm", closed_on=lesion.first_seen_on + timedelta(days=30))
    assert counts(site)["four_week.not_due"] == 1


@pytest.mark.parametrize(
    ("state", "attendance", "in_time"),
    [
        ("stands", "came", 1),
        ("in_error", "came", 0),
        ("stands", "did_not_come", 0),
    ],
)
def test_only_a_visit_that_was_made_and_stands_is_a_review(site, state, attendance, in_time):
    lesion, p = case(site)
    factories.visit(
        of=lesion.limb.person,
        on=p.fitted_on + timedelta(days=4),
        state=state,
        attendance=attendance,
        error_reason="wrong patient" if state == "in_error" else "",
    )
    assert counts(site)["review.in_time"] == in_time


@pytest.mark.parametrize(("days", "in_time"), [(0, 0), (1, 1), (7, 1), (8, 0)])
def test_the_week_after_fitting_starts_the_day_after(site, days, in_time):
    lesion, p = case(site)
    factories.visit(of=lesion.limb.person, on=p.fitted_on + timedelta(days=days))
    got = counts(site)
    assert (got["review.in_time"], got["review.late"]) == (in_time, 1 - in_time)


def test_a_device_fitted_this_week_owes_no_review_yet(site):
    case(site, days_ago=7, fitted_after=0)
    assert counts(site)["review.not_due"] == 1


def test_under_five_cases_there_is_no_percentage(site):
    for agrees in (True, True, True, False):
        case(site, agrees=agrees, departure="" if agrees else "skill")
    small = report(site)
    assert small.agreed.share == "3 of 4, too few for a percentage (n < 5)"
    assert small.agreement_percent is None
    case(site)
    assert report(site).agreement_percent["share"] == 80


def test_filters_choose_the_prescriptions(site, podiatrist):
    case(site, days_ago=100, signed_by=podiatrist)
    case(site, days_ago=10, fitted_after=1, device_class="toe_spacer")
    assert counts(site, since=ago(50))["all"] == 1
    assert counts(site, until=ago(50))["all"] == 1
    assert counts(site, since=ago(100), until=ago(100))["all"] == 1
    assert counts(site, device_class="toe_spacer")["all"] == 1
    assert counts(site, prescriber=podiatrist.pk)["all"] == 1


def test_missing_facts_are_told_for_what_cannot_be_judged(site):
    year(site)
    missing = {figure.words: figure.share for figure in report(site).missing}
    assert missing == {
        "Infection grade (IWGDF/IDSA)": "2 of 2, too few for a percentage (n < 5)",
        "High risk of falling": "1 of 2, too few for a percentage (n < 5)",
    }


def test_the_cases_of_a_figure_are_read_with_as_many_queries_whatever_their_number(site):
    def queries(key):
        today = timezone.localdate()
        with CaptureQueriesContext(
            connection,
        ) as caught:
            for one in all_rows(spec_of(key), AuditFilter((site,), ago(365), today), today):
                assert str(one.prescription.signed_by)
                assert one.person.record_number
                assert one.lesion is None or one.lesion.where
        return len(caught)

    for _ in range(3):
        case(site)
    few = [queries(key) for key in ("all", "lesions", "arrived")]
    for _ in range(9):
        case(site)
    assert [queries(key) for key in ("all", "lesions", "arrived")] == few
    assert max(few) <= 3  # one of them asks whether anybody was handed over


def test_the_number_of_queries_does_not_grow_with_the_cases(site):
    def queries():
        with CaptureQueriesContext(
            connection,
        ) as caught:
            for figure in report(site).figures.values():
                assert figure.share
        return len(caught)

    for _ in range(3):
        case(site)
    few = queries()
    for _ in range(9):
        case(site)
    assert queries() == few <= 14


def test_a_device_signed_against_a_known_danger_has_a_figure_of_its_own(site):
    overridden(site)
    found = audit_report(AuditFilter((site,), ago(365), timezone.localdate()), timezone.localdate())
    assert {figure.key: figure.count for figure in found.overriding} == {
        "overriding": 1,
        "overriding.signed": 0,
        "overriding.telephone": 0,
        "overriding.missing": 1,
    }
    case(site, agrees=False, departure="other")
    overridden(site)
    found = audit_report(AuditFilter((site,), ago(365), timezone.localdate()), timezone.localdate())
    assert [figure.count for figure in found.overriding] == [3, 0, 1, 2]
