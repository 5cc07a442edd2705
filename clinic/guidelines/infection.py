"""How infected is the foot: systemic signs, the IWGDF/IDSA grade and the WIfI infection grade."""

import math
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any, Literal

from clinic.guidelines.errors import GradingError
from clinic.guidelines.unknowns import outcomes

__all__ = [
    "InfectionFindings",
    "InfectionGrade",
    "SystemicSigns",
    "infection_grade",
    "systemic_signs",
    "wifi_infection",
]

Erythema2Cm = Literal["moderate", "mild"]
ERYTHEMA_SOURCES = {
    "moderate": "IWGDF/IDSA 2023: exactly 2 cm is moderate",
    "mild": "IDSA 2012 and WIfI 2014: exactly 2 cm is still mild",
}
BOUNDS = {
    "temperature": (25.0, 45.0, "degrees C"),
    "heart_rate": (0.0, 300.0, "per minute"),
    "respiratory_rate": (0.0, 100.0, "per minute"),
    "paco2": (0.0, 30.0, "kPa"),
    "white_cells": (0.0, 500.0, "x 10^9 per litre"),
    "bands_percent": (0.0, 100.0, "%"),
}


@dataclass(frozen=True)
class SystemicSigns:
    """How many of the four systemic inflammatory signs are met.

    Parameters
    ----------
    met, not_met, unknown : tuple of str
        Of temperature, heart_rate, breathing and white_cells.
    missing : tuple of str
        Findings that would settle the unknown ones.
    """

    met: tuple[str, ...]
    not_met: tuple[str, ...]
    unknown: tuple[str, ...]
    missing: tuple[str, ...]

    @property
    def two_or_more(self) -> bool | None:
        """Whether at least two signs are met; None if that is still open."""
        if len(self.met) >= 2:
            return True
        return None if len(self.met) + len(self.unknown) >= 2 else False


def systemic_signs(
    *,
    temperature: float | None = None,
    heart_rate: float | None = None,
    respiratory_rate: float | None = None,
    paco2: float | None = None,
    white_cells: float | None = None,
    bands_percent: float | None = None,
) -> SystemicSigns:
    """Systemic inflammatory response, sign by sign.

    Parameters
    ----------
    temperature : float or None
        Body temperature; met above 38 or below 36. [degrees C]
    heart_rate : float or None
        Met above 90. [1/min]
    respiratory_rate : float or None
        Met above 20. [1/min]
    paco2 : float or None
        Met below 4.3; stands beside the breathing rate as one sign. [kPa]
    white_cells : float or None
        Met above 12 or below 4. [10^9/L]
    bands_percent : float or None
        Immature forms, met above 10; beside the white cells as one sign. [%]

    Returns
    -------
    SystemicSigns

    Raises
    ------
    GradingError
        If a value is not finite or out of its bounds.

    Notes
    -----
    All limits are strict: exactly 38.0 degrees or 90 per minute does not count. Of a sign with two findings
    one met is enough; it is not met if one was measured and none is met.

    References
    ----------
    .. [1] Senneville E et al., IWGDF/IDSA 2023, Diabetes Metab Res Rev 2024;40(3):e3687 (criteria read in
       secondary pages).
    """
    given = {
        "temperature": temperature,
        "heart_rate": heart_rate,
        "respiratory_rate": respiratory_rate,
        "paco2": paco2,
        "white_cells": white_cells,
        "bands_percent": bands_percent,
    }
    for name, value in given.items():
        low, high, unit = BOUNDS[name]
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            raise GradingError(f"{name} is {value}, must lie from {low:g} to {high:g} {unit}")
    tests: dict[str, tuple[tuple[str, bool | None], ...]] = {
        "temperature": (
            ("temperature", None if temperature is None else temperature > 38 or temperature < 36),
        ),
        "heart_rate": (("heart_rate", None if heart_rate is None else heart_rate > 90),),
        "breathing": (
            ("respiratory_rate", None if respiratory_rate is None else respiratory_rate > 20),
            ("paco2", None if paco2 is None else paco2 < 4.3),
        ),
        "white_cells": (
            ("white_cells", None if white_cells is None else white_cells > 12 or white_cells < 4),
            ("bands_percent", None if bands_percent is None else bands_percent > 10),
        ),
    }
    met, not_met, unknown, missing = [], [], [], []
    for sign, findings in tests.items():
        results = [result for _, result in findings]
        if any(results):
            met.append(sign)
        elif any(result is False for result in results):
            not_met.append(sign)
        else:
            unknown.append(sign)
            missing.append(findings[0][0])
    return SystemicSigns(tuple(met), tuple(not_met), tuple(unknown), tuple(missing))


