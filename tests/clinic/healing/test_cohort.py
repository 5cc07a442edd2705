from datetime import date, timedelta

import pytest

from clinic.healing.cohort import CaseRecord, Ending, TimeZero, outcomes
from clinic.healing.errors import SurvivalError

DAY = date(2026, 1, 5)
AS_OF = date(2026, 12, 31)


def on(days):
    return DAY + timedelta(days=days)


def case(lesion, group="cast", fitted=7, last=100, ending=Ending.OPEN, ended=None):
    return CaseRecord(
        lesion,
        group,
        DAY,
        None if fitted is None else on(fitted),
        on(last),
        ending,
        None if ended is None else on(ended),
    )


def test_time_runs_from_the_first_fitting_to_healing_or_the_last_look():
    found = outcomes([case("a", ending=Ending.HEALED, ended=63), case("b", last=80)], AS_OF).groups[0]
    assert found.time_zero is TimeZero.FIRST_FITTING
    assert found.durations == (56.0, 73.0)
    assert found.endings == (Ending.HEALED, None)
    assert found.healed_marks == (1, 0)


def test_lost_and_open_lesions_are_censored_when_last_seen():
    found = outcomes([case("a", ending=Ending.LOST, last=40), case("b", last=50)], AS_OF).groups[0]
    assert found.durations == (33.0, 43.0)
    assert found.endings == (None, None)


def test_a_lesion_never_fitted_stands_apart_and_in_no_comparison():
    cohort = outcomes(
        [
            case("a", ending=Ending.HEALED, ended=63),
            case("n", fitted=None, ending=Ending.HEALED, ended=63),
            case("b", group="walker", ending=Ending.HEALED, ended=90),
        ],
        AS_OF,
    )
    assert [g.group for g in cohort.groups] == ["cast", "walker", "never fitted"]
    assert cohort.groups[-1].time_zero is TimeZero.FIRST_ASSESSMENT
    assert cohort.groups[-1].durations == (63.0,)
    assert len(cohort.test.observed) == 2


def test_death_and_amputation_compete_with_healing():
    found = outcomes(
        [
            case("a", ending=Ending.HEALED, ended=17),
            case("b", ending=Ending.DEATH, ended=27),
            case("c", ending=Ending.AMPUTATION, ended=37),
            case("d", ending=Ending.HEALED, ended=47),
        ],
        AS_OF,
    ).groups[0]
    healed, amputation, death = found.incidence
    assert (healed.at(99), amputation.at(99), death.at(99)) == pytest.approx((0.5, 0.25, 0.25))
    assert 1 - found.healing.survival_at(99) == 1.0  # what censoring the competitors would claim


def test_what_ended_before_the_first_fitting_is_left_out_and_named():
    cohort = outcomes([case("a", fitted=30, ending=Ending.HEALED, ended=20), case("b")], AS_OF)
    assert cohort.before_time_zero == ("a",)
    assert cohort.groups[0].lesions == ("b",)


def test_what_happens_later_is_not_known_yet():
    found = outcomes([case("a", ending=Ending.HEALED, ended=63)], on(50)).groups[0]
    assert found.durations == (43.0,)
    assert found.endings == (None,)


def test_no_case_gives_no_group():
    cohort = outcomes([], AS_OF)
    assert (cohort.groups, cohort.test) == ((), None)


def test_contradictions_are_refused():
    with pytest.raises(SurvivalError, match="ended of a: none does not go with the ending 'healed'"):
        case("a", ending=Ending.HEALED)
    with pytest.raises(SurvivalError, match="ended of a: 2026-01-08 does not go with the ending 'open'"):
        case("a", ended=3)
    with pytest.raises(SurvivalError, match="first_fitted of a: 2026-01-04 is before first_seen"):
        case("a", fitted=-1)
    with pytest.raises(SurvivalError, match="lesion: a is given 2 times"):
        outcomes([case("a"), case("a")], AS_OF)


def test_lesions_of_one_person_widen_the_interval():
    def width(people):
        records = [
            CaseRecord(
                str(k),
                "cast",
                DAY,
                on(7),
                on(100),
                *((Ending.HEALED, on(40 + k // 2)) if k % 4 < 2 else ()),
                person=people(k),
            )
            for k in range(40)
        ]
        point = outcomes(records, AS_OF).groups[0].incidence[0].curve[-1]
        return point.high - point.low

    assert width(lambda k: f"p{k // 2}") > 1.2 * width(lambda k: "")
