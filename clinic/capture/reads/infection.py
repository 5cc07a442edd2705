"""A measurement as one look for infection, for the standing rules."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, cast

from clinic.guidelines.infection_look import InfectionLook, read_look
from clinic.guidelines.standing_findings import Bone, InfectionFinding, StandingSettings
from clinic.models import Depth, Measurement, Role

__all__ = ["infection_finding", "infection_look"]


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def infection_finding(row: Measurement) -> InfectionFinding:
    """What was looked for at one ulcer, with the measured signs of the whole person at that visit.

    "Looked" is device and dressing off, the five local signs looked for, the wound probed: with no sign at
    all, depth that nobody named is absent too. The probe itself is answered apart, and so is being unwell.
    """
    visit, signs = row.visit, tuple(row.infection_signs)
    deep = row.deep_infection
    if deep is None and row.infection_looked and not signs:
        deep = False
    found = InfectionFinding(
        on=visit.visited_on,
        signs=signs if row.infection_looked else None,
        looked=row.infection_looked,
        redness_mm=_number(row.redness_mm),
        deep=deep,
        unwell=row.unwell,
        other_cause=cast(Any, row.other_cause or None),
        by="podiatrist" if row.created_by_id and row.created_by.role == Role.PODIATRIST else "staff",
        temperature_c=_number(visit.temperature_c),
        pulse_per_min=_number(visit.pulse_per_min),
        breaths_per_min=_number(visit.breaths_per_min),
        white_cells_10e9_per_l=_number(visit.white_cells_10e9_per_l),
    )
    return replace(found, bone=_probed(row, found))


def _probed(row: Measurement, found: InfectionFinding) -> Bone | None:
    """What probe and eye say of the bone: felt alone it is possible, seen as well or with local infection
    probable; seen alone possible (design choice, on the cautious side).
    """
    seen = row.depth == Depth.BONE
    if row.probe_to_bone:
        infected = read_look(found, StandingSettings()).grade >= 2
        return "probable" if seen or infected else "possible"
    if seen:
        return "possible"
    return None if row.probe_to_bone is None else "no"


def infection_look(row: Measurement, settings: StandingSettings) -> InfectionLook:
    """The same look, read by the standing rules."""
    return read_look(infection_finding(row), settings)
