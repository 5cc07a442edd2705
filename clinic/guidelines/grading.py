"""The grades of an ulcer and of a foot at risk: SINBAD, WIfI stage, Texas, risk category.

Grades of infection and ischaemia have modules of their own and are named here too, so that callers find every
grade in one place. A missing finding is named, never guessed.
"""

import math
from dataclasses import dataclass
from typing import Literal

from clinic.guidelines.errors import GradingError
from clinic.guidelines.infection import (
    InfectionFindings,
    InfectionGrade,
    SystemicSigns,
    infection_grade,
    systemic_signs,
    wifi_infection,
)
from clinic.guidelines.perfusion import IschaemiaGrade, brachial_index, ischaemia_grade
from clinic.guidelines.unknowns import outcomes

__all__ = [
    "SINBAD_CAUTION",
    "Grade",
    "InfectionFindings",
    "InfectionGrade",
    "IschaemiaGrade",
    "Risk",
    "Sinbad",
    "SystemicSigns",
    "brachial_index",
    "infection_grade",
    "ischaemia_grade",
    "risk_category",
    "sinbad",
    "systemic_signs",
    "texas",
    "wifi_infection",
    "wifi_stage",
    "wifi_wound",
]

YES_NO = (False, True)
SINBAD_SEVERE_FROM = 3
SINBAD_CAUTION = "For communication and audit; not for predicting one patient's outcome."

# [ischaemia][wound] -> stage for foot infection 0 to 3 (Mills 2014; cells from memory, monotone, 6/10/16/32).
WIFI_STAGE: tuple[tuple[str, ...], ...] = (
    ("1123", "1123", "2234", "3344"),
    ("1234", "1234", "3344", "4444"),
    ("2234", "2344", "3444", "4444"),
    ("2334", "3344", "4444", "4444"),
)
RISK_INTERVAL_MONTHS = {0: (12, 12), 1: (6, 12), 2: (3, 6), 3: (1, 3)}


@dataclass(frozen=True)
class Sinbad:
    """SINBAD by its six parts; report the parts, not the total alone.

    Parameters
    ----------
    parts : tuple of (str, int or None)
        Site, ischaemia, neuropathy, bacterial infection, area, depth; None is missing. [-]
    total : int or None
        Sum, only if every part is known. [-]
    at_least, at_most : int
        Bounds of the sum. [-]
    severe : bool or None
        Whether the sum is 3 or more, if that is already certain.
    missing : tuple of str
    """

    parts: tuple[tuple[str, int | None], ...]
    total: int | None
    at_least: int
    at_most: int
    severe: bool | None
    missing: tuple[str, ...]


@dataclass(frozen=True)
class Grade:
    """A grade, or what it can still be.

    Parameters
    ----------
    value : str or None
        In print; None if missing findings leave it open.
    possible : tuple of str
    missing : tuple of str
        Findings that would settle it.
    """

    value: str | None
    possible: tuple[str, ...]
    missing: tuple[str, ...]


@dataclass(frozen=True)
class Risk:
    """Risk category of a foot with its follow-up interval.

    Parameters
    ----------
    category : int or None
        0 very low to 3 high. [-]
    possible : tuple of int
    interval_months : (int, int) or None
        Shortest and longest time to the next look; of the worst category left open. [months]
    missing : tuple of str
    """

    category: int | None
    possible: tuple[int, ...]
    interval_months: tuple[int, int] | None
    missing: tuple[str, ...]


