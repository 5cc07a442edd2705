"""What stands about one foot today: the answer of the standing rules, in words and with dates."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from clinic.guidelines.devices import URGENCIES, Urgency, most_urgent
from clinic.guidelines.standing_findings import Bone

__all__ = [
    "RepeatDue",
    "InfectionState",
    "LimbState",
    "PerfusionState",
    "StandingReferral",
    "UrgentLine",
    "merged",
    "spoken",
    "state_json",
]


@dataclass(frozen=True)
class UrgentLine:
    """A finding past a line that asks for somebody at once, and who that is.

    Parameters
    ----------
    text : str
        The finding, its day and the line's source.
    refer : str
        The referral it reaches.
    urgency : {"immediate", "one_working_day", "planned"}
    """

    text: str
    refer: str
    urgency: Urgency = "immediate"


@dataclass(frozen=True)
class StandingReferral:
    """Somebody else has to see this foot: who, how soon and why."""

    id: str
    urgency: Urgency
    because: str


@dataclass(frozen=True)
class RepeatDue:
    """A measurement to repeat: from when, until when, and which."""

    first_on: date
    last_on: date
    what: str


@dataclass(frozen=True)
class PerfusionState:
    """Blood supply of one foot as it stands.

    Parameters
    ----------
    grade : int or None
        WIfI ischaemia grade that stands, 0 to 3. [-]
    settled : bool
        False in doubt or with nothing known: then nothing that stays on.
    from_field : str or None
        The finding that set the grade.
    on : datetime.date or None
        Its day.
    urgent : tuple of UrgentLine
    because : str
    doubts : tuple of str
        Why it is not settled, and what to measure.
    contradictions : tuple of str
    artery_disease : bool or None
        Whether any finding speaks for disease of the arteries; None with none looked at.
    gangrene_on : datetime.date or None
        Day of dead tissue that nobody has found gone since.
    refer : tuple of StandingReferral
    due : tuple of RepeatDue
        Repeat measurements after revascularisation.
    ran_out : int or None
        Grade of the values that only their age unsettles: a device that runs is asked about, not withdrawn.
    urgent_events : tuple of (str, datetime.date)
        Findings that ask for somebody at once by themselves, newly_cold and rest_pain, that stand, with their
        day.
    """

    grade: int | None
    settled: bool
    from_field: str | None
    on: date | None
    urgent: tuple[UrgentLine, ...]
    because: str
    doubts: tuple[str, ...]
    contradictions: tuple[str, ...]
    artery_disease: bool | None
    gangrene_on: date | None
    refer: tuple[StandingReferral, ...]
    due: tuple[RepeatDue, ...]
    ran_out: int | None = None
    urgent_events: tuple[tuple[str, date], ...] = ()


@dataclass(frozen=True)
class InfectionState:
    """Infection of one foot as it stands.

    Parameters
    ----------
    grade : int or None
        IWGDF/IDSA grade that stands, at least; 1 to 4. [-]
    bone : str or None
        Infected bone, no to proven.
    on : datetime.date or None
        Day of the finding that set the grade.
    bone_on : datetime.date or None
        Day of the finding that set the bone.
    standing : bool
        An older bad finding that nobody has looked at again.
    deep : bool or None
        Infection beneath the skin that stands; False only by a look that still counts.
    unwell : bool or None
        Systemic signs or an unmeasured "unwell" that stands; False only by an answer that still counts.
    complete : bool
        Grade, bone, depth and systemic signs all answered by looks that still count, and the extent of every
        sign.
    thrombosis, charcot : bool
        Named as another cause of the signs and not looked at again.
    urgent : tuple of UrgentLine
    because : str
    contradictions, asks : tuple of str
    refer : tuple of StandingReferral
    """

    grade: int | None
    bone: Bone | None
    on: date | None
    bone_on: date | None
    standing: bool
    deep: bool | None
    unwell: bool | None
    complete: bool
    thrombosis: bool
    charcot: bool
    urgent: tuple[UrgentLine, ...]
    because: str
    contradictions: tuple[str, ...]
    asks: tuple[str, ...]
    refer: tuple[StandingReferral, ...]


@dataclass(frozen=True)
class LimbState:
    """What stands about one foot.

    Parameters
    ----------
    today : datetime.date
    ischaemia : PerfusionState
    infection : InfectionState
    non_removable_allowed : bool
        Whether blood and infection allow a device that stays on; other facts may still withhold it.
    withheld_because : tuple of str
        Why not; empty if allowed.
    override_barred : tuple of str
        Findings against which nobody may sign a device that stays on.
    refer : tuple of StandingReferral
        Most urgent first.
    notice : str
    running_allowed : bool
        Whether a device that stays on and is worn already may go on: allowed, or unsettled by nothing but the
        age of a perfusion value (common practice, no source).
    """

    today: date
    ischaemia: PerfusionState
    infection: InfectionState
    non_removable_allowed: bool
    withheld_because: tuple[str, ...]
    override_barred: tuple[str, ...]
    refer: tuple[StandingReferral, ...]
    notice: str
    running_allowed: bool = False

    @property
    def contradictions(self) -> tuple[str, ...]:
        """Findings that contradict each other, and how they were read."""
        return self.ischaemia.contradictions + self.infection.contradictions

    @property
    def fits_today(self) -> bool:
        """Whether a device that stays on may be fitted and sealed today: the clean look is of this day."""
        return self.non_removable_allowed and self._looked_today

    @property
    def refits_today(self) -> bool:
        """The same for one that is worn already: a perfusion value that ran out asks, it does not
        withdraw.
        """
        return self.running_allowed and self._looked_today

    @property
    def _looked_today(self) -> bool:
        return self.infection.on == self.today == self.infection.bone_on


def merged(referrals: list[StandingReferral]) -> tuple[StandingReferral, ...]:
    """One referral for each id, at its most pressing urgency, with every reason once; most urgent first.

    Parameters
    ----------
    referrals : list of StandingReferral

    Returns
    -------
    tuple of StandingReferral
    """
    together: dict[str, list[StandingReferral]] = {}
    for referral in referrals:
        together.setdefault(referral.id, []).append(referral)
    answer = [
        StandingReferral(
            name,
            most_urgent(*(r.urgency for r in asked)),
            " ".join(dict.fromkeys(r.because for r in asked)),
        )
        for name, asked in together.items()
    ]
    return tuple(sorted(answer, key=lambda r: URGENCIES.index(r.urgency)))


def spoken(day: date) -> str:
    """A day as it is said on screens and prints.

    Parameters
    ----------
    day : datetime.date

    Returns
    -------
    str

    Examples
    --------
    >>> spoken(date(2026, 5, 3))
    '3 May 2026'
    """
    return f"{day.day} {day:%b %Y}"


def state_json(state: LimbState) -> dict[str, Any]:
    """The state in the form of the command's contract.

    Doubts, contradictions and questions have no field of their own there; they stand in ``because``.

    Parameters
    ----------
    state : LimbState

    Returns
    -------
    dict
    """
    blood, infection = state.ischaemia, state.infection
    return {
        "ischaemia": {
            "grade": blood.grade,
            "settled": blood.settled,
            "from": blood.from_field,
            "on": blood.on.isoformat() if blood.on else None,
            "urgent": [line.text for line in blood.urgent],
            "because": " ".join((blood.because, *blood.doubts, *blood.contradictions)),
        },
        "infection": {
            "grade": infection.grade,
            "bone": infection.bone,
            "on": infection.on.isoformat() if infection.on else None,
            "standing": infection.standing,
            "urgent": [line.text for line in infection.urgent],
            "because": " ".join((infection.because, *infection.contradictions, *infection.asks)),
        },
        "non_removable_allowed": state.non_removable_allowed,
        "refer": [{"id": r.id, "urgency": r.urgency, "because": r.because} for r in state.refer],
        "notice": state.notice,
    }
