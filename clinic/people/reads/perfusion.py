"""Rows of findings on a foot as findings of its blood supply, for the standing rules; and the clinic's own
settings of those rules.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any, Literal, cast

from clinic.guidelines.standing_findings import LimbFindings, PerfusionFinding, StandingSettings
from clinic.guidelines.standing_perfusion import perfusion_state
from clinic.guidelines.standing_state import PerfusionState
from clinic.models import LimbFinding, Pulse, Role, Site

__all__ = ["artery_disease", "ischaemia_of", "perfusion_finding", "standing_settings", "stands"]


def standing_settings(site: Site) -> StandingSettings:
    """What the clinic set for the standing rules."""
    return StandingSettings(
        perfusion_days=site.perfusion_fresh_days,
        perfusion_days_healing=max(site.perfusion_healing_days, site.perfusion_fresh_days),
        look_days=site.infection_look_days,
        looks_apart_days=site.looks_apart_days,
        toe_kit=site.toe_kit,
        tcpo2_urgent_below=cast(Literal[25, 30], site.tcpo2_urgent_mmhg),
        erythema_2_cm=cast(Literal["moderate", "mild"], site.erythema_2_cm),
    )


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _pulses(row: LimbFinding) -> Literal["both", "one", "none"] | None:
    """One pulse not felt counts even where nobody felt for the other; one felt alone says nothing yet."""
    answers = [row.dorsalis_pedis, row.posterior_tibial]
    if Pulse.ABSENT in answers:
        return "none" if answers == [Pulse.ABSENT, Pulse.ABSENT] else "one"
    return "both" if answers == [Pulse.PRESENT, Pulse.PRESENT] else None


def perfusion_finding(row: LimbFinding) -> PerfusionFinding:
    """One row; its author's role says whether a toe counts as unmeasurable."""
    because = row.toe_unmeasurable_because.strip()
    return PerfusionFinding(
        on=row.found_on,
        ankle_brachial_index=_number(row.ankle_index),
        ankle_pressure_mmhg=_number(row.ankle_pressure_mmhg),
        toe_pressure_mmhg=_number(row.toe_pressure_mmhg),
        toe_brachial_index=_number(row.toe_index),
        tcpo2_mmhg=_number(row.tcpo2_mmhg),
        pulses=_pulses(row),
        waveform=cast(Any, row.waveform or None),
        newly_lost_pulse=row.newly_lost_pulse,
        newly_cold=row.newly_cold,
        rest_pain=row.rest_pain,
        gangrene=row.dead_tissue,
        toe_unmeasurable=True if because and row.created_by.role == Role.PODIATRIST else None,
    )


def _state(
    rows: Iterable[LimbFinding], revascularised_on: Iterable[date], site: Site | None, day: date
) -> PerfusionState:
    findings = LimbFindings(
        perfusion=tuple(perfusion_finding(row) for row in rows if row.found_on <= day),
        revascularised_on=tuple(on for on in revascularised_on if on <= day),
    )
    return perfusion_state(findings, day, standing_settings(site) if site else StandingSettings())


def artery_disease(
    rows: Iterable[LimbFinding], revascularised_on: Iterable[date], site: Site | None, day: date
) -> bool | None:
    """Whether anything found on a foot speaks for disease of its arteries; None with nothing looked at."""
    return _state(rows, revascularised_on, site, day).artery_disease


def ischaemia_of(
    rows: Iterable[LimbFinding], revascularised_on: Iterable[date], site: Site, day: date
) -> int | None:
    """WIfI ischaemia grade by what was found on a foot until a day; None where it was not known."""
    return _state(rows, revascularised_on, site, day).grade


def stands(row: LimbFinding, day: date) -> bool:
    """Whether what one row found stands however old it is."""
    state = _state([row], (), None, day)
    return bool(state.artery_disease and (state.grade is None or state.grade >= 2))
