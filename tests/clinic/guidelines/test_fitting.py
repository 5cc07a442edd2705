"""Fitting lists: every class has one, and a site's own replaces it."""

import pytest

from clinic.guidelines.devices import DEVICES, NON_REMOVABLE
from clinic.guidelines.errors import GuidelineError
from clinic.guidelines.fitting import FITTING_LISTS, fitting_list, steps_for


@pytest.mark.parametrize("name", DEVICES)
def test_every_class_has_exactly_one_list(name):
    assert [one.id for one in FITTING_LISTS.values() if name in one.classes] == [fitting_list(name).id]
    assert len(steps_for(name, {})) == len(set(steps_for(name, {}))) >= 5


def test_the_list_of_what_stays_on_is_for_all_of_it_and_nothing_else():
    assert set(FITTING_LISTS["stays_on"].classes) == NON_REMOVABLE


@pytest.mark.parametrize(
    "words",
    [
        "Dressing",
        "Padding between the toes",
        "base of the toes to the stated distance below the knee",
        "colour comes back",
        "Stocking",
        "Heel fully down",
        "few steps tried",
        "Leg length evened",
        "Wear advice",
    ],
)
def test_what_stays_on_asks_for_each_of_the_common_steps(words):
    assert any(words in step for step in FITTING_LISTS["stays_on"].steps)


def test_an_empty_own_list_is_the_program_s():
    assert steps_for("toe_spacer", {"spacer": []}) == FITTING_LISTS["spacer"].steps
    assert steps_for("toe_spacer", {"spacer": ["Dry"], "footwear": ["Wide"]}) == ("Dry",)


def test_an_unknown_class_is_refused_by_name():
    with pytest.raises(GuidelineError, match="device class is clog"):
        fitting_list("clog")
