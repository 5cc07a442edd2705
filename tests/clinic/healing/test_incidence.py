import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.errors import SurvivalError
from clinic.healing.incidence import cumulative_incidence
from clinic.healing.survival import kaplan_meier

CAUSES = ("healed", "amputation", "death")
ROWS = st.lists(st.tuples(st.integers(0, 20), st.sampled_from([*CAUSES, None])), min_size=1, max_size=40)


def estimate(rows):
    return cumulative_incidence([r[0] for r in rows], [r[1] for r in rows], CAUSES)


def test_five_ulcers_by_hand():
    # Weeks 1 healed, 2 died, 3 still open, 4 healed, 5 open: 1/5, then 1/5 dead, S = 3/5, then 3/5 · 1/2
    # healed.
    healed, _, death = estimate([(1, "healed"), (2, "death"), (3, None), (4, "healed"), (5, None)])
    assert healed.at(0.5) == 0.0
    assert healed.at(1) == pytest.approx(0.2)
    assert death.at(2) == pytest.approx(0.2)
    assert healed.at(4) == pytest.approx(0.5)
    assert [p.at_risk for p in healed.curve] == [5, 4, 2]


@given(ROWS)
def test_causes_and_the_share_without_ending_add_up_to_one(rows):
    free = kaplan_meier([r[0] for r in rows], [int(r[1] is not None) for r in rows])
    found = estimate(rows)
    for time in range(21):
        assert sum(f.at(time) for f in found) + free.survival_at(time) == pytest.approx(1.0)


@given(ROWS)
def test_censoring_the_competitors_never_gives_less_healing(rows):
    healed = estimate(rows)[0]
    naive = kaplan_meier([r[0] for r in rows], [int(r[1] == "healed") for r in rows])
    for time in range(21):
        assert 1.0 - naive.survival_at(time) >= healed.at(time) - 1e-12


@given(st.lists(st.tuples(st.integers(0, 20), st.sampled_from(["healed", None])), min_size=1, max_size=40))
def test_with_one_cause_it_is_kaplan_meier_with_greenwoods_error(rows):
    healed = estimate(rows)[0]
    single = kaplan_meier([r[0] for r in rows], [int(r[1] is not None) for r in rows])
    assert len(healed.curve) == len(single.curve)
    for ours, theirs in zip(healed.curve, single.curve, strict=True):
        assert ours.incidence == pytest.approx(1.0 - theirs.survival)
        if theirs.error is not None and ours.error is not None:
            assert ours.error == pytest.approx(theirs.error, rel=1e-6, abs=1e-7)


@given(ROWS)
def test_bounds_enclose_the_estimate(rows):
    for cause in estimate(rows):
        for point in cause.curve:
            if point.low is not None:
                assert 0.0 <= point.low <= point.incidence <= point.high <= 1.0


@pytest.mark.parametrize(
    ("durations", "endings", "causes", "words"),
    [
        ([], [], CAUSES, "at least 1"),
        ([1], [], CAUSES, "counts must be equal"),
        ([-1], [None], CAUSES, "0 or more"),
        ([1], ["moved"], CAUSES, "moved is not one of"),
        ([1], ["healed"], ("healed", "healed"), "2 times"),
    ],
)
def test_impossible_input_is_refused(durations, endings, causes, words):
    with pytest.raises(SurvivalError, match=words):
        cumulative_incidence(durations, endings, causes)


def test_times_in_another_unit_change_nothing_else():
    one = cumulative_incidence([7, 14, 21], ["healed", None, "healed"], ["healed"])[0]
    weeks = one.over(7.0)
    assert [point.time for point in weeks.curve] == [1.0, 3.0]
    assert [point.incidence for point in weeks.curve] == [point.incidence for point in one.curve]
