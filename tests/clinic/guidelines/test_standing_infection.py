"""Which infection grade stands, what lifts it, and who is asked: property by property."""

import itertools
from datetime import date, timedelta

import pytest

from clinic.guidelines.grading import wifi_infection
from clinic.guidelines.infection import InfectionFindings, infection_grade
from clinic.guidelines.standing import facts_of, standing
from clinic.guidelines.standing_findings import (
    SIGNS,
    InfectionFinding,
    LimbFindings,
    PerfusionFinding,
    StandingSettings,
)

TODAY = date(2026, 5, 1)
WELL = {"deep": False, "bone": "no", "unwell": False}
CLEAN = {"signs": (), "looked": True, **WELL}
ILL = {"temperature_c": 38.4, "pulse_per_min": 96}


def ago(days):
    return TODAY - timedelta(days=days)


def look(days, **values):
    return InfectionFinding(ago(days), **values)


def clean(days, by="staff"):
    return look(days, **CLEAN, by=by)


def state_of(*infection, settings=None):
    well_fed = PerfusionFinding(TODAY, toe_pressure_mmhg=75)
    return standing(LimbFindings(perfusion=(well_fed,), infection=infection), TODAY, settings)


def infection(*looks, settings=None):
    return state_of(*looks, settings=settings).infection


def urgency(state, name="infection_assessment"):
    return next((r.urgency for r in state.refer if r.id == name), None)


def test_a_look_with_nothing_listed_is_clean_and_a_list_without_a_look_is_not():
    assert infection(look(0, looked=True)).grade == 1
    assert infection(look(0, signs=())).grade is None
    assert infection(look(0, signs=("warmth",))).grade is None
    assert infection(look(0, signs=("warmth", "pus"))).grade == 2


def test_over_every_pair_of_findings_depth_is_moderate_and_two_systemic_signs_are_severe():
    """Every combination of the five signs, redness, depth and systemic signs, with and without another
    cause.
    """
    answered = 0
    for count in range(6):
        for signs in itertools.combinations(SIGNS, count):
            for reach, deep, ill, cause in itertools.product(
                (None, 3, 19, 20, 30),
                (None, False, True),
                ({}, {"temperature_c": 38.4}, ILL),
                (None, "charcot"),
            ):
                found = look(
                    0,
                    signs=signs,
                    looked=True,
                    redness_mm=reach,
                    deep=deep,
                    other_cause=cause,
                    by="podiatrist",
                    **ill,
                )
                grade = infection(found).grade
                answered += 1
                if ill == ILL:
                    assert grade == 4
                elif deep or (reach is not None and reach >= 20 and cause is None):
                    assert grade == 3
                elif cause is not None:
                    assert grade == (1 if "pus" not in signs else 3 if ill else 2)
                else:
                    assert grade >= (2 if count >= 2 else 1)
                    assert not (ill and grade == 2)
    assert answered == 2880


def test_the_grading_functions_too_never_talk_down_depth_or_systemic_signs():
    """All 1,536 combinations that graded 1 where depth or two systemic signs were found."""
    flags = ("swelling", "tenderness", "warmth", "pus", "deep", "osteomyelitis", "other_cause", "systemic")
    for values in itertools.product((False, True), repeat=len(flags)):
        for reach in (0.0, 1.0, 2.0, 3.0):
            found = InfectionFindings(**dict(zip(flags, values, strict=True)), erythema_cm=reach)
            grade, foot = infection_grade(found).grade, wifi_infection(found).grade
            if found.systemic:
                assert (grade, foot) == (4, 3)
            elif found.deep or found.osteomyelitis or reach == 3.0 and not found.other_cause:
                assert (grade, foot) == (3, 2)


def test_unwell_that_nobody_measured_makes_no_grade_and_forbids_what_stays_on():
    state = state_of(look(0, **{**CLEAN, "unwell": True}))
    assert state.infection.grade == 1
    assert not state.non_removable_allowed
    assert urgency(state) == "immediate"
    assert "Measure temperature" in " ".join(state.infection.asks)


def test_unwell_measured_and_found_normal_is_answered():
    normal = {"temperature_c": 37, "pulse_per_min": 80, "breaths_per_min": 14, "white_cells_10e9_per_l": 8}
    assert state_of(look(0, **{**CLEAN, "unwell": True}, **normal)).non_removable_allowed


