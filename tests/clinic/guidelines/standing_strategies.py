"""Hypothesis strategies for the dated findings of one foot, and what makes a finding bad."""

from dataclasses import fields
from datetime import date, timedelta

from hypothesis import strategies as st

from clinic.guidelines.standing_findings import (
    BONE,
    CAUSES,
    SIGNS,
    InfectionFinding,
    LimbFindings,
    PerfusionFinding,
)

TODAY = date(2026, 5, 1)
# Days close together, so that findings meet on one day and stand two days apart; a few long ago.
days = st.sampled_from([0, 0, 1, 2, 3, 4, 5, 7, 8, 20, 21, 22, 40, 89, 90, 91, 180, 181, 400]).map(
    lambda ago: TODAY - timedelta(days=ago)
)
yes_no = st.sampled_from([None, None, False, True])


def maybe(strategy):
    return st.none() | strategy


# Values at and on both sides of every line a rule draws.
values = {
    "ankle_brachial_index": st.sampled_from(
        [0.2, 0.39, 0.4, 0.55, 0.79, 0.8, 0.89, 0.9, 1.1, 1.3, 1.31, 1.8]
    ),
    "toe_brachial_index": st.sampled_from([0.2, 0.69, 0.7, 1.0]),
    "ankle_pressure_mmhg": st.sampled_from([30, 49, 50, 69, 70, 100, 101, 140]),
    "toe_pressure_mmhg": st.sampled_from([12, 22, 29, 30, 39, 40, 59, 60, 85]),
    "tcpo2_mmhg": st.sampled_from([12, 24, 25, 29, 30, 39, 40, 59, 60, 70]),
    "redness_mm": st.sampled_from([0, 3, 5, 6, 19, 20, 30]),
    "temperature_c": st.sampled_from([35.9, 36, 37, 38.0, 38.4]),
    "pulse_per_min": st.sampled_from([70, 90, 96]),
    "breaths_per_min": st.sampled_from([14, 20, 24]),
    "white_cells_10e9_per_l": st.sampled_from([3, 8, 14]),
    "pulses": st.sampled_from(["both", "one", "none"]),
    "waveform": st.sampled_from(["triphasic", "biphasic", "monophasic", "absent"]),
    "bone": st.sampled_from(BONE),
    "other_cause": st.sampled_from(CAUSES),
    "by": st.sampled_from(["podiatrist", "staff"]),
    "signs": st.lists(st.sampled_from(SIGNS), max_size=5, unique=True).map(tuple),
}


def _finding(kind):
    named = {
        f.name: maybe(values[f.name]) if f.name in values else yes_no for f in fields(kind) if f.name != "on"
    }
    return st.builds(kind, on=days, **named)


perfusion_findings = _finding(PerfusionFinding)
infection_findings = _finding(InfectionFinding)
clean_look = st.builds(
    InfectionFinding,
    on=days,
    signs=st.just(()),
    looked=st.just(True),
    deep=st.just(False),
    bone=st.just("no"),
    unwell=st.just(False),
    by=st.sampled_from(["podiatrist", "staff"]),
)
good_toe = st.builds(PerfusionFinding, on=days, toe_pressure_mmhg=st.sampled_from([45, 65, 85]))
any_findings = st.builds(
    LimbFindings,
    perfusion=st.lists(perfusion_findings | good_toe, max_size=5).map(tuple),
    infection=st.lists(infection_findings | clean_look, max_size=5).map(tuple),
    revascularised_on=st.lists(days, max_size=1).map(tuple),
    healing_on_track=st.booleans(),
)
# Mostly good, so that a device that stays on is often allowed and a law about losing it is put to the test.
good_findings = st.builds(
    LimbFindings,
    perfusion=st.lists(good_toe, min_size=1, max_size=3).map(tuple),
    infection=st.lists(clean_look, min_size=1, max_size=3).map(tuple),
)
