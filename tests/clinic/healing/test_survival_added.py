"""Left truncation, strata, restricted mean and where curves end: by hand, by laws, and (marked oracle) by
other libraries."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.errors import SurvivalError
from clinic.healing.late_entry import late_entry_curve, well_watched
from clinic.healing.observed import known_until, restricted_mean, share_at, watched_until
from clinic.healing.strata import stratified_logrank
from clinic.healing.survival import kaplan_meier, logrank
from clinic.healing.tables import read_events

FREIREICH = Path(__file__).parent / "data/leukemia_freireich.csv"
SUBJECTS = st.lists(st.tuples(st.integers(1, 30), st.booleans()), min_size=1, max_size=40)


def freireich():
    rows = read_events(FREIREICH.read_bytes())
    times = np.concatenate([row.durations for row in rows])
    marks = np.concatenate([row.events for row in rows])
    return times, marks, [row.group for row in rows for _ in row.durations]


@given(SUBJECTS)
def test_with_everybody_there_from_day_zero_late_entry_is_the_plain_estimate(subjects):
    times, marks = (np.array(column) for column in zip(*subjects, strict=True))
    plain, late = kaplan_meier(times, marks), late_entry_curve(np.zeros(times.size), times, marks)
    np.testing.assert_allclose(late.survival, [point.survival for point in plain.curve])
    assert late.median == plain.median


def test_who_joined_late_is_at_risk_only_from_then_on_by_hand():
    # At 4: joined before 4 and still there: A, B, D. At 6: B, C (joined 5), D. At 9: C, D.
    late = late_entry_curve([0, 0, 5, 2], [4, 6, 9, 12], [1, 1, 1, 0])
    assert late.at_risk.tolist() == [3, 3, 2]
    np.testing.assert_allclose(late.survival, [2 / 3, 4 / 9, 2 / 9])
    assert late.median == 6


def test_counting_late_comers_from_day_zero_would_make_healing_look_late():
    rng = np.random.default_rng(3)
    healing, joins = rng.exponential(50, 6000), rng.uniform(0, 60, 6000)
    seen = healing > joins
    curve = late_entry_curve(joins[seen], healing[seen], np.ones(seen.sum()))
    at = np.searchsorted(curve.time, 50, side="right") - 1
    assert curve.survival[at] == pytest.approx(np.exp(-1), abs=0.05)
    assert kaplan_meier(healing[seen], np.ones(seen.sum())).survival_at(50) > np.exp(-1) + 0.08


@pytest.mark.parametrize(
    ("entries", "durations", "events"),
    [
        ([5], [5], [1]),
        ([-1], [5], [1]),
        ([0, 0], [5], [1]),
        ([0], [float("nan")], [1]),
        ([0], [5], [2]),
        ([], [], []),
    ],
)
def test_impossible_late_entries_are_refused(entries, durations, events):
    with pytest.raises(SurvivalError):
        late_entry_curve(entries, durations, events)


@given(SUBJECTS, st.lists(st.sampled_from("ab"), min_size=40, max_size=40))
def test_one_stratum_is_the_plain_log_rank_test(subjects, names):
    times, marks = (np.array(column) for column in zip(*subjects, strict=True))
    groups = names[: times.size]
    one = stratified_logrank(times, marks, groups, ["s"] * times.size)
    on = np.array(groups) == "a"
    both = on.any() and (~on).any()
    plain = logrank([(times[on], marks[on]), (times[~on], marks[~on])]) if both else None
    assert (one is None) == (plain is None)
    if plain is not None:
        assert one.chi2 == pytest.approx(plain.chi2, abs=1e-9)
        assert (one.df, one.strata) == (plain.df, 1)


def test_strata_take_away_what_a_mixture_feigns():
    """Within each stratum both groups are alike; the strata differ, and so do the groups' parts of them."""
    rng = np.random.default_rng(8)
    stratum = rng.random(2000) < 0.5
    group = np.where(rng.random(2000) < np.where(stratum, 0.8, 0.2), "a", "b")
    times = rng.exponential(np.where(stratum, 20.0, 80.0)) + 0.01
    marks = np.ones(2000)
    on = group == "a"
    assert logrank([(times[on], marks[on]), (times[~on], marks[~on])]).p < 1e-6
    assert stratified_logrank(times, marks, list(group), list(stratum)).p > 0.05


def test_the_published_trial_in_one_stratum():
    # Freireich 1963, 6-MP against placebo: log-rank chi-squared 16.79 (standard textbook value).
    times, marks, groups = freireich()
    found = stratified_logrank(times, marks, groups, ["all"] * len(groups))
    assert found.chi2 == pytest.approx(16.793, abs=0.005)


def test_differing_counts_are_refused():
    with pytest.raises(SurvivalError, match="counts must be equal"):
        stratified_logrank([1, 2], [1, 1], ["a"], ["s", "s"])


