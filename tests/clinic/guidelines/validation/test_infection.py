"""Infection grades and systemic signs.

Senneville E et al., IWGDF/IDSA 2023, Diabetes Metab Res Rev 2024;40(3):e3687 (criteria read in secondary
pages); WIfI infection: Mills JL et al., J Vasc Surg 2014;59(1):220-234. Erythema of exactly 2 cm changes
grade between them.
"""

import pytest

from clinic.guidelines.grading import InfectionFindings, infection_grade, systemic_signs, wifi_infection

CLEAN = {
    "swelling": False,
    "tenderness": False,
    "warmth": False,
    "pus": False,
    "erythema_cm": 0.0,
    "deep": False,
    "osteomyelitis": False,
    "other_cause": False,
    "systemic": False,
}


def findings(**changes):
    return InfectionFindings(**{**CLEAN, **changes})


@pytest.mark.parametrize(
    ("reach", "grade_2023", "grade_2012", "wifi"),
    [(0.5, 1, 1, 0), (0.51, 2, 2, 1), (1.99, 2, 2, 1), (2.0, 3, 2, 1), (2.01, 3, 3, 2)],
)
def test_redness_beside_warmth_on_both_sides_of_each_boundary(reach, grade_2023, grade_2012, wifi):
    case = findings(erythema_cm=reach, warmth=True)
    assert infection_grade(case).grade == grade_2023
    assert infection_grade(case, erythema_2_cm="mild").grade == grade_2012
    assert wifi_infection(case).grade == wifi


def test_one_local_sign_is_uninfected_and_two_are_mild():
    assert infection_grade(findings(pus=True)).label == "1"
    assert infection_grade(findings(pus=True, warmth=True)).label == "2"


def test_deeper_than_skin_is_moderate():
    assert infection_grade(findings(pus=True, warmth=True, deep=True)).label == "3"
    assert wifi_infection(findings(pus=True, warmth=True, deep=True)).grade == 2


def test_another_cause_explains_the_signs_away():
    assert infection_grade(findings(warmth=True, swelling=True, other_cause=True)).label == "1"


@pytest.mark.parametrize(
    ("temperature", "heart_rate", "label"),
    [(38.0, 90, "2"), (38.4, 96, "4"), (38.1, 90, "2"), (38.0, 91, "2"), (38.1, 91, "4")],
)
def test_redness_and_pus_with_fever_and_pulse(temperature, heart_rate, label):
    signs = systemic_signs(temperature=temperature, heart_rate=heart_rate, respiratory_rate=16, white_cells=8)
    assert infection_grade(findings(erythema_cm=1, pus=True, systemic=signs.two_or_more)).label == label


def test_infected_bone_without_local_signs():
    assert infection_grade(findings(osteomyelitis=True, warmth=True)).label == "3(O)"
    assert infection_grade(findings(osteomyelitis=True, systemic=True)).label == "4(O)"
    assert wifi_infection(findings(osteomyelitis=True)).grade == 2


@pytest.mark.parametrize(
    ("finding", "value", "met"),
    [
        ("temperature", 38.0, False),
        ("temperature", 38.1, True),
        ("temperature", 36.0, False),
        ("temperature", 35.9, True),
        ("heart_rate", 90, False),
        ("heart_rate", 91, True),
        ("respiratory_rate", 20, False),
        ("respiratory_rate", 21, True),
        ("paco2", 4.3, False),
        ("paco2", 4.29, True),
        ("white_cells", 12, False),
        ("white_cells", 12.1, True),
        ("white_cells", 4, False),
        ("white_cells", 3.9, True),
        ("bands_percent", 10, False),
        ("bands_percent", 10.1, True),
    ],
)
def test_systemic_limits_are_strict(finding, value, met):
    signs = systemic_signs(**{finding: value})
    assert bool(signs.met) is met
    assert bool(signs.not_met) is not met


def test_two_findings_of_one_sign_count_once():
    signs = systemic_signs(respiratory_rate=24, paco2=4.0, temperature=37, heart_rate=80, white_cells=8)
    assert signs.met == ("breathing",)
    assert signs.two_or_more is False
