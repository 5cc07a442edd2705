"""Published survival data.

Sources: Freireich EJ et al., Blood 1963;21:699-716 (6-MP against placebo; the rows are in ../data, licence
beside them; log-rank χ² 16.79 is the printed textbook figure, the further decimals were computed with
lifelines 0.30.3). AML maintenance data as in R's `survival::aml` (values from memory; R prints χ² 3.4).
"""

import csv
from pathlib import Path

import pytest

from clinic.healing.survival import kaplan_meier, logrank

DATA = Path(__file__).parents[1] / "data" / "leukemia_freireich.csv"
MAINTAINED = ([9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161], [1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0])
NOT_MAINTAINED = ([5, 5, 8, 8, 12, 16, 23, 27, 30, 33, 43, 45], [1, 1, 1, 1, 1, 0, 1, 1, 1, 1, 1, 1])


@pytest.fixture(scope="module")
def freireich():
    with DATA.open() as file:
        rows = list(csv.DictReader(file))
    return {
        name: (
            [float(r["weeks"]) for r in rows if r["group"] == name],
            [int(r["event"]) for r in rows if r["group"] == name],
        )
        for name in ("6MP", "placebo")
    }


@pytest.mark.parametrize(
    ("time", "at_risk", "events", "survival", "error"),
    [
        (6, 21, 3, 0.8571, 0.0764),
        (7, 17, 1, 0.8067, 0.0869),
        (10, 15, 1, 0.7529, 0.0963),
        (13, 12, 1, 0.6902, 0.1068),
        (16, 11, 1, 0.6275, 0.1141),
        (22, 7, 1, 0.5378, 0.1282),
        (23, 6, 1, 0.4482, 0.1346),
    ],
)
def test_kaplan_meier_of_6mp(freireich, time, at_risk, events, survival, error):
    point = next(p for p in kaplan_meier(*freireich["6MP"]).curve if p.time == time)
    assert (point.at_risk, point.events) == (at_risk, events)
    assert point.survival == pytest.approx(survival, abs=1e-4)
    assert point.error == pytest.approx(error, abs=1e-4)


@pytest.mark.parametrize(
    ("time", "low", "high"), [(6, 0.6197, 0.9516), (10, 0.5032, 0.8894), (23, 0.1881, 0.6801)]
)
def test_log_log_intervals_of_6mp(freireich, time, low, high):
    point = next(p for p in kaplan_meier(*freireich["6MP"]).curve if p.time == time)
    assert (point.low, point.high) == (pytest.approx(low, abs=1e-4), pytest.approx(high, abs=1e-4))


def test_medians_of_6mp_and_placebo(freireich):
    assert kaplan_meier(*freireich["6MP"]).median == 23
    assert kaplan_meier(*freireich["placebo"]).median == 8


def test_kaplan_meier_of_placebo(freireich):
    expected = [0.9048, 0.8095, 0.7619, 0.6667, 0.5714, 0.3810, 0.2857, 0.1905, 0.1429, 0.0952, 0.0476, 0.0]
    assert [p.survival for p in kaplan_meier(*freireich["placebo"]).curve] == pytest.approx(
        expected, abs=1e-4
    )


def test_log_rank_of_6mp_against_placebo(freireich):
    test = logrank([freireich["6MP"], freireich["placebo"]])
    assert test.chi2 == pytest.approx(16.7929, abs=1e-4)
    assert test.p == pytest.approx(4.169e-5, rel=1e-3)
    assert test.df == 1
    assert test.observed == (9.0, 21.0)
    assert test.expected == (pytest.approx(19.2505, abs=1e-4), pytest.approx(10.7495, abs=1e-4))


def test_log_rank_and_curve_of_aml_maintenance():
    test = logrank([MAINTAINED, NOT_MAINTAINED])
    assert test.chi2 == pytest.approx(3.3964, abs=1e-4)
    assert test.p == pytest.approx(0.0653, abs=1e-4)
    estimate = kaplan_meier(*MAINTAINED)
    assert estimate.median == 31
    assert kaplan_meier(*NOT_MAINTAINED).median == 23
    expected = [0.9091, 0.8182, 0.7159, 0.6136, 0.4909, 0.3682, 0.1841]
    assert [p.survival for p in estimate.curve] == pytest.approx(expected, abs=1e-4)


def test_ten_ulcers_by_hand():
    estimate = kaplan_meier([3, 4, 4, 5, 6, 6, 8, 9, 12, 12], [1, 1, 0, 1, 1, 1, 0, 1, 0, 0])
    assert estimate.survival_at(6) == pytest.approx(0.4571, abs=1e-4)
    assert estimate.survival_at(9) == pytest.approx(0.3048, abs=1e-4)
    assert estimate.median == 6