@dataclass(frozen=True)
class InfectionFindings:
    """What was looked at round one ulcer; None is not looked at.

    Parameters
    ----------
    swelling, tenderness, warmth, pus : bool or None
        Local signs; swelling includes induration, tenderness includes pain.
    erythema_cm : float or None
        Reach of redness from the wound's margin, 0 if none. [cm]
    deep : bool or None
        Infection of tendon, muscle, joint or abscess below the skin and subcutis.
    osteomyelitis : bool or None
        Infected bone.
    other_cause : bool or None
        The signs have another cause (trauma, gout, acute Charcot, fracture, thrombosis, venous stasis).
    systemic : bool or None
        Two or more systemic signs, see :func:`systemic_signs`.
    """

    swelling: bool | None = None
    tenderness: bool | None = None
    warmth: bool | None = None
    pus: bool | None = None
    erythema_cm: float | None = None
    deep: bool | None = None
    osteomyelitis: bool | None = None
    other_cause: bool | None = None
    systemic: bool | None = None


@dataclass(frozen=True)
class InfectionGrade:
    """Infection grade, or what it can still be.

    Parameters
    ----------
    grade : int or None
        The grade if the findings settle it. [-]
    possible : tuple of int
        Every grade the missing findings leave open. [-]
    bone : bool or None
        The (O) mark.
    missing : tuple of str
        Findings that would settle grade and mark.
    """

    grade: int | None
    possible: tuple[int, ...]
    bone: bool | None
    missing: tuple[str, ...]

    @property
    def label(self) -> str:
        """Grade in print, such as ``3(O)``; several grades if it is open."""
        return "-".join(str(g) for g in self.possible) + ("(O)" if self.bone else "")


YES_NO = (False, True)


def _possible_values(boundary: float) -> dict[str, tuple[Any, ...]]:
    flags = ("swelling", "tenderness", "warmth", "pus", "deep", "osteomyelitis", "other_cause", "systemic")
    return {**{name: YES_NO for name in flags}, "erythema_cm": (0.0, 1.0, boundary + 1)}


def _local_signs(f: dict[str, Any]) -> int:
    return sum((f["swelling"], f["tenderness"], f["warmth"], f["pus"], f["erythema_cm"] > 0.5))


def _infected(f: dict[str, Any]) -> bool:
    """Two local signs; where another cause explains the others, pus alone speaks (common practice, no
    source).
    """
    return bool(f["pus"]) if f["other_cause"] else _local_signs(f) >= 2


def _check_erythema(findings: InfectionFindings) -> None:
    reach = findings.erythema_cm
    if reach is not None and not (math.isfinite(reach) and 0 <= reach <= 100):
        raise GradingError(f"erythema_cm is {reach}, must lie from 0 to 100 cm")


