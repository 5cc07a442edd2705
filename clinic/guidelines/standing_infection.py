"""How infected is this foot, as far as the record can be believed today?

A bad finding stands until somebody has looked again and found it clean; a clean look counts for some days
only.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from clinic.guidelines.infection_look import InfectionLook, day_of, read_look
from clinic.guidelines.rows import PRACTICE
from clinic.guidelines.standing_findings import BONE, Bone, LimbFindings, StandingSettings
from clinic.guidelines.standing_state import InfectionState, StandingReferral, UrgentLine, spoken

__all__ = ["infection_state"]

NG19 = "NICE NG19"
GRADE_WORDS = {1: "uninfected", 2: "mild", 3: "moderate", 4: "severe"}


@dataclass
class _Standing:
    """What stands after the days gone through so far."""

    look: InfectionLook | None = None  # sets the grade of the soft tissue
    first_clean: date | None = None
    deep_on: date | None = None  # infection beneath the skin, not lifted
    open_on: date | None = None  # signs whose extent nobody has settled since
    bone: Bone | None = None
    bone_on: date | None = None
    bone_note: str = ""

    def soft(self, day: InfectionLook, apart: int) -> None:
        """Worse at once; grade 2 is lifted by one clean day, 3 and 4 by two, the second a podiatrist's."""
        if day.deep:
            self.deep_on = day.on
        if day.open:
            self.open_on = day.on
        elif day.clean or day.measured:
            self.open_on = None
        if day.grade >= 2:
            self.first_clean = None
            if self.look is None or day.grade >= self.look.grade:
                self.look = day
        elif day.clean:
            if self.look is None or self.look.grade < 3:
                self.look = day
            elif (
                self.first_clean is not None
                and (day.on - self.first_clean).days >= apart
                and day.by_podiatrist
            ):
                self.look, self.first_clean, self.deep_on = day, None, None
            elif self.first_clean is None:
                self.first_clean = day.on
        elif day.looked and (self.look is None or self.look.grade == 1):
            self.look = day  # the foot itself is clean, the person unwell: known, but it lifts nothing

    def hard(self, day: InfectionLook) -> None:
        """Bone: worse at once; possible is lifted by a later no, more only by a signed end of treatment."""
        if day.bone is None and not (day.bone_treated and self.bone in ("probable", "proven")):
            return
        said: Bone = day.bone or "no"
        held = self.bone in ("probable", "proven") and BONE.index(said) < BONE.index(self.bone)
        if held and not (day.bone_treated and self.bone_on is not None and day.on > self.bone_on):
            self.bone_note = (
                f"Bone infection read {said} on {spoken(day.on)}, {self.bone} on "
                f"{spoken(self.bone_on or day.on)}: it "
                "stands until a podiatrist signs that treatment is completed or the bone resected."
            )
            return
        self.bone, self.bone_on, self.bone_note = said, day.on, ""


def infection_state(findings: LimbFindings, today: date, settings: StandingSettings) -> InfectionState:
    """The infection grade and the state of the bone that stand, and who must be asked.

    Parameters
    ----------
    findings : LimbFindings
        None of its days lies after `today`.
    today : datetime.date
    settings : StandingSettings

    Returns
    -------
    InfectionState

    Raises
    ------
    GradingError
        If a value is out of its bounds.

    Notes
    -----
    Grade 2 is lifted by one clean look on a later day; grades 3 and 4, and an abscess, by two clean looks at
    least `looks_apart_days` apart, the second a podiatrist's (common practice, no source). One systemic sign
    beside an infection makes it 3 at least (common practice). "Unwell" that nobody measured makes no grade,
    but nothing that stays on. Another cause of the signs counts when a podiatrist names it: then only pus,
    depth, bone and systemic signs speak.

    References
    ----------
    .. [1] Senneville E et al., IWGDF/IDSA 2023, Diabetes Metab Res Rev 2024;40(3):e3687 (secondary pages):
    grades and
       the exclusion of other causes.
    .. [2] NICE NG19 (read in pages that quote it): who is seen at once.
    """
    looks = sorted((read_look(found, settings) for found in findings.infection), key=lambda look: look.on)
    days = [day_of(list(same)) for _, same in groupby(looks, key=lambda look: look.on)]
    standing = _Standing()
    for day in days:
        standing.soft(day, settings.looks_apart_days)
        standing.hard(day)

    def counts(on: date | None) -> bool:
        return on is not None and (today - on).days <= settings.look_days

    bone_bad = standing.bone in ("probable", "proven")
    bone = standing.bone if standing.bone != "no" or counts(standing.bone_on) else None
    look = standing.look
    if look is not None and look.grade == 1 and not counts(look.on):
        look = None
    grade, on = (look.grade, look.on) if look else (None, None)
    if bone_bad and (grade is None or grade < 3):
        grade, on = 3, standing.bone_on
    bad = (grade is not None and grade >= 2) or bone_bad
    since = [day for day in days if on is not None and day.on > on and day.looked]
    ill = _last(days, lambda d: d.unwell)
    deep_said = _last(days, lambda d: d.deep)
    deep = True if standing.deep_on else False if deep_said and counts(deep_said.on) else None
    unwell = None if ill is None else True if ill.unwell else False if counts(ill.on) else None
    thrombosis, charcot = (_cause_stands(days, name) for name in ("thrombosis", "charcot"))
    asks = _asks(days, standing, grade is not None, bone, settings)
    urgent = _urgent(standing, grade, on, ill, thrombosis)
    return InfectionState(
        grade=grade,
        bone=bone,
        on=on,
        bone_on=standing.bone_on if bone else None,
        standing=bad and on is not None and on < today and not since,
        deep=deep,
        unwell=unwell,
        complete=None not in (grade, bone, deep, unwell) and standing.open_on is None,
        thrombosis=thrombosis is not None,
        charcot=charcot is not None,
        urgent=tuple(urgent),
        because=_because(standing, look, grade, today, bool(since)),
        contradictions=tuple(
            dict.fromkeys([n for day in days if day is look or day is days[-1] for n in day.notes])
        )
        + ((standing.bone_note,) if standing.bone_note else ()),
        asks=tuple(asks),
        refer=tuple(_refer(urgent, bone, charcot)),
    )