def test_one_systemic_sign_makes_an_infection_moderate_and_asks_for_the_rest():
    state = infection(look(0, signs=("pus", "warmth"), looked=True, temperature_c=38.4))
    assert state.grade == 3
    assert "Measure heart rate, respiratory rate and white cells" in " ".join(state.asks)


@pytest.mark.parametrize("cause", ["charcot", "gout", "fracture", "venous"])
def test_another_cause_counts_when_a_podiatrist_names_it(cause):
    hot = {"signs": ("swelling", "redness", "warmth"), "looked": True, "redness_mm": 60, **WELL}
    assert infection(look(0, **hot, other_cause=cause, by="podiatrist")).grade == 1
    for by in ("staff", None):
        state = infection(look(0, **hot, other_cause=cause, by=by))
        assert state.grade == 3
        assert "not named by a podiatrist" in " ".join(state.contradictions)


def test_the_hot_charcot_foot_keeps_its_treating_device_and_is_referred():
    state = state_of(
        look(
            0,
            signs=("swelling", "redness", "warmth"),
            looked=True,
            **WELL,
            other_cause="charcot",
            by="podiatrist",
        )
    )
    assert state.non_removable_allowed
    assert urgency(state, "charcot_assessment") == "one_working_day"


def test_thrombosis_forbids_and_refers_at_once_until_a_podiatrist_finds_the_foot_clean():
    suspected = look(3, **CLEAN, other_cause="thrombosis", by="podiatrist")
    for looks in ((suspected,), (suspected, clean(1))):
        state = state_of(*looks)
        assert not state.non_removable_allowed
        assert urgency(state, "vascular_assessment") == "immediate"
        assert "suspected thrombosis" in state.override_barred
    assert state_of(suspected, clean(1, by="podiatrist")).non_removable_allowed


@pytest.mark.parametrize("days", [1, 30, 400, 3000])
@pytest.mark.parametrize("values", [{"deep": True}, {"signs": ("pus", "warmth")}, ILL, {"bone": "proven"}])
def test_a_bad_finding_stands_with_its_day_until_somebody_looks(days, values):
    today = standing(LimbFindings(infection=(look(days, **values),)), ago(days))
    later = standing(LimbFindings(infection=(look(days, **values),)), TODAY)
    assert (later.infection.grade, later.infection.on) == (today.infection.grade, ago(days))
    assert later.infection.standing
    assert not today.infection.standing
    assert later.refer == today.refer


def test_mild_infection_is_lifted_by_one_clean_look_on_a_later_day():
    mild = look(3, signs=("pus", "warmth"), looked=True)
    assert infection(mild, clean(3)).grade == 2
    assert infection(mild, clean(1)).grade == 1


@pytest.mark.parametrize("sign", SIGNS)
def test_a_look_that_finds_one_sign_is_uninfected_but_lifts_nothing(sign):
    one = look(1, **{**CLEAN, "signs": (sign,)})
    assert infection(one).grade == 1
    assert infection(look(3, signs=("pus", "warmth"), looked=True), one).grade == 2


@pytest.mark.parametrize("values", [{"deep": True}, {"redness_mm": 30}, ILL])
def test_more_than_mild_is_lifted_by_two_clean_looks_apart_the_second_a_podiatrists(values):
    bad = look(9, **values)
    stands = infection(bad).grade
    for looks in (
        (clean(5),),
        (clean(5), clean(1)),
        (clean(5, by="podiatrist"), clean(1)),
        (clean(2, by="podiatrist"), clean(1, by="podiatrist")),
        (clean(5), look(3, signs=("pus", "warmth"), looked=True), clean(2, by="podiatrist")),
        (clean(9), clean(1, by="podiatrist")),
    ):
        assert infection(bad, *looks).grade == stands
    assert infection(bad, clean(5), clean(3, by="podiatrist")).grade == 1
    assert infection(bad, clean(5), clean(4), clean(3, by="podiatrist")).grade == 1


def test_a_look_at_an_ill_person_lifts_nothing():
    mild = look(3, signs=("pus", "warmth"), looked=True)
    assert infection(mild, look(1, **{**CLEAN, "unwell": True})).grade == 2


