"""SINBAD item definitions. Ince P et al., Diabetes Care 2008;31(5):964-967 (definitions from secondary
pages).
"""

import pytest

from clinic.guidelines.grading import sinbad

CLEAN = {
    "mid_or_hindfoot": 0,
    "flow_reduced": False,
    "sensation_lost": False,
    "infected": False,
    "area_cm2": 0.5,
    "muscle_or_deeper": False,
}


def test_hindfoot_without_pulses_or_sensation_and_one_square_centimetre_is_four():
    score = sinbad(
        mid_or_hindfoot=1,
        flow_reduced=True,
        sensation_lost=True,
        infected=False,
        area_cm2=1.0,
        muscle_or_deeper=False,
    )
    assert [value for _, value in score.parts] == [1, 1, 1, 0, 1, 0]
    assert score.total == 4
    assert score.severe is True


def test_small_superficial_forefoot_ulcer_without_sensation_is_one():
    score = sinbad(**{**CLEAN, "sensation_lost": True, "area_cm2": 0.8})
    assert score.total == 1
    assert score.severe is False


@pytest.mark.parametrize(("area", "part"), [(0.754, 0), (0.999, 0), (1.0, 1), (1.001, 1)])
def test_area_counts_from_one_square_centimetre_on(area, part):
    assert dict(sinbad(**{**CLEAN, "area_cm2": area}).parts)["area"] == part


@pytest.mark.parametrize("name", [name for name in CLEAN if name != "area_cm2"])
def test_each_other_item_adds_one(name):
    assert sinbad(**CLEAN).total == 0
    assert sinbad(**{**CLEAN, name: True}).total == 1


@pytest.mark.parametrize(("present", "severe"), [(2, False), (3, True)])
def test_three_is_severe_and_two_is_not(present, severe):
    items = [name for name in CLEAN if name != "area_cm2"]
    score = sinbad(**{**CLEAN, **dict.fromkeys(items[:present], True)})
    assert score.severe is severe
