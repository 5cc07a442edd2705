"""From case records to durations: the rules that decide where time starts, how it ends, and who is
counted where.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from clinic.healing.errors import SurvivalError
from clinic.healing.incidence import Incidence
from clinic.healing.observed import RestrictedMean, known_until, restricted_mean
from clinic.healing.resampled import incidence_by_people
from clinic.healing.strata import StratifiedTest, stratified_logrank
from clinic.healing.survival import KaplanMeier, LogRank, kaplan_meier, logrank

__all__ = ["MEAN_UNTIL", "RULES", "CaseRecord", "Cohort", "Ending", "GroupOutcome", "TimeZero", "outcomes"]

RULES = (
    "Time zero is the first fitting of a device; an ulcer never fitted stands on a line of its own, from its "
    "first "
    "assessment, and is in no comparison.",
    "An ulcer counts under its first device, whatever followed.",
    "Healed counts on the day it was first found closed, once that was confirmed.",
    "Amputation of the part and death end the follow-up: they compete with healing and are shown as such.",
    "Open ulcers and those lost to follow-up are censored on the day last seen.",
    "Ulcers that ended before time zero are left out and counted.",
    "Intervals come from drawing patients again, each with all ulcers: ulcers of one patient do not heal "
    "independently.",
    "A curve or share goes on while at least 5 ulcers are still observed, or while the state of all is "
    "known; beyond that it is not observed.",
)
"""The rules, in words for the page that shows the figures."""


class Ending(StrEnum):
    """How a lesion's follow-up ended."""

    HEALED = "healed"
    AMPUTATION = "amputation"
    DEATH = "death"
    LOST = "lost to follow-up"
    OPEN = "open"


MEAN_UNTIL = 140.0
"""Limit of the mean time open: 20 weeks, as the other figures of the page; design choice. [d]"""

_CAUSES = (Ending.HEALED, Ending.AMPUTATION, Ending.DEATH)


class TimeZero(StrEnum):
    """Where the clock of a group starts."""

    FIRST_FITTING = "first fitting"
    FIRST_ASSESSMENT = "first assessment"


@dataclass(frozen=True, slots=True)
class CaseRecord:
    """One lesion as far as outcome figures need it.

    Parameters
    ----------
    lesion : str
        Its key, to open the case behind a figure.
    group : str
        What it is counted under: the class of the first device, a site, a severity.
    first_seen : datetime.date
        Day of the first assessment.
    first_fitted : datetime.date or None
        Day of the first fitting, None if never fitted.
    last_seen : datetime.date
        Last day its state is known.
    ending : Ending
        How it ended by ``last_seen``.
    ended : datetime.date or None
        Day of healing, amputation or death; None for open and lost.
    person : str
        Whose it is; empty is a person of whom nothing else is counted.
    stratum : str
        What it is compared within; groups are compared with their like only. Empty: one stratum.

    Raises
    ------
    SurvivalError
        If the days contradict each other or the ending.
    """

    lesion: str
    group: str
    first_seen: date
    first_fitted: date | None
    last_seen: date
    ending: Ending = Ending.OPEN
    ended: date | None = None
    person: str = ""
    stratum: str = ""

    def __post_init__(self) -> None:
        if (self.ended is not None) != (self.ending in _CAUSES):
            given = "none" if self.ended is None else self.ended.isoformat()
            raise SurvivalError(
                f"ended of {self.lesion}: {given} does not go with the ending '{self.ending}'"
            )
        for name, day in (
            ("first_fitted", self.first_fitted),
            ("last_seen", self.last_seen),
            ("ended", self.ended),
        ):
            if day is not None and day < self.first_seen:
                raise SurvivalError(
                    f"{name} of {self.lesion}: {day.isoformat()} is before first_seen, "
                    f"{self.first_seen.isoformat()}"
                )


@dataclass(frozen=True, slots=True)
class GroupOutcome:
    """Outcome of one group.

    Parameters
    ----------
    group : str
        Its name; ``never fitted`` for that line.
    time_zero : TimeZero
        Where its clock starts.
    lesions : tuple of str
        Keys of the lesions counted, in the order of ``durations``.
    durations : tuple of float
        Time to ending or censoring. [d]
    endings : tuple of Ending or None
        Competing endings, None where censored.
    incidence : tuple of Incidence
        Healed, amputation, death; intervals by people.
    healing : KaplanMeier
        Time to healing with the competing endings censored: overstates healing where there are any.
    until : float or None
        Last time up to which its shares are shown; None for a small group. [d]
    open_mean : RestrictedMean or None
        Mean time open of the first ``MEAN_UNTIL``; who was amputated or died never heals. None where it was
        not observed that long. [d]
    strata : tuple of str
        Of the lesions, in their order.
    """

    group: str
    time_zero: TimeZero
    lesions: tuple[str, ...]
    durations: tuple[float, ...]
    endings: tuple[Ending | None, ...]
    incidence: tuple[Incidence, ...]
    healing: KaplanMeier
    until: float | None
    open_mean: RestrictedMean | None
    strata: tuple[str, ...]

    @property
    def healed_marks(self) -> tuple[int, ...]:
        """1 where healed, else 0; as the survival chart takes them."""
        return tuple(int(ending is Ending.HEALED) for ending in self.endings)


