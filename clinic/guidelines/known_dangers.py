"""Which dangers stand about this foot, who has taken each, and which must be raised again today?

An alarm that repeats is a defect: what a named team has taken, with a next date, is shown and not raised
again until it is worse or that date is past (design choice).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from clinic.guidelines.standing_state import LimbState, spoken

__all__ = ["Danger", "Owned", "dangers", "strip", "to_raise"]

STAYS_ON = "a non-removable device"
NO_OVERRIDE = "a non-removable device, whoever signs"


@dataclass(frozen=True)
class Danger:
    """One standing danger.

    Parameters
    ----------
    id : str
        What kind of danger; one of a kind stands at a time.
    level : int
        How bad, within its kind. [-]
    pressing : int
        How bad beside the other kinds, for the order; more is worse. [-]
    on : datetime.date or None
        Day of the finding.
    words : str
    forbids : str
    """

    id: str
    level: int
    pressing: int
    on: date | None
    words: str
    forbids: str


@dataclass(frozen=True)
class Owned:
    """A danger that a named team has taken, as it was then; it ends when the danger is lifted.

    Parameters
    ----------
    danger : str
        Id of the danger.
    level : int
        How bad it was when taken. [-]
    team : str
    next_on : datetime.date
        When the team sees the person next.
    """

    danger: str
    level: int
    team: str
    next_on: date

    def past(self, today: date) -> bool:
        """Whether the team's date is past.

        Parameters
        ----------
        today : datetime.date

        Returns
        -------
        bool
        """
        return today > self.next_on


def dangers(state: LimbState) -> tuple[Danger, ...]:
    """The standing dangers, the worst first.

    Parameters
    ----------
    state : LimbState

    Returns
    -------
    tuple of Danger
    """
    blood, infection = state.ischaemia, state.infection
    found = []
    if infection.grade is not None and infection.grade >= 2:
        barred = infection.grade == 4 or infection.deep
        found.append(
            Danger(
                "infection",
                infection.grade,
                {2: 4, 3: 8, 4: 10}[infection.grade],
                infection.on,
                infection.because,
                NO_OVERRIDE
                if barred
                else STAYS_ON
                if infection.grade > 2
                else "a closed device for over 72 hours",
            )
        )
    if infection.bone not in (None, "no"):
        level = {"possible": 1, "probable": 2, "proven": 3}[infection.bone or ""]
        words = f"Bone infection {infection.bone}."
        found.append(Danger("bone", level, 4 + level, infection.bone_on, words, STAYS_ON))
    if infection.unwell:
        found.append(Danger("unwell", 1, 7, None, "Fever or unwell.", STAYS_ON))
    if infection.thrombosis:
        found.append(Danger("thrombosis", 1, 9, None, "Thrombosis of the leg veins suspected.", NO_OVERRIDE))
    if blood.gangrene_on is not None:
        words = f"Dead tissue on {spoken(blood.gangrene_on)}."
        found.append(Danger("gangrene", 1, 9, blood.gangrene_on, words, NO_OVERRIDE))
    if blood.grade is not None and blood.grade >= 2:
        # Past a line that asks for somebody at once, a moderate grade presses as a severe one.
        worst = 3 if blood.urgent else blood.grade
        words = " ".join((blood.because, *(line.text for line in blood.urgent if blood.grade == 2)))
        found.append(Danger("ischaemia", worst, {2: 5, 3: 9}[worst], blood.on, words, STAYS_ON))
    if not blood.settled:
        level = 2 if blood.urgent else 1
        words = " ".join(blood.doubts or blood.contradictions)
        found.append(Danger("perfusion_in_doubt", level, 3 if level == 1 else 9, None, words, STAYS_ON))
    return tuple(sorted(found, key=lambda danger: -danger.pressing))


def to_raise(standing: Sequence[Danger], owned: Sequence[Owned], today: date) -> tuple[Danger, ...]:
    """The dangers that must be raised today: owned by nobody, worse than when taken, or past the team's date.

    Parameters
    ----------
    standing : sequence of Danger
    owned : sequence of Owned
    today : datetime.date

    Returns
    -------
    tuple of Danger
    """
    return tuple(
        danger
        for danger in standing
        if not any(
            taken.danger == danger.id and taken.level >= danger.level and not taken.past(today)
            for taken in owned
        )
    )


def strip(state: LimbState, owned: Sequence[Owned] = ()) -> tuple[str, ...]:
    """One sentence a danger, the worst first: what, since when, what it forbids, who has it and until when.

    Parameters
    ----------
    state : LimbState
    owned : sequence of Owned

    Returns
    -------
    tuple of str
        Empty if nothing stands.
    """
    lines = []
    for danger in dangers(state):
        taken = [one for one in owned if one.danger == danger.id]
        whose = [f"{one.team}, next {spoken(one.next_on)}" for one in taken if one.level >= danger.level]
        who = "; ".join(whose) or "nobody has taken it"
        lines.append(f"{danger.words} Forbids {danger.forbids}. {who[0].upper()}{who[1:]}.")
    return tuple(lines)