def sinbad(
    *,
    mid_or_hindfoot: bool | int | None = None,
    flow_reduced: bool | None = None,
    sensation_lost: bool | None = None,
    infected: bool | None = None,
    area_cm2: float | None = None,
    muscle_or_deeper: bool | None = None,
) -> Sinbad:
    """SINBAD score of one ulcer.

    Parameters
    ----------
    mid_or_hindfoot : bool or None
        1 if on midfoot or hindfoot, 0 on the forefoot or toes.
    flow_reduced : bool or None
        Clinical evidence of reduced pedal flow; no, if a foot pulse can be felt.
    sensation_lost : bool or None
        Protective sensation lost.
    infected : bool or None
        Bacterial infection present.
    area_cm2 : float or None
        Counts from 1 on. [cm^2]
    muscle_or_deeper : bool or None
        Reaching muscle, tendon or deeper.

    Returns
    -------
    Sinbad

    Raises
    ------
    GradingError
        If the area is negative or not finite.

    Notes
    -----
    Not for predicting one person's outcome. "Severe" from 3 on is the English and Welsh audit's word (from
    memory).

    References
    ----------
    .. [1] Ince P et al., Diabetes Care 2008;31(5):964-967 (item definitions from secondary pages and memory).
    """
    if area_cm2 is not None and not (math.isfinite(area_cm2) and 0 <= area_cm2 <= 1000):
        raise GradingError(f"area_cm2 is {area_cm2}, must lie from 0 to 1000 cm2")
    if mid_or_hindfoot not in (None, 0, 1):
        raise GradingError(f"mid_or_hindfoot is {mid_or_hindfoot}, must be 0 or 1")
    given = {
        "site": mid_or_hindfoot,
        "ischaemia": flow_reduced,
        "neuropathy": sensation_lost,
        "bacterial_infection": infected,
        "area": None if area_cm2 is None else area_cm2 >= 1,
        "depth": muscle_or_deeper,
    }
    parts = tuple((name, None if value is None else int(value)) for name, value in given.items())
    missing = tuple(name for name, value in parts if value is None)
    at_least = sum(value or 0 for _, value in parts)
    at_most = at_least + len(missing)
    severe: bool | None = None
    if at_least >= SINBAD_SEVERE_FROM:
        severe = True
    elif at_most < SINBAD_SEVERE_FROM:
        severe = False
    return Sinbad(parts, None if missing else at_least, at_least, at_most, severe, missing)


def wifi_wound(
    *,
    ulcer: bool | None = None,
    reaches: Literal["skin", "distal_phalanx", "bone_joint_or_tendon"] | None = None,
    heel: bool | None = None,
    extensive: bool | None = None,
    gangrene: Literal["none", "digits", "extensive"] | None = None,
) -> Grade:
    """WIfI wound grade, 0 to 3.

    Parameters
    ----------
    ulcer : bool or None
        An ulcer is there.
    reaches : str or None
        Deepest tissue exposed; bone of the distal phalanx alone still counts as shallow.
    heel : bool or None
        On the heel.
    extensive : bool or None
        Covers much of the forefoot or midfoot.
    gangrene : str or None
        None, of digits only, or beyond them (full-thickness heel necrosis too).

    Returns
    -------
    Grade

    Notes
    -----
    0 no ulcer, no gangrene; 1 small and shallow; 2 deeper with bone, joint or tendon exposed, or shallow on
    the heel, or gangrene of digits; 3 extensive and deep, or deep on the heel, or gangrene beyond the digits.

    References
    ----------
    .. [1] Mills JL et al., J Vasc Surg 2014;59(1):220-234, doi:10.1016/j.jvs.2013.08.003 (secondary pages).
    """

    def rule(*, ulcer: bool, reaches: str, heel: bool, extensive: bool, gangrene: str) -> str:
        deep = ulcer and reaches == "bone_joint_or_tendon"
        if gangrene == "extensive" or (deep and (heel or extensive)):
            return "3"
        if gangrene == "digits" or deep or (ulcer and heel):
            return "2"
        return "1" if ulcer else "0"

    findings = {
        "ulcer": ulcer,
        "reaches": reaches,
        "heel": heel,
        "extensive": extensive,
        "gangrene": gangrene,
    }
    left, missing = outcomes(
        rule,
        findings,
        {
            "ulcer": YES_NO,
            "reaches": ("skin", "bone_joint_or_tendon"),
            "heel": YES_NO,
            "extensive": YES_NO,
            "gangrene": ("none", "digits", "extensive"),
        },
    )
    return _grade_of(left, missing)


def _grade_of(left: frozenset[str], missing: tuple[str, ...]) -> Grade:
    possible = tuple(sorted(left))
    return Grade(possible[0] if len(possible) == 1 else None, possible, missing)


