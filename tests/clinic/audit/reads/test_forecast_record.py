"""Past forecasts use what was known then, count the unclosed, and show what was stored with a decision."""

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.audit.reads.forecast_record import forecast_record
from clinic.audit.writes.recalibration import recalibrate
from clinic.curves.reads.own_figures import own_figures
from clinic.healing.lookback import Outcome
from clinic.healing.own import Own
from clinic.healing.recalibration import CalibrationLine, Tails
from clinic.healing.shown import own_row
from clinic.models import Recalibration
from clinic.templatetags.drawn import reliability_chart
from tests import factories

AGO = lambda days: timezone.localdate() - timedelta(days=days)  # noqa: E731
FALLING = [4.0, 3.4, 2.8, 2.2, 1.7, 1.2, 0.9, 0.6]


def lesion(site, areas=FALLING, *, began=140, **fields):
    found = factories.lesion(
        on=factories.limb(of=factories.person(at=site)), first_seen_on=AGO(began), **fields
    )
    factories.series(found, areas, last=AGO(began - 7 * (len(areas) - 1)))
    return found


def week(site, number=4):
    return next(w for w in forecast_record(site, timezone.localdate()).weeks if w.week == number)


def closed(days):
    return {"state": "healed", "outcome": "healed", "closed_on": AGO(days), "confirmed_on": AGO(days - 14)}


def test_closed_and_unclosed_lesions_are_both_counted(site):
    shut = lesion(site, **closed(80))
    stays = lesion(site, [3.0] * 20)
    found = week(site)
    outcomes = {line.lesion.pk: line.looked.outcome for line in found.lines}
    assert outcomes == {shut.pk: Outcome.CLOSED, stays.pk: Outcome.NOT_CLOSED}
    assert (found.count, found.known) == (2, 2)
    assert sum(bin_.happened.of for bin_ in found.bins) == 2


def test_a_lesion_lost_before_twelve_weeks_is_not_known_and_not_left_out(site):
    lesion(site, FALLING[:6], state="ended", outcome="lost", ended_on=AGO(60))
    found = week(site)
    assert [line.looked.outcome for line in found.lines] == [Outcome.UNKNOWN]
    assert found.bins == ()


def test_an_amputation_is_a_wound_that_did_not_close(site):
    lesion(site, FALLING[:6], state="ended", outcome="minor_amputation", ended_on=AGO(90))
    assert [line.looked.outcome for line in week(site).lines] == [Outcome.NOT_CLOSED]


def test_a_visit_entered_in_error_is_in_no_forecast(site):
    found = lesion(site, [3.0] * 20)
    before = week(site).lines[0].looked.said
    wrong = factories.visit(of=found.limb.person, on=AGO(115), state="in_error", error_reason="wrong patient")
    factories.measurement(at=wrong, of=found, cm2=30.0)
    assert week(site).lines[0].looked.said == before


def test_what_was_shown_with_a_decision_is_held_against_the_eight_weeks_after(site):
    shut, stays, new = lesion(site, **closed(80)), lesion(site, [3.0] * 20), lesion(site, began=40)
    for found, on in ((shut, 120), (stays, 120), (new, 10)):
        factories.prescription(
            of=found.limb,
            lesions=[found],
            prescribed_on=AGO(on),
            forecast_shown={"A": {"verdict": "slow", "areas": 5, "median": None, "chance_next_8w": 0.3}},
        )
    shown = forecast_record(site, timezone.localdate()).shown
    assert {row.lesion.pk: row.happened for row in shown} == {
        shut.pk: "closed",
        stays.pk: "not closed by then",
        new.pk: "not known yet",
    }


def test_another_sites_lesions_are_not_counted(site, other_site):
    lesion(other_site)
    assert forecast_record(site, timezone.localdate()).lesions == 0


def test_the_number_of_queries_does_not_grow(site):
    def add(count):
        for _ in range(count):
            found = lesion(site)
            factories.prescription(
                of=found.limb,
                lesions=[found],
                forecast_shown={"A": {"verdict": "slow", "chance_next_8w": 0.3}},
            )

    def queries():
        with CaptureQueriesContext(connection) as caught:
            record = forecast_record(site, timezone.localdate())
            assert all(line.lesion.where for w in record.weeks for line in w.lines)
            assert all(row.lesion.limb.person.record_number for row in record.shown)
        return len(caught)

    add(2)
    few = queries()
    add(4)
    assert queries() == few


@pytest.mark.parametrize("number", [4, 8])
def test_each_week_is_computed(site, number):
    lesion(site, [3.0] * 20)
    assert week(site, number).count == 1


def test_own_figures_are_off_below_their_number_and_then_dated(site):
    today = timezone.localdate()
    lesion(site, **closed(80))
    recalibrate(site=site, today=AGO(1))
    off = forecast_record(site, today).own
    assert (off.closed, off.examples, off.ends) == (1, (), None)
    for _ in range(off.least - 1):
        lesion(site, **closed(80))
    recalibrate(site=site, today=today)
    own = forecast_record(site, today).own
    assert own.closed == off.least
    assert own.own.made_on == today
    assert [said for said, _ in own.examples] == [10, 30, 50, 70, 90]
    assert all(here > said for said, here in own.examples), "all closed in time, so more than said"
    assert own.ends is not None


def test_figures_once_made_stay_and_the_same_are_not_made_twice(site):
    today = timezone.localdate()
    lesion(site, **closed(80))
    assert recalibrate(site=site, today=AGO(7)) is not None
    before = list(Recalibration.objects.values())
    assert recalibrate(site=site, today=today) is None, "nothing has changed"
    lesion(site, **closed(80))
    assert recalibrate(site=site, today=today) is not None
    assert recalibrate(site=site, today=today) is None, "once a day"
    assert list(Recalibration.objects.order_by("made_on").values())[:1] == before


def test_figures_of_another_method_are_not_used(site):
    own = Own(AGO(3), "0", CalibrationLine(0.0, 1.0, 40), Tails(0.1, 0.9, 0.1, 40, 30))
    Recalibration.objects.create(site=site, made_on=AGO(3), method="0", figures=own_row(own))
    assert own_figures([site.pk]) == {}


def test_the_command_makes_them_for_every_clinic(site, other_site, capsys):
    lesion(site, **closed(80))
    call_command("recalibrate")
    assert set(own_figures([site.pk, other_site.pk])) == {site.pk}
    assert f"{other_site.short_name}: unchanged" in capsys.readouterr().out


def test_a_week_with_outcomes_has_a_diagram(site):
    lesion(site, **closed(80))
    assert "chance said" in reliability_chart(week(site))
