"""Two years of the invented clinic before its present week: people drawn from one seed.

Everybody in it has left the clinic by its last day, so that nothing of it waits on anybody's list: healed
people go back to the foot team of their district, others moved, died or were lost. Shares are invented, so
chosen that every page of figures has something to show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from random import Random
from typing import Any

from .scenario import LesionPlot, PersonPlot

__all__ = ["FIRST", "PEOPLE", "SEED", "UNTIL", "past_plots"]

SEED = 20261101
#: First and last day. Fixed: text that was signed holds its days, so the past is played anew for other ones.
FIRST, UNTIL = date(2024, 11, 4), date(2026, 11, 1)
PEOPLE = 200

GIVEN = [
    "Alder",
    "Bettina",
    "Caspar",
    "Delphine",
    "Emmet",
    "Fenella",
    "Gideon",
    "Hester",
    "Ivo",
    "Juniper",
    "Kester",
    "Linnet",
    "Merrick",
    "Nerys",
    "Orrin",
    "Petra",
    "Quill",
    "Rowena",
    "Silas",
    "Tamsin",
    "Ulric",
    "Verity",
    "Wilmot",
    "Xanthe",
    "Yorick",
    "Zelda",
    "Ambrose",
    "Blythe",
    "Corin",
    "Dulcie",
]
FAMILY_ENDS = ["brook", "field", "wick", "ford", "combe", "ley", "stead", "thorn", "marsh", "holt"]
FAMILY_STARTS = [
    "Ashen",
    "Barley",
    "Cinder",
    "Dapple",
    "Elder",
    "Flax",
    "Gorse",
    "Hazel",
    "Ivory",
    "Jasper",
    "Kettle",
    "Larch",
    "Moss",
    "Nettle",
    "Otter",
    "Pepper",
    "Quince",
    "Rush",
    "Saffron",
    "Teasel",
]

#: Course -> share, and weeks from the first visit until the wound is covered; 0: it does not close.
COURSE_SHARES = {
    "fast": (24, 7),
    "healing": (33, 12),
    "late": (11, 14),
    "turned": (12, 17),
    "slow": (8, 0),
    "stalled": (7, 0),
    "worsening": (5, 0),
}
#: Places with their shares; those with a relief plan bear on the insole.
PLACE_SHARES = {
    "mth_1": 22,
    "mth_2": 14,
    "mth_3": 10,
    "mth_4": 6,
    "mth_5": 12,
    "plantar_hallux": 14,
    "heel_central": 6,
    "apex_2": 6,
    "dorsal_toe_2": 5,
}
PLANNED = ("mth_1", "mth_2", "mth_3", "mth_4", "mth_5")
#: What a course that does not close ends with.
ENDS = ("lost", "minor_amputation", "minor_amputation", "died", "moved", "major_amputation")
#: Against the advice: reason code -> device, words.
DEPARTURES = (
    (
        "person_declines",
        "walker_knee_high_removable",
        "Declines a non-removable device; wear talked through.",
    ),
    ("cannot_attend", "walker_knee_high_removable", "Cannot come every week; removable."),
    ("not_tolerated", "ankle_high_removable", "Did not bear a knee-high device before; ankle-high."),
    (
        "other",
        "ankle_high_removable",
        "Must go on working this month; ankle-high, looked at again in four weeks.",
    ),
    ("not_available", "walker_knee_high_removable", "No sealing material in the house that week."),
)


def _pick(rng: Random, shares: dict[str, Any]) -> str:
    weights = [one[0] if isinstance(one, tuple) else one for one in shares.values()]
    return rng.choices(list(shares), weights)[0]


def past_plots(seed: int = SEED, people: int = PEOPLE) -> list[PersonPlot]:
    """The people in the order of their numbers; the same seed gives the same people."""
    return [_person(Random(f"{seed}/{n}"), n) for n in range(people)]  # noqa: S311


def _person(rng: Random, n: int) -> PersonPlot:
    lesions = _lesions(rng)
    weeks = max(lesion.from_week + _weeks(lesion) for lesion in lesions)
    room = (UNTIL - FIRST).days // 7 - weeks
    ended = rng.randrange(max(1, room)) * 7 + rng.randrange(4) + 3
    length = rng.gauss(262, 11)
    ischaemic = rng.random() < 0.2
    findings, circumstances = _findings(rng, ischaemic), _circumstances(rng)
    gone = "died" if any(lesion.end == "died" for lesion in lesions) else "moved"
    return PersonPlot(
        given=GIVEN[n % len(GIVEN)],
        family=FAMILY_STARTS[(n * 7 + n // 20) % 20] + FAMILY_ENDS[(n * 3 + n // 10) % 10],
        number=f"P-{1001 + n}",
        born=str(date(1938, 1, 1) + timedelta(days=rng.randrange(365 * 40))),
        weeks=weeks,
        last_days_ago=ended,
        moved_days_ago=ended - 1,
        gone=gone,
        podiatrist=rng.randrange(3),
        kg=round(min(138.0, max(54.0, rng.gauss(88, 15))), 1),
        lesions=lesions,
        foot=(round(length), round(length * rng.uniform(0.36, 0.39))),
        diabetes=rng.choices(("type_2", "type_1"), (9, 1))[0],
        findings=findings,
        circumstances=circumstances,
        devices=_devices(rng, lesions),
        asked_every=8,
        wear=tuple(rng.choices(("all", "most", "half", "few"), (4, 5, 3, 1), k=rng.randrange(2, 5))),
        plan_week=rng.choice((1, 2)) if lesions[0].place in PLANNED and rng.random() < 0.5 else None,
        missed_weeks=tuple(sorted(w for w in range(2, weeks - 3) if rng.random() < 0.05)),
        photos=False,
        drawn=True,
        referral=_referral(rng, findings) if ischaemic else None,
    )


def _lesions(rng: Random) -> tuple[LesionPlot, ...]:
    first = _lesion(rng, 0, rng.choice(("left", "right")))
    draw = rng.random()
    if draw < 0.28:  # a second one of the same foot, a few weeks on
        other = _lesion(rng, rng.randrange(1, 4), first.side)
        places = [place for place in PLACE_SHARES if place != first.place]
        return first, replace(other, place=rng.choice(places))
    if draw < 0.5 and not first.end:  # it came back at the place that had healed
        back = _lesion(rng, _weeks(first) + rng.randrange(8, 26), first.side)
        return first, replace(back, place=first.place, recurs=True, first_cm2=min(back.first_cm2, 2.0))
    return (first,)


def _lesion(rng: Random, week: int, side: str) -> LesionPlot:
    course = _pick(rng, COURSE_SHARES)
    return LesionPlot(
        place=_pick(rng, PLACE_SHARES),
        side=side,
        course=course,
        first_cm2=round(min(12.0, rng.lognormvariate(0.6, 0.65)), 2),
        from_week=week,
        method=rng.choices(("traced", "ellipse"), (4, 1))[0],
        depth=rng.choices(("skin", "subcutaneous"), (1, 3))[0],
        end="" if COURSE_SHARES[course][1] else rng.choice(ENDS),
    )


def _weeks(lesion: LesionPlot) -> int:
    """Weeks under treatment: until two weeks after it was covered, or until it is given up."""
    closes = COURSE_SHARES[lesion.course][1]
    return closes + 5 if closes else 20 + len(lesion.place)


def _findings(rng: Random, ischaemic: bool) -> dict[str, Any]:
    return {
        "monofilament_tested": 10,
        "monofilament_felt": rng.randrange(0, 6),
        "dorsalis_pedis": "absent" if ischaemic else "present",
        "posterior_tibial": rng.choice(("absent", "present")) if ischaemic else "present",
        "toe_pressure_mmhg": rng.randrange(38, 58) if ischaemic else rng.randrange(66, 108),
        "deformity": rng.choices(("none", "small", "large"), (3, 6, 1))[0],
        "rigid_deformity": rng.random() < 0.1,
        "flexible_toe_deformity": rng.random() < 0.2,
        "charcot": "none",
        "oedema": rng.choices(("none", "steady"), (4, 1))[0],
        "bulky_calf": False,
        "fragile_skin": rng.random() < 0.08,
        "previous_ulcer": rng.random() < 0.4,
        "dvt_suspected": False,
        "ulcer_on_same_leg": False,
    }


def _circumstances(rng: Random) -> dict[str, Any]:
    return {
        "high_falls_risk": rng.random() < 0.15,
        "cannot_attend_weekly": rng.random() < 0.12,
        "declines_non_removable": rng.random() < 0.15,
        "mobility": rng.choices(("walks", "walks_with_aid"), (5, 1))[0],
        "claustrophobia": rng.random() < 0.03,
        "drives_or_job_at_risk": rng.random() < 0.1,
        "poor_sight": rng.random() < 0.1,
        "help_at_home": rng.random() < 0.6,
    }


def _devices(rng: Random, lesions: Sequence[LesionPlot]) -> tuple[dict[str, Any], ...]:
    """The advice's first choice, or a departure with its reason; again for each recurrence; another at six
    weeks where the wound did not get smaller.
    """
    chosen: list[dict[str, Any]] = []
    for lesion in lesions:
        if chosen and not lesion.recurs:
            continue
        if rng.random() < 0.24:
            code, device, words = rng.choice(DEPARTURES)
            chosen.append({"week": lesion.from_week, "device": device, "reason": words, "departure": code})
        else:
            words = "First choice of the guidance."
            chosen.append({"week": lesion.from_week, "device": "", "reason": words})
        if lesion.course in ("turned", "stalled") and len(lesions) == 1:
            words = "No progress in six weeks; talked through, and changed to the first choice."
            chosen.append({"week": lesion.from_week + 6, "device": "", "reason": words, "stop": "changed"})
    return tuple(chosen)


def _referral(rng: Random, findings: dict[str, Any]) -> dict[str, Any]:
    return {
        "week": 0,
        "to": "vascular",
        "urgency": "one_working_day",
        "because": f"toe pressure {findings['toe_pressure_mmhg']} mmHg with an ulcer",
        "result": "seen in the vascular clinic; duplex done, conservative for now",
    }
