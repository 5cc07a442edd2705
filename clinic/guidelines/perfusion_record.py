"""The blood-supply findings of one foot in the order of their days: what stands of each measurement?"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from clinic.guidelines.perfusion import ischaemia_grade
from clinic.guidelines.standing_findings import LimbFindings, PerfusionFinding, StandingSettings
from clinic.guidelines.standing_state import spoken

__all__ = ["PerfusionRecord", "PerfusionReading", "StandingReading"]

WORDS = {
    "toe_pressure_mmhg": "toe pressure",
    "tcpo2_mmhg": "TcPO2",
    "ankle_brachial_index": "ankle-brachial index",
    "ankle_pressure_mmhg": "ankle pressure",
    "toe_brachial_index": "toe-brachial index",
}
GRADED_AS = {
    "toe_pressure_mmhg": "toe_pressure",
    "tcpo2_mmhg": "tcpo2",
    "ankle_brachial_index": "ankle_brachial",
    "ankle_pressure_mmhg": "ankle_pressure",
}
#: Each of these ends, on its day, what was measured until then (design choice).
ENDS_VALIDITY = ("newly_lost_pulse", "newly_cold", "rest_pain", "gangrene", "worsening")


@dataclass(frozen=True)
class PerfusionReading:
    """One day's value of one measurement, with its WIfI grade."""

    on: date
    field: str
    value: float
    grade: int
    early: bool  # so soon after revascularisation that it can worsen the state but not mend it

    @property
    def said(self) -> str:
        unit = "" if self.field.endswith("_index") else " mmHg"
        return f"{WORDS[self.field]} {self.value:g}{unit} on {spoken(self.on)}"


@dataclass(frozen=True)
class StandingReading:
    """The reading of one measurement that stands, and a better one that waits to be repeated."""

    reading: PerfusionReading
    repeat: PerfusionReading | None = None


def _worst_each_day(readings: Iterable[PerfusionReading]) -> list[PerfusionReading]:
    """Of each day the reading of the worst grade, in the order of the days."""
    by_day: dict[date, list[PerfusionReading]] = defaultdict(list)
    for reading in readings:
        by_day[reading.on].append(reading)
    return [max(by_day[on], key=lambda r: r.grade) for on in sorted(by_day)]


def _grade(field: str, value: float) -> int | None:
    given: dict[str, Any] = {GRADED_AS[field]: value}
    return ischaemia_grade(**given).grade


