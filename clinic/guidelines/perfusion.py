"""How much blood reaches the foot: indices, the WIfI ischaemia grade and what asks for an urgent look."""

import math
from dataclasses import dataclass
from typing import Literal

from clinic.guidelines.errors import GradingError

__all__ = ["IschaemiaGrade", "brachial_index", "ischaemia_grade"]

# Lower bounds of grades 0, 1 and 2; below the last is grade 3.
ABI_BOUNDS = (0.80, 0.60, 0.40)
DISTAL_BOUNDS = (60.0, 40.0, 30.0)
INCOMPRESSIBLE_ABI = 1.3
PRESSURE_MAX = 350.0
INDEX_MAX = 3.0
TCPO2_SOURCES = {
    25: "IWGDF Practical Guidelines 2023 (below 25 mmHg)",
    30: "a 2024 review's table of the same guideline, and the WIfI grade 3 line (below 30 mmHg)",
}


@dataclass(frozen=True)
class IschaemiaGrade:
    """WIfI ischaemia grade with how it came about.

    Parameters
    ----------
    grade : int or None
        0 none, 1 mild, 2 moderate, 3 severe; None if no finding decides. [-]
    decided_by : tuple of str
        Findings that gave the grade.
    by_finding : tuple of (str, int)
        The grade each finding would give alone.
    missing : tuple of str
        Findings that would settle it; empty if graded.
    urgent : tuple of str
        Findings below the lines for urgent vascular assessment, each with its line and source.
    notes : tuple of str
        Incompressible arteries, disagreement between findings, borderline values.
    """

    grade: int | None
    decided_by: tuple[str, ...]
    by_finding: tuple[tuple[str, int], ...]
    missing: tuple[str, ...]
    urgent: tuple[str, ...]
    notes: tuple[str, ...]


def _checked(name: str, value: float | None, high: float, unit: str) -> None:
    if value is None:
        return
    if not (math.isfinite(value) and 0 <= value <= high):
        raise GradingError(f"{name} is {value}, must lie from 0 to {high:g} {unit}".rstrip())


def brachial_index(pressure: float, brachial: float) -> float:
    """Ankle-brachial or toe-brachial index.

    Parameters
    ----------
    pressure : float
        Systolic pressure at ankle or toe. [mmHg]
    brachial : float
        Higher of the two arms' systolic pressures. [mmHg]

    Returns
    -------
    float
        Their ratio. [-]

    Raises
    ------
    GradingError
        If a pressure is out of 0 to 350 mmHg or the brachial pressure is 0.

    Examples
    --------
    >>> round(brachial_index(72, 140), 3)
    0.514
    """
    _checked("pressure", pressure, PRESSURE_MAX, "mmHg")
    _checked("brachial", brachial, PRESSURE_MAX, "mmHg")
    if brachial == 0:
        raise GradingError("brachial is 0, must be above 0 mmHg")
    return pressure / brachial


def _grade(value: float, bounds: tuple[float, ...]) -> int:
    return sum(value < bound for bound in bounds)


def _ankle_grade(pressure: float) -> int:
    # The published rows share 70 mmHg and leave 100 to grade 1; 70 counts as grade 1 (design choice).
    return 0 if pressure > 100 else 1 if pressure >= 70 else 2 if pressure >= 50 else 3


