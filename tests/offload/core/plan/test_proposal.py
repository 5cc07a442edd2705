"""The clinic's rule is the proposal; the model suggests beside it where it is sure enough."""

from dataclasses import replace

import pytest

from offload.core.plan.compute import Alternative, LesionPressure, PressureReport
from offload.core.plan.proposal import closing_words, suggestions
from tests.offload.core.pressure_plans import plan

MADE = plan(60)
LESION = LesionPressure(
    "A", "push_off", 300, 200, 280, 190, 33, 0, 1.0, (150, 250), 290, 195, (80, 260), 190, 0.2
)
REPORT = PressureReport("reference", 600, 600, *([100.0] * 6), (LESION,))


def other(cut=("base",), chance=0.95, area=1300.0, **changes):
    spec = MADE.spec
    values = {"margin": spec.margin, "distal_margin": spec.distal_margin, "bevel": spec.bevel, **changes}
    return Alternative(cut, *values.values(), area, 150, 100, False, 150, chance)


def suggested(*others, closes=0.2, made=MADE):
    report = replace(REPORT, lesions=(replace(LESION, closes_chance=closes),))
    return [one.cut for one in suggestions(replace(made, pressure=report, alternatives=others))]


def test_a_cut_is_suggested_from_a_chance_of_nine_in_ten_or_where_the_rules_void_closes_rather_than_not():
    sure, likely, not_likely = other(chance=0.9), other(chance=0.6), other(chance=0.4)
    assert suggested(sure, likely, not_likely) == [sure]
    assert suggested(likely, closes=0.5) == []
    assert suggested(likely, closes=0.51) == [likely]
    assert suggested(not_likely, closes=0.9) == []


@pytest.mark.parametrize(
    "changes", [{"margin": 3.0}, {"distal_margin": 7.0}, {"bevel": 90.0}, {"chance": None}]
)
def test_a_smaller_hole_never_wins_by_its_margin_nor_a_steeper_wall(changes):
    assert suggested(other(**changes), closes=0.9) == []


def test_least_foam_comes_first_and_one_more_of_other_layers_at_most():
    small, large, deep = other(), other(area=1800.0), other(("middle", "base"))
    assert suggested(deep, large, small, other(("middle", "base"), area=2000.0)) == [small, deep]


def test_beside_a_departure_or_without_chances_nothing_is_suggested():
    assert suggested(other(), made=plan(60, "base")) == []
    assert suggestions(replace(MADE, pressure=None)) == ()


def test_a_suggestion_says_what_it_gains_and_what_it_costs():
    made = replace(MADE, pressure=REPORT, alternatives=(other(),))
    (one,) = suggestions(made)
    assert one.why == "Relieves more than the rule's cut: chance 0.95."
    assert one.costs.startswith("Takes out ")
    assert "what the insole lies on: look that it is smooth" in one.costs


def test_that_the_rules_space_closes_is_said_once_of_the_ulcer_where_it_is_likeliest():
    other_ulcer = replace(LESION, label="B", closes_chance=0.7)
    report = replace(REPORT, lesions=(LESION, other_ulcer))
    assert closing_words(replace(MADE, pressure=report)) == (
        "Under the rule's cut the space under ulcer B closes: chance 0.70."
    )
    assert closing_words(replace(MADE, pressure=REPORT)) == ""
    assert closing_words(replace(MADE, pressure=None)) == ""
    assert closing_words(replace(plan(60, "base"), pressure=report)) == ""