def test_infected_bone_is_lifted_by_a_signed_end_of_treatment_only():
    bad = look(30, bone="probable")
    state = infection(bad, clean(5), clean(1, by="podiatrist"))
    assert (state.bone, state.grade) == ("probable", 3)
    assert "signs that treatment is completed" in " ".join(state.contradictions)
    assert infection(bad, look(1, bone_treated=True, by="staff")).bone == "probable"
    treated = infection(bad, look(1, **CLEAN, bone_treated=True, by="podiatrist"))
    assert (treated.bone, treated.grade) == ("no", 1)
    assert infection(look(1, bone_treated=True, by="podiatrist")).bone is None


def test_possible_bone_infection_is_not_known_and_asks_for_a_picture():
    state = state_of(look(0, **{**CLEAN, "bone": "possible"}))
    assert (state.infection.grade, state.infection.bone) == (1, "possible")
    assert facts_of(state.ischaemia, state.infection).osteomyelitis is None
    assert not state.non_removable_allowed
    assert urgency(state) == "planned"


@pytest.mark.parametrize(
    ("unlooked", "words"),
    [
        ("deep", "Infection beneath the skin: not looked for."),
        ("bone", "Bone infection: not looked for."),
        ("unwell", "Fever or unwell: not asked."),
    ],
)
def test_depth_bone_and_fever_not_looked_at_forbid_what_stays_on_and_are_named(unlooked, words):
    assert state_of(look(0, **CLEAN)).non_removable_allowed
    assert state_of(look(0, **{**CLEAN, unlooked: None})).withheld_because == (words,)


def test_redness_that_nobody_measured_forbids_what_stays_on():
    mild = {"signs": ("redness", "warmth"), "looked": True, **WELL}
    assert state_of(look(0, **mild, redness_mm=10)).non_removable_allowed
    assert not state_of(look(0, **mild)).non_removable_allowed


def test_signs_seen_without_a_full_look_forbid_what_stays_on_until_there_is_one():
    for seen in (look(1, signs=("redness",)), look(1, signs=("warmth",)), look(1, redness_mm=4)):
        assert not state_of(clean(2), seen).non_removable_allowed
        assert not state_of(clean(2), seen, look(0, signs=("swelling", "warmth"))).non_removable_allowed
        assert state_of(clean(2), seen, clean(0)).non_removable_allowed


@pytest.mark.parametrize(("days", "counts"), [(0, True), (7, True), (8, False)])
def test_a_clean_look_counts_for_the_clinics_span_and_for_fitting_the_same_day_only(days, counts):
    state = state_of(clean(days))
    assert (state.infection.grade, state.non_removable_allowed) == ((1, True) if counts else (None, False))
    assert state.fits_today is (days == 0)
    assert not state_of(clean(1), settings=StandingSettings(look_days=0)).non_removable_allowed


@pytest.mark.parametrize(("reading", "grade"), [("moderate", 3), ("mild", 2)])
def test_redness_of_exactly_2_cm_is_the_clinics_reading(reading, grade):
    found = look(0, signs=("redness", "warmth"), looked=True, redness_mm=20)
    assert infection(found, settings=StandingSettings(erythema_2_cm=reading)).grade == grade


@pytest.mark.parametrize(
    ("values", "barred"),
    [
        (ILL, "infection grade 4"),
        ({"deep": True}, "abscess or infection beneath the skin"),
        ({"redness_mm": 30}, None),
    ],
)
def test_what_no_second_signature_overrides(values, barred):
    assert list(state_of(look(0, **values)).override_barred) == ([barred] if barred else [])


def test_gangrene_is_never_overridden_while_it_stands():
    findings = LimbFindings(perfusion=(PerfusionFinding(ago(5), gangrene=True),))
    assert standing(findings, TODAY).override_barred == ("gangrene",)


def test_the_sentence_names_grade_signs_and_day():
    state = infection(look(2, signs=("pus", "redness"), redness_mm=25, looked=True))
    assert state.because == (
        "Infection grade 3 (moderate) by pus, redness of 25 mm on 29 Apr 2026. Nobody has looked again since."
    )
