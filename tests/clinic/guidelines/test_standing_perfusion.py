"""Which ischaemia grade stands, whether it is settled, and who is asked: property by property."""

from datetime import date, timedelta

import pytest

from clinic.guidelines.errors import GradingError
from clinic.guidelines.standing import standing
from clinic.guidelines.standing_findings import LimbFindings, PerfusionFinding, StandingSettings

TODAY = date(2026, 5, 1)


def ago(days):
    return TODAY - timedelta(days=days)


def found(days, **values):
    return PerfusionFinding(ago(days), **values)


def blood(*perfusion, operated=(), settings=None, on_track=False):
    findings = LimbFindings(
        perfusion=perfusion,
        revascularised_on=tuple(ago(days) for days in operated),
        healing_on_track=on_track,
    )
    return standing(findings, TODAY, settings).ischaemia


def urgency(state, name="vascular_assessment"):
    order = ("immediate", "one_working_day", "planned")
    return min((r.urgency for r in state.refer if r.id == name), key=order.index, default=None)


@pytest.mark.parametrize(("toe", "grade"), [(60, 0), (59, 1), (40, 1), (39, 2), (30, 2), (29, 3), (0, 3)])
@pytest.mark.parametrize("field", ["toe_pressure_mmhg", "tcpo2_mmhg"])
def test_a_toe_level_value_sets_the_grade_and_settles_it(field, toe, grade):
    """Mills JL et al., J Vasc Surg 2014;59(1):220-234."""
    state = blood(found(3, **{field: toe}))
    assert (state.grade, state.settled, state.from_field, state.on) == (grade, True, field, ago(3))


@pytest.mark.parametrize(
    "values",
    [
        {"ankle_brachial_index": 1.0},
        {"ankle_brachial_index": 1.25, "pulses": "none", "toe_brachial_index": 0.35},
        {"ankle_pressure_mmhg": 140, "ankle_brachial_index": 1.1, "pulses": "both"},
        {"ankle_brachial_index": 0.85},
        {"pulses": "both"},
        {"waveform": "triphasic"},
        {},
    ],
)
def test_a_normal_ankle_or_a_pulse_never_gives_a_grade_by_itself(values):
    state = blood(found(1, **values))
    assert (state.grade, state.settled) == (None, False)
    assert urgency(state) == "planned"
    assert "measure the toe" in " ".join(state.doubts)


@pytest.mark.parametrize(
    ("values", "grade"),
    [
        ({"ankle_brachial_index": 0.75}, 1),
        ({"ankle_brachial_index": 0.45}, 2),
        ({"ankle_pressure_mmhg": 45}, 3),
        ({"ankle_brachial_index": 1.4, "ankle_pressure_mmhg": 160}, None),
    ],
)
def test_a_bad_ankle_value_gives_a_bad_grade_that_is_not_settled(values, grade):
    state = blood(found(1, **values))
    assert (state.grade, state.settled) == (grade, False)


@pytest.mark.parametrize(
    "values",
    [
        {"ankle_brachial_index": 0.89},
        {"ankle_brachial_index": 1.31},
        {"toe_brachial_index": 0.69},
        {"waveform": "monophasic"},
        {"pulses": "none"},
    ],
)
def test_signs_of_arterial_disease_beside_a_good_toe_refer_and_withhold_nothing(values):
    """Fitridge R et al., Diabetes Metab Res Rev 2024;40(3):e3686."""
    state = blood(found(1, toe_pressure_mmhg=70, **values))
    assert (state.grade, state.settled, urgency(state)) == (0, True, "planned")
    assert state.artery_disease is True
    assert [r for r in state.refer if "Arterial disease" in r.because]


@pytest.mark.parametrize("field", ["newly_lost_pulse", "newly_cold", "rest_pain", "worsening"])
def test_a_new_danger_ends_what_was_measured_until_that_day(field):
    assert not blood(found(1, toe_pressure_mmhg=70, **{field: True})).settled
    assert not blood(found(5, toe_pressure_mmhg=70), found(1, **{field: True})).settled
    assert blood(found(5, **{field: True}), found(1, toe_pressure_mmhg=70)).settled


@pytest.mark.parametrize("toe", [12, 35, 45, 59, 60, 80])
@pytest.mark.parametrize(
    ("field", "hurry"),
    [("newly_cold", "immediate"), ("rest_pain", "immediate"), ("newly_lost_pulse", "one_working_day")],
)
@pytest.mark.parametrize("worse_that_day", [False, True])
def test_only_a_toe_value_of_grade_0_ends_the_hurry_of_a_new_danger(field, hurry, toe, worse_that_day):
    rows = [found(5, **{field: True}), found(1, toe_pressure_mmhg=toe)]
    if worse_that_day:
        rows.append(found(1, toe_pressure_mmhg=40))
    state = blood(*rows)
    ended = toe >= 60 and not worse_that_day
    assert urgency(state) == ("immediate" if toe < 30 else None if ended else hurry)
    if hurry == "immediate":
        assert ended == (not state.urgent_events)
        assert state.settled == ended