def wifi_stage(wound: int | None, ischaemia: int | None, infection: int | None) -> Grade:
    """WIfI clinical stage, 1 (very low) to 4 (high), of one-year amputation risk.

    Parameters
    ----------
    wound, ischaemia, infection : int or None
        WIfI grades, 0 to 3. [-]

    Returns
    -------
    Grade

    Raises
    ------
    GradingError
        If a grade is out of 0 to 3.

    Notes
    -----
    A table of 64 cells; the stage does not follow from the sum of the grades. Stage 5, a foot that cannot be
    saved, is outside the table.

    References
    ----------
    .. [1] Mills JL et al., J Vasc Surg 2014;59(1):220-234, doi:10.1016/j.jvs.2013.08.003 (cells from memory).

    Examples
    --------
    >>> wifi_stage(2, 1, 0).value
    '3'
    """
    findings = {"wound": wound, "ischaemia": ischaemia, "infection": infection}
    for name, value in findings.items():
        if value is not None and (isinstance(value, bool) or value not in (0, 1, 2, 3)):
            raise GradingError(f"{name} is {value}, must be a grade from 0 to 3")
    left, missing = outcomes(
        lambda wound, ischaemia, infection: WIFI_STAGE[ischaemia][wound][infection],
        findings,
        dict.fromkeys(findings, (0, 1, 2, 3)),
    )
    return _grade_of(left, missing)


def texas(
    *, depth: Literal[0, 1, 2, 3] | None = None, infected: bool | None = None, ischaemic: bool | None = None
) -> Grade:
    """University of Texas grade and stage, such as ``1A``.

    Parameters
    ----------
    depth : int or None
        0 healed site, 1 superficial, 2 to tendon or capsule, 3 to bone or joint. [-]
    infected, ischaemic : bool or None

    Returns
    -------
    Grade

    Raises
    ------
    GradingError
        If the depth is out of 0 to 3.

    Notes
    -----
    Stage A clean, B infected, C ischaemic, D both.

    References
    ----------
    .. [1] Armstrong DG, Lavery LA, Harkless LB, Diabetes Care 1998;21:855-859; value sets UofTWoundGradeVS
    and
       UofTWoundGradeStageVS of the HL7 wound assessment model.
    """
    if depth is not None and (isinstance(depth, bool) or depth not in (0, 1, 2, 3)):
        raise GradingError(f"depth is {depth}, must be a grade from 0 to 3")
    left, missing = outcomes(
        lambda depth, infected, ischaemic: f"{depth}{'ABCD'[bool(infected) + 2 * bool(ischaemic)]}",
        {"depth": depth, "infected": infected, "ischaemic": ischaemic},
        {"depth": (0, 1, 2, 3), "infected": YES_NO, "ischaemic": YES_NO},
    )
    return _grade_of(left, missing)


def risk_category(
    *,
    sensation_lost: bool | None = None,
    artery_disease: bool | None = None,
    deformity: bool | None = None,
    past_ulcer: bool | None = None,
    amputation: bool | None = None,
    end_stage_renal_disease: bool | None = None,
) -> Risk:
    """IWGDF risk category of a foot without an open ulcer, with its follow-up interval.

    Parameters
    ----------
    sensation_lost, artery_disease, deformity : bool or None
        Loss of protective sensation, peripheral artery disease, foot deformity.
    past_ulcer, amputation, end_stage_renal_disease : bool or None
        History; the amputation of either limb, at any level.

    Returns
    -------
    Risk

    Notes
    -----
    0: neither lost sensation nor artery disease (deformity alone stays 0). 1: one of them. 2: both, or one
    with deformity. 3: one of them with a past ulcer, an amputation or end-stage renal disease. Anyone after a
    healed ulcer is read as 3 (design choice, the cautious way).

    References
    ----------
    .. [1] IWGDF prevention guideline 2023, risk table as reproduced in World J Diabetes 2022;13:27, table 1.
    """

    def rule(**f: bool) -> int:
        if f["past_ulcer"]:
            return 3
        if not (f["sensation_lost"] or f["artery_disease"]):
            return 0
        if f["amputation"] or f["end_stage_renal_disease"]:
            return 3
        return 2 if (f["sensation_lost"] and f["artery_disease"]) or f["deformity"] else 1

    findings = {
        "sensation_lost": sensation_lost,
        "artery_disease": artery_disease,
        "deformity": deformity,
        "past_ulcer": past_ulcer,
        "amputation": amputation,
        "end_stage_renal_disease": end_stage_renal_disease,
    }
    left, missing = outcomes(rule, findings, dict.fromkeys(findings, YES_NO))
    possible = tuple(sorted(left))
    return Risk(
        category=possible[0] if len(possible) == 1 else None,
        possible=possible,
        interval_months=RISK_INTERVAL_MONTHS[possible[-1]],
        missing=missing,
    )