def ischaemia_grade(
    *,
    ankle_pressure: float | None = None,
    ankle_brachial: float | None = None,
    toe_pressure: float | None = None,
    tcpo2: float | None = None,
    tcpo2_urgent_below: Literal[25, 30] = 25,
) -> IschaemiaGrade:
    """WIfI ischaemia grade from the findings at hand.

    Parameters
    ----------
    ankle_pressure, toe_pressure, tcpo2 : float or None
        Systolic pressures and transcutaneous oxygen; None is missing. [mmHg]
    ankle_brachial : float or None
        Ankle-brachial index. [-]
    tcpo2_urgent_below : {25, 30}
        Line for urgent assessment; the sources disagree, so it is a setting. [mmHg]

    Returns
    -------
    IschaemiaGrade

    Raises
    ------
    GradingError
        If a finding is negative, not finite or beyond 350 mmHg (index 3).

    Notes
    -----
    Toe pressure and TcPO2 decide where they are measured, since stiff arteries raise ankle values; of the two
    the worse counts, and so of ankle pressure and index (design choice, the cautious way). An index over 1.3
    means arteries that cannot be compressed: the ankle then decides nothing. Values between the printed steps
    (index 0.795) take the worse grade.

    References
    ----------
    .. [1] Mills JL et al., J Vasc Surg 2014;59(1):220-234, doi:10.1016/j.jvs.2013.08.003, ischaemia table as
       reproduced in PMC11279131, table 2.
    .. [2] Fitridge R et al., intersocietal guideline 2023, Diabetes Metab Res Rev 2024;40(3):e3686: urgent
    lines.
    """
    for name, pressure in (
        ("ankle_pressure", ankle_pressure),
        ("toe_pressure", toe_pressure),
        ("tcpo2", tcpo2),
    ):
        _checked(name, pressure, PRESSURE_MAX, "mmHg")
    _checked("ankle_brachial", ankle_brachial, INDEX_MAX, "")
    if tcpo2_urgent_below not in TCPO2_SOURCES:
        raise GradingError(f"tcpo2_urgent_below is {tcpo2_urgent_below}, must be 25 or 30 mmHg")

    notes: list[str] = []
    distal = {
        name: _grade(value, DISTAL_BOUNDS)
        for name, value in (("toe_pressure", toe_pressure), ("tcpo2", tcpo2))
        if value is not None
    }
    proximal: dict[str, int] = {}
    incompressible = ankle_brachial is not None and ankle_brachial > INCOMPRESSIBLE_ABI
    if incompressible:
        notes.append(
            "The ankle-brachial index is over 1.3: arteries cannot be compressed, the ankle decides nothing."
        )
    else:
        if ankle_brachial is not None:
            proximal["ankle_brachial"] = _grade(ankle_brachial, ABI_BOUNDS)
        if ankle_pressure is not None:
            proximal["ankle_pressure"] = _ankle_grade(ankle_pressure)

    deciding = distal or proximal
    grade = max(deciding.values(), default=None)
    if len({*distal.values(), *proximal.values()}) > 1:
        notes.append(
            "Findings disagree: "
            + ", ".join(f"{name} gives {g}" for name, g in {**distal, **proximal}.items())
            + (". The toe decides." if distal and proximal else ". The worse counts.")
        )
    if tcpo2 is not None and 25 <= tcpo2 < 30:
        notes.append("TcPO2 is 25 to 29 mmHg: borderline, the sources put the urgent line at 25 and at 30.")

    urgent: list[str] = []
    if ankle_pressure is not None and not incompressible and ankle_pressure < 50:
        urgent.append("ankle pressure below 50 mmHg (intersocietal guideline 2023)")
    if ankle_brachial is not None and ankle_brachial < 0.4:
        urgent.append("ankle-brachial index below 0.4 (intersocietal guideline 2023)")
    if toe_pressure is not None and toe_pressure < 30:
        urgent.append("toe pressure below 30 mmHg (intersocietal guideline 2023)")
    if tcpo2 is not None and tcpo2 < tcpo2_urgent_below:
        urgent.append(f"TcPO2 below {tcpo2_urgent_below} mmHg ({TCPO2_SOURCES[tcpo2_urgent_below]})")

    return IschaemiaGrade(
        grade=grade,
        decided_by=tuple(name for name, g in deciding.items() if g == grade),
        by_finding=tuple({**proximal, **distal}.items()),
        missing=()
        if grade is not None
        else ("toe_pressure", "tcpo2")
        if incompressible
        else ("ankle_pressure", "ankle_brachial", "toe_pressure", "tcpo2"),
        urgent=tuple(urgent),
        notes=tuple(notes),
    )
