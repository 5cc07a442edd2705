"""What one look for infection says, read the cautious way, and several looks of one day as one."""

from dataclasses import dataclass, replace
from datetime import date

from clinic.guidelines.infection import (
    InfectionFindings,
    SystemicSigns,
    infection_grade,
    systemic_signs,
)
from clinic.guidelines.standing_findings import BONE, SIGNS, Bone, InfectionFinding, StandingSettings
from clinic.guidelines.standing_state import spoken

__all__ = ["InfectionLook", "day_of", "read_look"]

SIGN_MM = 5.0  # redness reaching further is a local sign (IWGDF/IDSA 2023)
CAUSE_WORDS = {
    "charcot": "Charcot joints",
    "gout": "gout",
    "fracture": "a fracture",
    "thrombosis": "thrombosis",
    "venous": "venous disease",
}


@dataclass(frozen=True)
class InfectionLook:
    """One day's looks for infection, read the cautious way.

    ``grade`` is what is known to be there at least; ``clean`` says that somebody looked and found no sign;
    ``open`` that signs were seen whose extent is not known: redness not measured, or no full look.
    """

    on: date
    grade: int
    clean: bool
    looked: bool
    by_podiatrist: bool
    deep: bool | None
    bone: Bone | None
    bone_treated: bool
    unwell: bool | None
    systemic: bool
    open: bool
    measured: bool
    causes: frozenset[str]
    said: str
    notes: tuple[str, ...]
    asks: tuple[str, ...]


def _measured(found: InfectionFinding) -> SystemicSigns:
    return systemic_signs(
        temperature=found.temperature_c,
        heart_rate=found.pulse_per_min,
        respiratory_rate=found.breaths_per_min,
        white_cells=found.white_cells_10e9_per_l,
    )


def _unwell(found: InfectionFinding, signs: SystemicSigns) -> bool | None:
    """Whether the whole person is ill: measured signs, else what was told; all four measured answer it."""
    if signs.met:
        return True
    if not signs.unknown:
        return False
    return found.unwell


def read_look(found: InfectionFinding, settings: StandingSettings) -> InfectionLook:
    """One look, graded by what is known to be there.

    Parameters
    ----------
    found : InfectionFinding
    settings : StandingSettings

    Returns
    -------
    InfectionLook

    Raises
    ------
    GradingError
        If a value is out of its bounds.

    References
    ----------
    .. [1] Senneville E et al., IWGDF/IDSA 2023, Diabetes Metab Res Rev 2024;40(3):e3687 (secondary pages).
    """
    listed = set(found.signs or ())
    explained = found.other_cause is not None and found.by == "podiatrist"
    reach = found.redness_mm or 0.0
    notes: list[str] = []
    asks: list[str] = []
    day = spoken(found.on)
    if reach > SIGN_MM and "redness" not in listed and found.looked:
        notes.append(f"Redness of {reach:g} mm on {day} is measured but not among the signs: it counts.")
    if "redness" in listed and found.redness_mm is not None and reach <= SIGN_MM:
        notes.append(f"Redness on {day} reaches {reach:g} mm, under a local sign, yet is listed: it counts.")
        reach = SIGN_MM + 1
    if "redness" in listed and found.redness_mm is None:
        reach = SIGN_MM + 1
    if found.other_cause is not None and not explained:
        notes.append(
            f"{CAUSE_WORDS[found.other_cause].capitalize()} on {day} was not named by a podiatrist: the "
            "signs count."
        )
    signs = _measured(found)
    grade = infection_grade(
        InfectionFindings(
            swelling="swelling" in listed,
            tenderness="tenderness" in listed,
            warmth="warmth" in listed,
            pus="pus" in listed,
            erythema_cm=reach / 10,
            deep=bool(found.deep),
            osteomyelitis=False,
            other_cause=explained,
            systemic=len(signs.met) >= 2,
        ),
        erythema_2_cm=settings.erythema_2_cm,
    ).possible[0]
    present = grade >= 2 or found.bone in ("probable", "proven")
    if len(signs.met) == 1 and present:
        grade = max(grade, 3)
    if (len(signs.met) == 1 or found.unwell) and signs.missing:
        asks.append(f"Measure {_listed(signs.missing)} (unwell or one systemic sign on {day}).")
    unwell = _unwell(found, signs)
    redness_open = "redness" in listed and found.redness_mm is None and not explained
    if redness_open:
        asks.append(f"Measure how far the redness of {day} reaches.")
    looked = bool(found.looked)
    # One sign is uninfected by the published count, but no look on which an infection is declared over.
    signs_left = "pus" in listed if explained else bool(listed) or reach > SIGN_MM
    return InfectionLook(
        on=found.on,
        grade=grade,
        clean=looked
        and grade == 1
        and not signs_left
        and not unwell
        and found.bone not in ("probable", "proven"),
        looked=looked,
        by_podiatrist=found.by == "podiatrist",
        deep=found.deep,
        bone=found.bone,
        bone_treated=bool(found.bone_treated) and found.by == "podiatrist",
        unwell=unwell,
        systemic=bool(signs.met),
        open=redness_open or (not looked and (bool(listed) or reach > 0)),
        measured=found.redness_mm is not None,
        causes=frozenset(() if found.other_cause is None else (found.other_cause,)),
        said=_said(found, signs, explained),
        notes=tuple(notes),
        asks=tuple(asks),
    )


def _listed(names: tuple[str, ...]) -> str:
    words = [name.replace("_", " ") for name in names]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _said(found: InfectionFinding, signs: SystemicSigns, explained: bool) -> str:
    """What a look found, in words."""
    parts = [name for name in SIGNS if name in (found.signs or ())]
    if found.redness_mm:
        parts = [p for p in parts if p != "redness"] + [f"redness of {found.redness_mm:g} mm"]
    if explained and found.other_cause:
        parts.append(f"explained by {CAUSE_WORDS[found.other_cause]}")
    if found.deep:
        parts.append("infection beneath the skin")
    if signs.met:
        parts.append(f"systemic signs: {_listed(signs.met)}")
    return ", ".join(parts) or "no sign"


def day_of(looks: list[InfectionLook]) -> InfectionLook:
    """The looks of one day as one: the worst found, clean only if nobody found anything.

    Parameters
    ----------
    looks : list of InfectionLook
        At least one, all of one day.

    Returns
    -------
    InfectionLook
    """
    worst = max(looks, key=lambda look: look.grade)
    clean = [look for look in looks if look.clean]
    spotless = worst.grade == 1 and bool(clean) and not any(look.unwell for look in looks)
    spotless = spotless and not any(look.bone in ("probable", "proven") for look in looks)

    def worst_of(values: list[bool | None]) -> bool | None:
        return True if any(values) else False if False in values else None

    bones = [look.bone for look in looks if look.bone is not None]
    return replace(
        worst,
        clean=spotless,
        looked=any(look.looked for look in looks),
        by_podiatrist=any(look.by_podiatrist for look in clean if spotless),
        deep=worst_of([look.deep for look in looks]),
        bone=max(bones, key=BONE.index, default=None),
        bone_treated=any(look.bone_treated for look in looks),
        unwell=worst_of([look.unwell for look in looks]),
        systemic=any(look.systemic for look in looks),
        open=any(look.open for look in looks),
        measured=any(look.looked and look.measured for look in looks),
        causes=frozenset().union(*(look.causes for look in looks)),
        notes=tuple(dict.fromkeys(note for look in looks for note in look.notes)),
        asks=tuple(dict.fromkeys(ask for look in looks for ask in look.asks)),
    )