def test_dead_tissue_stands_until_it_is_found_gone():
    dead = found(5, gangrene=True)
    state = blood(dead, found(1, toe_pressure_mmhg=70))
    assert (state.settled, urgency(state)) == (False, "immediate")
    assert blood(dead, found(1, toe_pressure_mmhg=70, gangrene=False)).settled


def test_a_lost_signal_leaves_doubt_whatever_the_toe_says_until_a_signal_is_found():
    assert not blood(found(5, waveform="absent"), found(1, toe_pressure_mmhg=70)).settled
    assert blood(found(5, waveform="absent"), found(1, toe_pressure_mmhg=70, waveform="biphasic")).settled


def test_a_weaker_or_newer_test_does_not_lift_a_bad_toe_value():
    later = found(0, ankle_brachial_index=1.1, pulses="both", waveform="triphasic", toe_brachial_index=0.9)
    state = blood(found(7, toe_pressure_mmhg=25), later)
    assert (state.grade, state.from_field, state.on) == (3, "toe_pressure_mmhg", ago(7))
    assert urgency(state) == "immediate"


@pytest.mark.parametrize(
    ("bad", "good"), [("toe_pressure_mmhg", "tcpo2_mmhg"), ("tcpo2_mmhg", "toe_pressure_mmhg")]
)
@pytest.mark.parametrize("operated", [(), (60,)])
def test_toe_pressure_and_oxygen_do_not_lift_each_other(bad, good, operated):
    state = blood(found(90, **{bad: 22}), found(1, **{good: 80}), operated=operated)
    assert (state.grade, state.from_field) == (3, bad)
    assert "each lift only themselves" in " ".join(state.contradictions)


def test_oxygen_stands_in_for_a_toe_that_a_podiatrist_found_unmeasurable():
    good = {"tcpo2_mmhg": 55, "toe_unmeasurable": True}
    assert blood(found(30, toe_pressure_mmhg=32), found(1, **good)).grade == 1
    assert blood(found(30, toe_pressure_mmhg=32), found(1, tcpo2_mmhg=55)).grade == 2


def test_one_grade_better_counts_at_once_and_more_needs_a_second_day():
    assert blood(found(30, toe_pressure_mmhg=35), found(1, toe_pressure_mmhg=45)).grade == 1
    once = blood(found(30, toe_pressure_mmhg=22), found(2, toe_pressure_mmhg=65))
    assert (once.grade, once.settled) == (3, False)
    assert "repeat it on another day" in " ".join(once.doubts)
    same_day = blood(
        found(30, toe_pressure_mmhg=22), found(2, toe_pressure_mmhg=65), found(2, toe_pressure_mmhg=70)
    )
    assert same_day.grade == 3
    twice = blood(
        found(30, toe_pressure_mmhg=22), found(2, toe_pressure_mmhg=65), found(1, toe_pressure_mmhg=50)
    )
    assert (twice.grade, twice.settled) == (1, True)


@pytest.mark.parametrize("days", [0, 90, 91, 400, 3000])
def test_a_bad_toe_value_has_no_age(days):
    state = blood(found(days, toe_pressure_mmhg=25))
    assert (state.grade, state.settled, urgency(state)) == (3, True, "immediate")


@pytest.mark.parametrize(
    ("days", "on_track", "counts"),
    [(90, False, True), (91, False, False), (180, True, True), (181, True, False)],
)
def test_a_good_toe_value_counts_for_a_while_and_longer_while_the_wound_heals(days, on_track, counts):
    state = blood(found(days, toe_pressure_mmhg=70), on_track=on_track)
    assert (state.grade, state.settled) == ((0, True) if counts else (None, False))
    mild = blood(found(days, toe_pressure_mmhg=45), on_track=on_track)
    assert (mild.grade, mild.settled) == (1, counts)


def test_the_span_is_the_clinics_own():
    assert not blood(found(31, toe_pressure_mmhg=70), settings=StandingSettings(perfusion_days=30)).settled