def _last(days: list[InfectionLook], answer: Callable[[InfectionLook], bool | None]) -> InfectionLook | None:
    return next((day for day in reversed(days) if answer(day) is not None), None)


def _cause_stands(days: list[InfectionLook], cause: str) -> InfectionLook | None:
    """The day another cause was named, unless a podiatrist has found the foot clean since and not named
    it again.
    """
    named = [day for day in days if cause in day.causes]
    if not named:
        return None
    last = named[-1]
    again = any(day.on > last.on and day.clean and day.by_podiatrist for day in days)
    return None if again else last


def _asks(
    days: list[InfectionLook], standing: _Standing, known: bool, bone: Bone | None, settings: StandingSettings
) -> list[str]:
    asks = [ask for day in days[-1:] for ask in day.asks]
    if not known:
        asks.append("Look for infection: device and dressing off, five signs, probe.")
    if standing.open_on is not None:
        asks.append(
            f"Signs of {spoken(standing.open_on)} not looked at in full: look for all five, and measure "
            "redness."
        )
    if standing.first_clean is not None:
        asks.append(
            f"One clean look on {spoken(standing.first_clean)}; a podiatrist's, {settings.looks_apart_days} "
            "days or "
            f"more later, lifts it ({PRACTICE})."
        )
    if standing.bone == "possible":
        asks.append("Bone infection possible: name the imaging and its date; removable meanwhile.")
    elif bone is None:
        asks.append("Bone not probed within the days a look counts.")
    return asks


def _urgent(
    standing: _Standing,
    grade: int | None,
    on: date | None,
    ill: InfectionLook | None,
    thrombosis: InfectionLook | None,
) -> list[UrgentLine]:
    lines = []
    if grade is not None and grade >= 3 and on is not None:
        lines.append(
            UrgentLine(
                f"Infection grade {grade} ({GRADE_WORDS[grade]}) since {spoken(on)} ({NG19}).",
                "infection_assessment",
            )
        )
    if standing.bone in ("probable", "proven") and standing.bone_on is not None:
        lines.append(
            UrgentLine(
                f"Bone infection {standing.bone} on {spoken(standing.bone_on)} ({NG19}).",
                "infection_assessment",
            )
        )
    if ill is not None and ill.unwell and not (grade is not None and grade >= 3):
        what = "A systemic sign" if ill.systemic else "Fever or unwell, not measured,"
        lines.append(
            UrgentLine(f"{what} beside an ulcer on {spoken(ill.on)} ({NG19}).", "infection_assessment")
        )
    if thrombosis is not None:
        lines.append(
            UrgentLine(
                f"Thrombosis suspected on {spoken(thrombosis.on)}: the local route for leg vein thrombosis "
                "today "
                f"({PRACTICE}).",
                "vascular_assessment",
            )
        )
    return lines


def _refer(
    urgent: list[UrgentLine], bone: Bone | None, charcot: InfectionLook | None
) -> Iterator[StandingReferral]:
    for line in urgent:
        yield StandingReferral(line.refer, line.urgency, line.text)
    if bone == "possible":
        yield StandingReferral(
            "infection_assessment", "planned", f"Bone infection possible: imaging with a date ({PRACTICE})."
        )
    if charcot is not None:
        yield StandingReferral(
            "charcot_assessment",
            "one_working_day",
            f"Charcot joints named as the cause of the signs on {spoken(charcot.on)}.",
        )


def _because(
    standing: _Standing, look: InfectionLook | None, grade: int | None, today: date, looked_since: bool
) -> str:
    if grade is None:
        last = standing.look
        return (
            f"Infection not known: the clean look of {spoken(last.on)} no longer counts."
            if last is not None
            else "Infection not known."
        )
    parts = []
    if look is not None and look.grade == grade:
        at_least = "" if look.looked else ", at least"
        parts.append(
            f"Infection grade {grade} ({GRADE_WORDS[grade]}{at_least}) by {look.said} on {spoken(look.on)}."
        )
    else:
        parts.append(f"Infection grade {grade} ({GRADE_WORDS[grade]}) by infected bone.")
    if standing.bone not in (None, "no") and standing.bone_on is not None:
        parts.append(f"Bone infection {standing.bone} on {spoken(standing.bone_on)}.")
    if look is not None and look.grade >= 2 and look.on < today and not looked_since:
        parts.append("Nobody has looked again since.")
    return " ".join(parts)