@given(st.lists(st.integers(1, 40), min_size=5, max_size=40), st.integers(1, 30))
def test_without_censoring_the_restricted_mean_is_the_mean_of_what_was_seen(times, until):
    found = restricted_mean(times, np.ones(len(times)), until)
    cut = np.minimum(times, until)
    assert found.mean == pytest.approx(cut.mean())
    assert found.error**2 == pytest.approx(cut.var() / len(times), abs=1e-9)


def test_a_share_ends_where_fewer_than_five_remain_observed():
    times, marks = [2, 4, 6, 8, 10, 12, 14], [1, 0, 1, 0, 0, 0, 0]
    assert watched_until(times) == 6
    assert share_at(times, marks, 6) == pytest.approx(6 / 7 * 4 / 5)
    assert share_at(times, marks, 6.1) is None
    assert restricted_mean(times, marks, 7) is None
    assert watched_until(times[:4]) is None


@given(SUBJECTS, st.integers(0, 31))
def test_no_share_is_told_with_fewer_than_five_at_risk_once_anybody_was_lost(subjects, time):
    times, marks = (np.array(column) for column in zip(*subjects, strict=True))
    told = share_at(times, marks, time)
    lost = ((times < time) & (marks == 0)).any()
    assert (told is None) == (len(times) < 5 or bool(lost and (times >= time).sum() < 5))


@given(st.lists(st.integers(1, 40), min_size=5, max_size=30), st.integers(0, 60))
def test_a_group_in_which_all_healed_is_known_to_its_end(times, time):
    """Nobody was lost from sight: the share is a count of the whole group, and stays 0 afterwards."""
    marks = np.ones(len(times))
    assert known_until(times, marks) == np.inf
    assert share_at(times, marks, time) == pytest.approx(np.mean(np.array(times) > time))


def test_one_lost_among_the_last_ends_what_is_known():
    times = [2, 3, 4, 5, 6, 7, 8]
    assert known_until(times, [1, 1, 1, 1, 1, 1, 1]) == np.inf
    assert known_until(times, [1, 1, 1, 1, 1, 0, 1]) == 7
    assert known_until(times, [0, 1, 1, 1, 1, 1, 1]) == 4, "the last time with five at risk"
    assert known_until(times[:4], [1, 1, 1, 1]) is None


LATE = st.lists(st.tuples(st.integers(0, 20), st.integers(1, 20)), min_size=1, max_size=30)


@given(LATE, st.integers(1, 6))
def test_a_stretch_is_well_watched_throughout(subjects, least):
    entries = np.array([entry for entry, _ in subjects])
    durations = entries + np.array([more for _, more in subjects])
    stretch = well_watched(entries, durations, least)
    together = [((entries < t) & (durations >= t)).sum() for t in range(1, 42)]
    if stretch is None:
        assert max(together) < least
        return
    start, end = stretch
    assert all(together[t - 1] >= least for t in range(int(start) + 1, int(end) + 1))
    assert together[int(end)] < least
    assert all(together[t - 1] < least for t in range(1, int(start) + 1))


@pytest.mark.oracle
def test_left_truncation_and_restricted_mean_against_lifelines():
    from lifelines import KaplanMeierFitter
    from lifelines.utils import restricted_mean_survival_time

    rng = np.random.default_rng(11)
    for seed in range(5):
        joins = rng.integers(0, 40, 300)
        times = joins + np.ceil(rng.exponential(40, 300))
        marks = (rng.random(300) < 0.7).astype(int)
        ours = late_entry_curve(joins, times, marks)
        theirs = KaplanMeierFitter().fit(times, marks, entry=joins).survival_function_.iloc[:, 0]
        np.testing.assert_allclose(
            ours.survival, theirs.loc[ours.time].to_numpy(), atol=1e-10, err_msg=str(seed)
        )
        plain = KaplanMeierFitter().fit(times, marks)
        mean = restricted_mean_survival_time(plain, t=60)
        assert restricted_mean(times, marks, 60).mean == pytest.approx(mean, abs=1e-9)


@pytest.mark.oracle
def test_the_stratified_test_against_statsmodels():
    from statsmodels.duration.survfunc import survdiff

    rng = np.random.default_rng(12)
    for groups in (2, 3):
        group, stratum = rng.integers(0, groups, 400), rng.integers(0, 4, 400)
        times = np.ceil(rng.exponential(20 + 10 * group + 15 * stratum))
        marks = (rng.random(400) < 0.7).astype(int)
        chi2, p = survdiff(times, marks, group, strata=stratum)
        found = stratified_logrank(times, marks, list(group), list(stratum))
        assert found.chi2 == pytest.approx(chi2, rel=1e-8)
        assert found.p == pytest.approx(p, rel=1e-6)
        assert found.strata == 4