@pytest.mark.parametrize("pulses", [None, "both", "one", "none"])
def test_without_a_toe_kit_good_waveforms_with_a_good_index_lift_a_doubt_from_pulses(pulses):
    good = {"waveform": "biphasic", "ankle_brachial_index": 1.0, "pulses": pulses}
    state = blood(found(1, **good))
    assert (state.grade, state.settled) == (0, True)
    assert not blood(found(1, **good), settings=StandingSettings(toe_kit=True)).settled
    for worse in (
        {"ankle_brachial_index": 0.89},
        {"ankle_brachial_index": 1.31},
        {"waveform": "monophasic"},
        {"toe_brachial_index": 0.5},
        {"ankle_pressure_mmhg": 65},
        {"newly_cold": True},
    ):
        assert not blood(found(1, **{**good, **worse})).settled
    assert not blood(found(91, **good)).settled


@pytest.mark.parametrize("toe", [22, 35, 45])
def test_waveforms_never_lift_a_toe_value(toe):
    good = {"waveform": "triphasic", "ankle_brachial_index": 1.0}
    state = blood(found(200, toe_pressure_mmhg=toe), found(1, **good))
    assert state.grade == {22: 3, 35: 2, 45: 1}[toe]
    assert state.grade >= 2 or not state.settled


def test_after_revascularisation_only_a_late_enough_toe_level_value_settles():
    before = found(60, toe_pressure_mmhg=22)
    unmeasured = blood(before, operated=(30,))
    assert (unmeasured.grade, unmeasured.settled) == (3, False)
    assert "before revascularisation" in unmeasured.because
    assert blood(before, found(29, toe_pressure_mmhg=65), operated=(30,)).grade == 0
    assert blood(before, found(30, toe_pressure_mmhg=65), operated=(30,)).grade == 3
    ankle = {"ankle_brachial_index": 1.0, "waveform": "triphasic"}
    assert not blood(found(60, toe_pressure_mmhg=70), found(1, **ankle), operated=(30,)).settled
    oxygen = found(60, tcpo2_mmhg=22)
    assert not blood(oxygen, found(10, tcpo2_mmhg=65), operated=(30,)).settled
    assert blood(oxygen, found(9, tcpo2_mmhg=65), operated=(30,)).settled


def test_a_value_too_soon_after_revascularisation_can_worsen_and_not_mend():
    for bad, better in ((22, 65), (35, 45)):
        before = found(60, tcpo2_mmhg=bad)
        assert blood(before, found(20, tcpo2_mmhg=better), operated=(30,)).grade == blood(before).grade
    assert blood(found(60, tcpo2_mmhg=45), found(20, tcpo2_mmhg=22), operated=(30,)).grade == 3


def test_measurements_fall_due_after_revascularisation_and_are_done_once_taken():
    due = blood(operated=(10,)).due
    assert [(d.first_on, d.last_on) for d in due] == [(ago(-18), ago(-32)), (ago(-74), ago(-88))]
    assert len(blood(found(5, toe_pressure_mmhg=60), operated=(40,)).due) == 1


@pytest.mark.parametrize(
    "values",
    [
        {"toe_pressure_mmhg": 29},
        {"tcpo2_mmhg": 24},
        {"ankle_pressure_mmhg": 49},
        {"ankle_brachial_index": 0.39},
        {"newly_cold": True},
        {"gangrene": True},
        {"rest_pain": True},
    ],
)
@pytest.mark.parametrize("toe", [None, 70])
def test_every_urgent_line_acts_even_beside_a_good_toe_of_the_same_day(values, toe):
    state = blood(found(1, **{"toe_pressure_mmhg": toe, **values}))
    assert state.urgent
    assert urgency(state) == "immediate"
    assert not state.settled or (state.grade or 0) == 3


def test_the_line_for_oxygen_is_the_clinics_own():
    at_27 = found(1, tcpo2_mmhg=27)
    assert not blood(at_27).urgent
    assert blood(at_27, settings=StandingSettings(tcpo2_urgent_below=30)).urgent


def test_ankle_values_from_before_an_operation_alarm_no_more_once_the_toe_is_measured():
    before = found(60, ankle_brachial_index=0.3)
    assert blood(before, operated=(30,)).urgent
    after = blood(before, found(5, toe_pressure_mmhg=65), operated=(30,))
    assert not after.urgent
    assert after.settled


def test_the_sentence_names_grade_value_unit_and_day():
    assert blood(found(50, toe_pressure_mmhg=22)).because == (
        "Ischaemia grade 3 (severe) by toe pressure 22 mmHg on 12 Mar 2026."
    )


def test_a_finding_of_tomorrow_is_refused():
    with pytest.raises(GradingError, match="must not lie after today"):
        blood(found(-1, toe_pressure_mmhg=70))