class PerfusionRecord:
    """The findings of one foot in the order of their days, asked one thing at a time."""

    def __init__(self, findings: LimbFindings, today: date, settings: StandingSettings) -> None:
        self.today, self.settings = today, settings
        self.found = sorted(findings.perfusion, key=lambda f: f.on)
        self.operations = sorted(findings.revascularised_on)
        self.span = settings.perfusion_days_healing if findings.healing_on_track else settings.perfusion_days
        self.toe = self._fold(self._toe_readings())
        self.oxygen = self._fold(self._readings("tcpo2_mmhg"))
        self.ended = self.last(ENDS_VALIDITY)

    def _wait(self, field: str) -> int:
        return self.settings.tcpo2_after_days if field == "tcpo2_mmhg" else self.settings.toe_after_days

    def _early(self, field: str, on: date) -> bool:
        """Whether a day lies on or soon after an operation, too soon for this measurement to tell."""
        return any(0 <= (on - day).days < self._wait(field) for day in self.operations)

    def _readings(
        self, field: str, found: Iterable[PerfusionFinding] | None = None
    ) -> list[PerfusionReading]:
        """The worst value of each day, oldest first; a value that grades nothing is left out."""
        worst: dict[date, PerfusionReading] = {}
        for one in self.found if found is None else found:
            value = getattr(one, field)
            grade = None if value is None else _grade(field, value)
            if grade is None:
                continue
            if one.on not in worst or value < worst[one.on].value:
                worst[one.on] = PerfusionReading(one.on, field, value, grade, self._early(field, one.on))
        return [worst[on] for on in sorted(worst)]

    def _toe_readings(self) -> list[PerfusionReading]:
        """Toe pressures, and the TcPO2 taken in their place where a podiatrist found the toe unmeasurable."""
        instead = self._readings("tcpo2_mmhg", [one for one in self.found if one.toe_unmeasurable])
        return _worst_each_day((*self._readings("toe_pressure_mmhg"), *instead))

    def _fold(self, readings: list[PerfusionReading]) -> StandingReading | None:
        """What stands after all readings: worse at once, one grade better at once, more only if repeated."""
        standing: PerfusionReading | None = None
        waiting: PerfusionReading | None = None
        for new in readings:
            if standing is None or new.grade >= standing.grade:
                standing, waiting = new, None
            elif new.early:
                continue
            elif standing.grade - new.grade == 1 or self._operated(standing.on, new.on):
                standing, waiting = new, None
            elif waiting is None:
                waiting = new
            else:
                standing, waiting = max(waiting, new, key=lambda r: (r.grade, r.on)), None
        return None if standing is None else StandingReading(standing, waiting)

    def _operated(self, after: date, before: date) -> bool:
        return any(after <= day < before for day in self.operations)

    def last(self, fields: tuple[str, ...]) -> date | None:
        return max((one.on for one in self.found if any(getattr(one, f) for f in fields)), default=None)

    def newest(
        self, field: str, keep: Callable[[Any], bool] = lambda value: True
    ) -> tuple[date, list[Any]] | None:
        """Day and values of the newest findings of one field."""
        given = [(f.on, getattr(f, field)) for f in self.found if getattr(f, field) is not None]
        given = [(on, value) for on, value in given if keep(value)]
        if not given:
            return None
        day = max(on for on, _ in given)
        return day, [value for on, value in given if on == day]

    def toe_level(self) -> Iterator[PerfusionReading]:
        """Every toe-level reading that could settle a doubt."""
        for one in self.found:
            for field in ("toe_pressure_mmhg", "tcpo2_mmhg"):
                value = getattr(one, field)
                if value is not None and not self._early(field, one.on):
                    yield PerfusionReading(one.on, field, value, _grade(field, value) or 0, False)

    def open_operation(self) -> date | None:
        """The last revascularisation, if no toe-level value has been taken late enough after it."""
        if not self.operations:
            return None
        last = self.operations[-1]
        return None if any(r.on > last for r in self.toe_level()) else last

    def since(self, day: date) -> bool:
        """Whether a toe-level value was taken after a day."""
        return any(r.on > day for r in self.toe_level())

    def cleared_since(self, day: date) -> bool:
        """Whether on a later day every toe-level value was of grade 0."""
        return any(one.on > day and one.grade == 0 for one in _worst_each_day(self.toe_level()))

    def counts(self, on: date) -> bool:
        """Whether a finding of a day still permits something."""
        return (self.today - on).days <= self.span and self.permits(on)

    def permits(self, on: date) -> bool:
        """Whether it would, whatever its age: nothing since has ended what was measured then."""
        later = [self.ended] if self.ended else []
        later += self.operations[-1:]
        return all(on > day for day in later)

    def current(self, reading: PerfusionReading) -> bool:
        return not reading.early and self.counts(reading.on)

    def low_index(self) -> tuple[date, float] | None:
        """The newest ankle index of an artery that can be compressed."""
        found = self.newest("ankle_brachial_index", lambda value: value <= 1.3)
        return None if found is None else (found[0], min(found[1]))

    def ankle(self) -> list[PerfusionReading]:
        """The newest ankle values, each graded."""
        readings = []
        low = self.low_index()
        if low is not None:
            grade = _grade("ankle_brachial_index", low[1])
            readings.append(PerfusionReading(low[0], "ankle_brachial_index", low[1], grade or 0, False))
        pressure = self.newest("ankle_pressure_mmhg")
        if pressure is not None:
            value = min(pressure[1])
            grade = _grade("ankle_pressure_mmhg", value)
            readings.append(PerfusionReading(pressure[0], "ankle_pressure_mmhg", value, grade or 0, False))
        return readings
