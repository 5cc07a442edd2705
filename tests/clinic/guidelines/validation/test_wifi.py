"""WIfI. Mills JL et al., J Vasc Surg 2014;59(1):220-234, doi:10.1016/j.jvs.2013.08.003.

The 64 stages are from memory (the published figure was not at hand); the wound grades from secondary pages.
"""

import collections
import itertools

import pytest

from clinic.guidelines.grading import wifi_stage, wifi_wound

# Rows wound 0 to 3; columns ischaemia 0 to 3, in each foot infection 0 to 3.
PRINTED = [
    *("1123", "1234", "2234", "2334"),
    *("1123", "1234", "2344", "3344"),
    *("2234", "3344", "3444", "4444"),
    *("3344", "4444", "4444", "4444"),
]
CELLS = list(itertools.product(range(4), range(4), range(4)))


@pytest.mark.parametrize(("wound", "ischaemia", "infection"), CELLS)
def test_all_64_cells(wound, ischaemia, infection):
    assert wifi_stage(wound, ischaemia, infection).value == PRINTED[4 * wound + ischaemia][infection]


def test_stage_counts():
    counts = collections.Counter(wifi_stage(*cell).value for cell in CELLS)
    assert counts == {"1": 6, "2": 10, "3": 16, "4": 32}


def test_a_worse_grade_never_gives_a_better_stage():
    for cell in CELLS:
        for place in range(3):
            if cell[place] < 3:
                worse = tuple(g + (i == place) for i, g in enumerate(cell))
                assert wifi_stage(*worse).value >= wifi_stage(*cell).value


@pytest.mark.parametrize(
    ("grades", "stage"),
    [
        ((2, 1, 0), "3"),
        ((1, 0, 0), "1"),
        ((1, 1, 1), "2"),
        ((0, 3, 0), "2"),
        ((3, 0, 0), "3"),
        ((1, 2, 1), "3"),
        ((2, 0, 3), "4"),
    ],
)
def test_single_cells(grades, stage):
    assert wifi_stage(*grades).value == stage


def test_the_stage_does_not_follow_from_the_sum():
    assert wifi_stage(1, 0, 2).value == "2"
    assert wifi_stage(2, 1, 0).value == "3"


SHALLOW = {"ulcer": True, "reaches": "skin", "heel": False, "extensive": False, "gangrene": "none"}


@pytest.mark.parametrize(
    ("changes", "grade"),
    [
        ({"ulcer": False}, "0"),
        ({}, "1"),
        ({"reaches": "distal_phalanx"}, "1"),
        ({"reaches": "bone_joint_or_tendon"}, "2"),
        ({"heel": True}, "2"),
        ({"gangrene": "digits"}, "2"),
        ({"ulcer": False, "gangrene": "digits"}, "2"),
        ({"reaches": "bone_joint_or_tendon", "extensive": True}, "3"),
        ({"reaches": "bone_joint_or_tendon", "heel": True}, "3"),
        ({"gangrene": "extensive"}, "3"),
        ({"ulcer": False, "gangrene": "extensive"}, "3"),
    ],
)
def test_wound_grades(changes, grade):
    assert wifi_wound(**{**SHALLOW, **changes}).value == grade