# With nothing looked at, some 800 combinations are gone through: 7 ms a grade. The prescribing page grades
# each lesion again at every answer: 75 ms with three lesions, 115 ms without this.
@lru_cache(maxsize=500)
def infection_grade(
    findings: InfectionFindings, *, erythema_2_cm: Erythema2Cm = "moderate"
) -> InfectionGrade:
    """IWGDF/IDSA infection grade with the mark for infected bone.

    Parameters
    ----------
    findings : InfectionFindings
    erythema_2_cm : {"moderate", "mild"}
        What redness of exactly 2 cm means; the editions differ, so it is a setting.

    Returns
    -------
    InfectionGrade

    Raises
    ------
    GradingError
        If the reach of redness is out of 0 to 100 cm or the setting is unknown.

    Notes
    -----
    1: fewer than two local signs. 2: two or more, skin and subcutis only, redness under 2 cm. 3: redness from
    2 cm on, or deeper. 4: any infection with two or more systemic signs. Infected bone without two local
    signs is 3(O), with two systemic signs 4(O). The source counts local signs first; here depth, redness from
    2 cm on and two systemic signs decide alone, the cautious way (design choice). With another cause of the
    signs only pus, depth, bone and systemic signs speak.

    References
    ----------
    .. [1] Senneville E et al., IWGDF/IDSA 2023, Diabetes Metab Res Rev 2024;40(3):e3687 (secondary pages; the
    rule
       for bone without local signs from memory).
    .. [2] Lipsky BA et al., IDSA 2012: redness of exactly 2 cm is mild (secondary pages).
    """
    _check_erythema(findings)
    if erythema_2_cm not in ERYTHEMA_SOURCES:
        raise GradingError(f"erythema_2_cm is {erythema_2_cm}, must be moderate or mild")

    def rule(**f: Any) -> tuple[int, bool]:
        wide = f["erythema_cm"] >= 2 if erythema_2_cm == "moderate" else f["erythema_cm"] > 2
        bone = bool(f["osteomyelitis"])
        if f["systemic"]:
            return 4, bone
        if bone or f["deep"] or (wide and not f["other_cause"]):
            return 3, bone
        return (2 if _infected(f) else 1), False

    left, missing = outcomes(rule, asdict(findings), _possible_values(2.0))
    grades = tuple(sorted({grade for grade, _ in left}))
    marks = {bone for _, bone in left}
    return InfectionGrade(
        grade=grades[0] if len(grades) == 1 else None,
        possible=grades,
        bone=marks.pop() if len(marks) == 1 else None,
        missing=missing,
    )


@lru_cache(maxsize=500)
def wifi_infection(findings: InfectionFindings) -> InfectionGrade:
    """WIfI foot infection grade, 0 to 3, by its own 2014 rule for redness.

    Parameters
    ----------
    findings : InfectionFindings

    Returns
    -------
    InfectionGrade
        With grades 0 none, 1 mild, 2 moderate, 3 severe. [-]

    Raises
    ------
    GradingError
        If the reach of redness is out of 0 to 100 cm.

    Notes
    -----
    Redness of exactly 2 cm is grade 1 here and grade 3 of 4 in the 2023 scheme: the two are not convertible.
    Depth, wide redness and systemic signs decide alone, as in :func:`infection_grade`.

    References
    ----------
    .. [1] Mills JL et al., J Vasc Surg 2014;59(1):220-234, doi:10.1016/j.jvs.2013.08.003 (secondary pages).
    """
    _check_erythema(findings)

    def rule(**f: Any) -> tuple[int, bool]:
        bone = bool(f["osteomyelitis"])
        if f["systemic"]:
            return 3, bone
        if bone or f["deep"] or (f["erythema_cm"] > 2 and not f["other_cause"]):
            return 2, bone
        return (1 if _infected(f) else 0), False

    left, missing = outcomes(rule, asdict(findings), _possible_values(2.0))
    grades = tuple(sorted({grade for grade, _ in left}))
    marks = {bone for _, bone in left}
    return InfectionGrade(
        grade=grades[0] if len(grades) == 1 else None,
        possible=grades,
        bone=marks.pop() if len(marks) == 1 else None,
        missing=missing,
    )