@dataclass(frozen=True, slots=True)
class Cohort:
    """Outcome of all groups.

    Parameters
    ----------
    groups : tuple of GroupOutcome
        In the order of first appearance, ``never fitted`` last.
    test : LogRank or StratifiedTest or None
        Between the fitted groups, within strata where there are any; None where not estimable.
    before_time_zero : tuple of str
        Lesions left out because they ended, or were last seen, before their clock starts.
    """

    groups: tuple[GroupOutcome, ...]
    test: LogRank | StratifiedTest | None
    before_time_zero: tuple[str, ...]


def outcomes(records: Iterable[CaseRecord], as_of: date) -> Cohort:
    """Outcome figures of a set of cases as known on a day.

    Parameters
    ----------
    records : iterable of CaseRecord
        Lesions; those of one person are not independent, which the test does not know.
    as_of : datetime.date
        What happened later is not known yet.

    Returns
    -------
    Cohort
        Groups, test, and who was left out.

    Raises
    ------
    SurvivalError
        If a lesion is given twice.

    Notes
    -----
    The rules are ``RULES``.
    """
    rows: dict[tuple[bool, str], list[tuple[str, float, Ending | None, str, str]]] = {}
    seen: set[str] = set()
    left_out: list[str] = []
    for record in records:
        if record.lesion in seen:
            raise SurvivalError(f"lesion: {record.lesion} is given 2 times, at most 1")
        seen.add(record.lesion)
        fitted = record.first_fitted is not None and record.first_fitted <= as_of
        start = record.first_fitted if fitted and record.first_fitted is not None else record.first_seen
        known = record.ended is not None and record.ended <= as_of
        end = record.ended if known and record.ended is not None else min(record.last_seen, as_of)
        if end < start:
            left_out.append(record.lesion)
            continue
        key = (not fitted, record.group if fitted else "never fitted")
        rows.setdefault(key, []).append(
            (
                record.lesion,
                float((end - start).days),
                record.ending if known else None,
                record.person or f"of {record.lesion}",
                record.stratum,
            )
        )
    groups = tuple(
        _group(name, TimeZero.FIRST_ASSESSMENT if never else TimeZero.FIRST_FITTING, members)
        for (never, name), members in sorted(rows.items(), key=lambda item: item[0][0])
    )
    compared = [g for g in groups if g.time_zero is TimeZero.FIRST_FITTING]
    return Cohort(groups, _test(compared), tuple(left_out))


def _test(groups: list[GroupOutcome]) -> LogRank | StratifiedTest | None:
    if not any(stratum for group in groups for stratum in group.strata):
        return logrank([(group.durations, group.healed_marks) for group in groups])
    return stratified_logrank(
        [days for group in groups for days in group.durations],
        [mark for group in groups for mark in group.healed_marks],
        [group.group for group in groups for _ in group.durations],
        [stratum for group in groups for stratum in group.strata],
    )


def _group(
    name: str, zero: TimeZero, members: list[tuple[str, float, Ending | None, str, str]]
) -> GroupOutcome:
    lesions, durations, endings, people, strata = (tuple(column) for column in zip(*members, strict=True))
    healed = [int(ending is Ending.HEALED) for ending in endings]
    return GroupOutcome(
        group=name,
        time_zero=zero,
        lesions=lesions,
        durations=durations,
        endings=endings,
        incidence=incidence_by_people(durations, endings, _CAUSES, people),
        healing=kaplan_meier(durations, healed),
        until=known_until(durations, [ending is not None for ending in endings]),
        open_mean=restricted_mean(
            # Who ended otherwise stays unhealed to the limit.
            [
                days if ending in (None, Ending.HEALED) else max(days, MEAN_UNTIL)
                for days, ending in zip(durations, endings, strict=True)
            ],
            healed,
            MEAN_UNTIL,
        ),
        strata=strata,
    )
