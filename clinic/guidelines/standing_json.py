"""The findings of one foot read strictly from parsed JSON: every fault named, none repaired."""

import math
from collections.abc import Mapping
from datetime import date
from typing import Any, get_args

from clinic.guidelines.errors import FactsError
from clinic.guidelines.standing_findings import (
    BONE,
    CAUSES,
    SIGNS,
    InfectionFinding,
    LimbFindings,
    Looker,
    PerfusionFinding,
    Pulses,
    Waveform,
)

__all__ = ["parse_findings"]

#: Bounds and unit of each number.
NUMBERS: dict[str, tuple[float, float, str]] = {
    "ankle_brachial_index": (0, 3, ""),
    "toe_brachial_index": (0, 3, ""),
    "ankle_pressure_mmhg": (0, 350, "mmHg"),
    "toe_pressure_mmhg": (0, 350, "mmHg"),
    "tcpo2_mmhg": (0, 350, "mmHg"),
    "redness_mm": (0, 300, "mm"),
    "temperature_c": (25, 45, "degrees C"),
    "pulse_per_min": (0, 300, "per minute"),
    "breaths_per_min": (0, 100, "per minute"),
    "white_cells_10e9_per_l": (0, 500, "x 10^9 per litre"),
}
CHOICES: dict[str, tuple[str, ...]] = {
    "pulses": get_args(Pulses),
    "waveform": get_args(Waveform),
    "bone": BONE,
    "other_cause": CAUSES,
    "by": get_args(Looker),
}
PERFUSION = (
    "on",
    "ankle_brachial_index",
    "ankle_pressure_mmhg",
    "toe_pressure_mmhg",
    "toe_brachial_index",
    "tcpo2_mmhg",
    "pulses",
    "waveform",
    "newly_lost_pulse",
    "newly_cold",
)
INFECTION = (
    "on",
    "signs",
    "looked",
    "redness_mm",
    "deep",
    "bone",
    "unwell",
    "other_cause",
    "by",
    "temperature_c",
    "pulse_per_min",
    "breaths_per_min",
    "white_cells_10e9_per_l",
)
TOP = ("today", "perfusion", "revascularised_on", "infection")
LIST_MAX = 5000  # design choice: a life of daily looks


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


class _Faults(list[str]):
    """Collects one sentence per fault while a file is read."""

    def day(self, name: str, value: Any) -> date | None:
        # fromisoformat takes weeks and compact forms too; the contract is the plain one.
        if isinstance(value, str) and len(value) == 10 and value[4] == value[7] == "-":
            try:
                return date.fromisoformat(value)
            except ValueError:
                pass
        self.append(f"{name} is {_shown(value)}, must be a date such as 2026-05-01")
        return None

    def past(self, name: str, value: Any, today: date | None) -> date | None:
        on = self.day(name, value)
        if on is not None and today is not None and on > today:
            self.append(f"{name} is {value}, must not lie after today, {today}")
        return on

    def items(self, given: Mapping[str, Any], name: str, *, required: bool) -> list[Any]:
        value = given.get(name)
        if value is None and not required:
            return []
        if not isinstance(value, list):
            self.append(f"{name} is {_shown(value)}, must be a list")
            return []
        if len(value) > LIST_MAX:
            self.append(f"{name} holds {len(value)} entries, must be at most {LIST_MAX}")
            return []
        return value

    def field(self, place: str, name: str, value: Any) -> None:
        """Note what is wrong with one given value of a finding."""
        if value is None:
            return
        if name in NUMBERS:
            low, high, unit = NUMBERS[name]
            number = isinstance(value, int | float) and not isinstance(value, bool)
            if not number or not math.isfinite(value) or not low <= value <= high:
                limit = f"must be a number from {low} to {high} {unit}".rstrip()
                self.append(f"{place}.{name} is {_shown(value)}, {limit}")
        elif name in CHOICES:
            if not isinstance(value, str) or value not in CHOICES[name]:
                self.append(f"{place}.{name} is {_shown(value)}, must be one of {', '.join(CHOICES[name])}")
        elif name == "signs":
            if not isinstance(value, list):
                self.append(f"{place}.{name} is {_shown(value)}, must be a list")
                return
            for sign in value:
                if not isinstance(sign, str) or sign not in SIGNS:
                    self.append(f"{place}.{name} names {_shown(sign)}, must be of {', '.join(SIGNS)}")
        elif not isinstance(value, bool):
            self.append(f"{place}.{name} is {_shown(value)}, must be true or false")

    def finding(
        self, place: str, given: Any, allowed: tuple[str, ...], today: date | None
    ) -> dict[str, Any] | None:
        """One finding's fields, or None after noting what is wrong with them."""
        before = len(self)
        if not isinstance(given, Mapping):
            self.append(f"{place} is {_shown(given)}, must be one object of named findings")
            return None
        on = self.past(f"{place}.on", given.get("on"), today)
        for name, value in given.items():
            if name not in allowed:
                self.append(
                    f"{place}.{name[:40]} is no field of the contract (given {_shown(value)}); allowed are "
                    f"{', '.join(allowed)}"
                )
            elif name != "on":
                self.field(place, name, value)
        if len(self) > before:
            return None
        fields = {**given, "on": on}
        if given.get("signs") is not None:
            fields["signs"] = tuple(given["signs"])
        return fields


def parse_findings(given: Any) -> tuple[LimbFindings, date]:
    """Read the findings of one foot and the day they are asked for.

    Parameters
    ----------
    given : mapping
        As read from JSON: today, perfusion, infection and, if any, revascularised_on.

    Returns
    -------
    LimbFindings
    datetime.date
        Today.

    Raises
    ------
    FactsError
        With all faults together: an unknown field, a missing required one, a wrong type, a value out of
        bounds, a day after today.
    """
    if not isinstance(given, Mapping):
        raise FactsError((f"the findings are {_shown(given)}, must be one JSON object",))
    faults = _Faults()
    for name, value in given.items():
        if name not in TOP:
            faults.append(
                f"{name[:40]} is no field of the contract (given {_shown(value)}); allowed are "
                f"{', '.join(TOP)}"
            )
    today = faults.day("today", given.get("today"))
    perfusion = [
        faults.finding(f"perfusion[{place}]", one, PERFUSION, today)
        for place, one in enumerate(faults.items(given, "perfusion", required=True))
    ]
    infection = [
        faults.finding(f"infection[{place}]", one, INFECTION, today)
        for place, one in enumerate(faults.items(given, "infection", required=True))
    ]
    operations = [
        faults.past(f"revascularised_on[{place}]", one, today)
        for place, one in enumerate(faults.items(given, "revascularised_on", required=False))
    ]
    if faults or today is None:
        raise FactsError(tuple(faults))
    return (
        LimbFindings(
            perfusion=tuple(PerfusionFinding(**one) for one in perfusion if one is not None),
            infection=tuple(InfectionFinding(**one) for one in infection if one is not None),
            revascularised_on=tuple(day for day in operations if day is not None),
        ),
        today,
    )
