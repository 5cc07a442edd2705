import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.errors import SeriesError
from clinic.healing.fared import (
    LEAST_OWN,
    OwnCounts,
    can_be_told,
    chance_sentence,
    chance_told,
    counted,
    fared,
    information,
)

CHANCES = st.floats(0.0, 1.0)


@pytest.mark.parametrize(("chance", "bits"), [(0.5, 0.0), (0.0, 1.0), (1.0, 1.0), (0.11, 0.5)])
def test_information_is_one_bit_less_entropy(chance, bits):
    assert information(chance) == pytest.approx(bits, abs=1e-3)


@given(CHANCES)
def test_a_chance_and_its_opposite_tell_as_much(chance):
    assert information(chance) == pytest.approx(information(1.0 - chance), abs=1e-9)


def test_even_odds_cannot_be_told_and_sure_ones_can():
    assert [can_be_told(c) for c in (0.1, 0.36, 0.4, 0.6, 0.64, 0.9)] == [
        True,
        True,
        False,
        False,
        True,
        True,
    ]


@given(CHANCES, st.lists(st.tuples(CHANCES, st.booleans()), max_size=40))
def test_no_chance_is_told_without_how_such_chances_fared(chance, own):
    said = chance_sentence(chance, OwnCounts(counted(own)))
    assert re.search(r"of \d+ told \d+ to \d+ %( here)?, \d+ closed", said)
    assert ("cannot be told yet" in said) is not can_be_told(chance)
    assert ": simulated)" in said or "here" in said


def test_the_clinics_own_count_replaces_the_simulated_one_where_it_suffices():
    few = [(0.85, True)] * (LEAST_OWN - 1) + [(0.2, False)] * 50
    assert not fared(0.86, OwnCounts(counted(few))).is_own
    enough = OwnCounts(counted([*few, (0.81, False)]))
    found = fared(0.86, enough)
    assert (found.closed, found.of, found.is_own) == (LEAST_OWN - 1, LEAST_OWN, True)
    assert chance_sentence(0.86, enough) == (
        "Closure within 8 weeks: 86 % (of 20 told 80 to 90 % here, 19 closed)."
    )
    assert chance_sentence(0.86) == (
        "Closure within 8 weeks: 86 % (of 100 told 80 to 90 %, 86 closed: simulated)."
    )


@pytest.mark.parametrize("bad", [-0.1, 1.1, float("nan")])
def test_an_impossible_chance_is_refused(bad):
    for ask in (information, fared, chance_sentence):
        with pytest.raises(SeriesError, match="chance"):
            ask(bad)


@given(st.lists(st.tuples(CHANCES, st.booleans()), max_size=60))
def test_counting_loses_no_outcome(outcomes):
    pairs = counted(outcomes)
    assert sum(of for _, of in pairs) == len(outcomes)
    assert sum(closed for closed, _ in pairs) == sum(came for _, came in outcomes)


@pytest.mark.parametrize("pairs", [((1, 2),), ((3, 2),) * 10])
def test_impossible_counts_are_refused(pairs):
    with pytest.raises(SeriesError, match="within_8"):
        OwnCounts(pairs)


def test_each_kind_of_chance_has_its_own_count():
    assert fared(0.75, weeks=8).closed != fared(0.75, weeks=20).closed
    assert chance_told(0.5, weeks=12).startswith("cannot be told yet (of 100 told 50 to 60 %")
    with pytest.raises(SeriesError, match="weeks: 9"):
        fared(0.5, weeks=9)
