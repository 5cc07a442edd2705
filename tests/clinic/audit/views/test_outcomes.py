"""Outcomes and past forecasts: whose pages they are, what they say first, and what only on demand."""

import pytest

from clinic.healing.alarms import TRADE_OFF
from tests import factories
from tests.clinic.audit.reads.test_forecast_record import AGO, FALLING
from tests.clinic.audit.reads.test_forecast_record import lesion as followed
from tests.clinic.audit.reads.test_outcomes import healed, lesion


def test_they_are_for_podiatrist_and_manager(as_staff, as_podiatrist, as_manager, other_site):
    assert as_staff.get("/outcomes/").status_code == 403
    assert as_podiatrist.get("/outcomes/").status_code == 200
    assert as_manager.get("/outcomes/").status_code == 200
    assert as_manager.get(f"/outcomes/?site={other_site.pk}").status_code == 404
    assert as_manager.get("/review/forecasts/").status_code == 403
    assert as_podiatrist.get("/review/forecasts/").status_code == 200


def test_cumulative_incidence_comes_first_and_the_other_says_that_it_overstates(as_manager, site):
    for _ in range(5):
        lesion(site, **healed(43))
    page = as_manager.get("/outcomes/").content.decode()
    assert 'aria-current="true">Cumulative incidence' in page
    assert "overstates healing" not in page
    assert "overstates healing" in as_manager.get("/outcomes/?show=kaplan-meier").content.decode()
    charts = [as_manager.get(f"/outcomes/chart.svg?show={kind}") for kind in ("incidence", "kaplan-meier")]
    assert [b"Amputated or died" in chart.content for chart in charts] == [True, False]
    tag = charts[0]["ETag"]
    assert as_manager.get("/outcomes/chart.svg", headers={"If-None-Match": tag}).status_code == 304


def test_the_test_is_computed_on_demand_and_says_who_chose(as_manager, site):
    for _ in range(3):
        lesion(site, **healed(43))
        open_one = lesion(site, device="ankle_high_removable")
        factories.visit(of=open_one.limb.person, on=AGO(10))
    assert "Log-rank" not in as_manager.get("/outcomes/").content.decode()
    page = as_manager.get("/outcomes/?by=device&test=1").content.decode()
    assert "Log-rank test between the fitted groups" in page
    assert "Chosen by severity, not by lot" in page


def test_under_five_lesions_there_is_no_percentage_and_no_chart(as_manager, site):
    lesion(site, **healed(43))
    page = as_manager.get("/outcomes/").content.decode()
    assert "n &lt; 5" in page
    assert "too few to draw" in page
    assert as_manager.get("/outcomes/chart.svg").status_code == 404


def test_a_period_that_ends_before_it_begins_comes_back(as_manager, site):
    answer = as_manager.get("/outcomes/?since=2026-05-01&until=2026-04-01")
    assert answer.status_code == 422
    assert "lies before the start of the period" in answer.content.decode()
    assert as_manager.get("/outcomes/?show=pie").status_code == 404


def test_no_lesion_says_so(as_manager, site):
    assert "No ulcer was first seen here" in as_manager.get("/outcomes/").content.decode()


def test_past_forecasts_show_counts_before_percentages(as_podiatrist, site):
    followed(
        site, FALLING, state="healed", outcome="healed", **{k: v for k, v in healed(60).items() if "on" in k}
    )
    page = as_podiatrist.get("/review/forecasts/").content.decode()
    assert "1 ulcer with areas, the unclosed included" in page
    assert "1 of 1" in page
    assert "too few (n &lt; 5)" in page


def test_a_clinic_without_forecasts_is_told_why(as_podiatrist, site):
    page = as_podiatrist.get("/review/forecasts/").content.decode()
    assert "No ulcer was open in week 4" in page
    assert "No device has been chosen yet" in page


def test_severity_comes_first_and_all_my_clinics_add_the_clinic(as_manager, manager, site, other_site):
    lesion(site, **healed(43))
    assert "By severity when first seen (SINBAD)" in as_manager.get("/outcomes/").content.decode()
    assert as_manager.get("/outcomes/?site=all").content.decode().count("All my clinics") == 0
    manager.sites.add(other_site)
    lesion(other_site, **healed(43))
    page = as_manager.get("/outcomes/?site=all").content.decode()
    assert "By clinic and severity (SINBAD)" in page
    assert f"{other_site.name}: SINBAD not known" in page
    assert 'value="all" selected' in page


def test_too_many_lesions_ask_for_a_shorter_period_and_long_lists_are_left_out(as_manager, site, monkeypatch):
    lesion(site, **healed(43))
    lesion(site, **healed(43))
    monkeypatch.setattr("clinic.audit.reads.outcomes.LISTED", 1)
    page = as_manager.get("/outcomes/").content.decode()
    assert "Ulcers are listed up to" in page
    assert "the 2 ulcers" not in page
    monkeypatch.setattr("clinic.audit.reads.outcomes.MOST", 1)
    assert "Choose a shorter period or one clinic" in as_manager.get("/outcomes/").content.decode()


def test_the_forecast_page_shows_the_alarms_trade_off_as_picture_and_table(as_podiatrist, site):
    page = as_podiatrist.get("/review/forecasts/").content.decode()
    assert 'class="alarms"' in page
    assert page.count('class="number nowrap">') >= len(TRADE_OFF)
    assert page.count("(in use)") == 1
    for one in TRADE_OFF:
        assert f"{one.ever:.1f} %" in page
    assert "These are not this clinic's ulcers" in page


def test_a_share_beyond_what_was_observed_says_so(as_manager, site):
    for days in (30, 32, 34, 36, 38):
        found = lesion(site, state="ended", outcome="lost", ended_on=AGO(20))
        factories.visit(of=found.limb.person, on=AGO(113 - days))
    assert "not observed that long" in as_manager.get("/outcomes/").content.decode()


@pytest.mark.parametrize(
    ("since", "until", "words"),
    [
        ("0001-01-01", "9999-12-31", "1 Jan 1990 is the earliest possible"),
        ("1990-01-01", "9999-12-31", "at most 30 are counted"),
    ],
)
def test_a_period_beyond_what_is_counted_is_refused_with_its_limit(as_manager, site, since, until, words):
    for page in ("/outcomes/", "/audit/"):
        answer = as_manager.get(f"{page}?since={since}&until={until}")
        assert answer.status_code == 422
        assert words in answer.content.decode()
    assert as_manager.get(f"/outcomes/chart.svg?since={since}&until={until}").status_code == 404
