"""The scenario file as values."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

__all__ = ["LesionPlot", "PersonPlot", "Scenario", "load"]


@dataclass(frozen=True)
class LesionPlot:
    """One lesion: where, what of, how it runs and from which week of the person's story."""

    place: str
    side: str
    course: str
    first_cm2: float
    cause: str = "neuropathic"
    kind: str = "ulcer"
    from_week: int = 0
    method: str = "traced"
    depth: str = "subcutaneous"
    recurs: bool = False
    confirm: bool = True
    end: str = ""
    infected_week: int | None = None
    events: tuple[dict[str, Any], ...] = ()
    results: tuple[dict[str, Any], ...] = ()
    antibiotics: tuple[dict[str, Any], ...] = ()
    #: Week of the non-healing review, what it leaves due, and what was done about the rest.
    review: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class PersonPlot:
    """One invented person and the weeks of their story."""

    given: str
    family: str
    number: str
    born: str
    weeks: int
    last_days_ago: int
    lesions: tuple[LesionPlot, ...]
    kg: float | None = None
    weighed_weeks_ago: int = 1
    foot: tuple[float, float] = (260, 98)
    diabetes: str = "type_2"
    telephone: str = "000 555 0100"
    allergies: str = ""
    language: str = ""
    dialysis: bool = False
    findings: dict[str, Any] = field(default_factory=dict)
    circumstances: dict[str, Any] = field(default_factory=dict)
    devices: tuple[dict[str, Any], ...] = ()
    wear: tuple[str, ...] = ("most",)
    plan_week: int | None = None
    plan_draft: bool = False
    #: A ring of other foam round lesion A in a layer of the plan, and why.
    inlay: dict[str, Any] = field(default_factory=dict)
    #: Peaks in the shoe at lesion A, without and with the cut [kPa].
    measured: tuple[float, ...] = ()
    #: A pressure map of the uncut insole was measured, and the plan starts from it.
    mapped: bool = False
    red_at_watch_week: int | None = None
    missed_weeks: tuple[int, ...] = ()
    flag_week: int | None = None
    flag: str = "cold_pale_blue_foot"
    flag_answered: bool = False
    photos: bool = True
    #: Photos with a card, scaled and traced, every third week.
    traced: bool = False
    referral: dict[str, Any] | None = None
    look: str = ""
    moved_days_ago: int | None = None
    #: Drawn from a seed rather than written by hand.
    drawn: bool = False
    #: State of the person from that day on.
    gone: str = "moved"
    #: Which of the scenario's podiatrists sees this person.
    podiatrist: int = 0
    #: Toe pressure and circumstances are asked anew after so many weeks; 0: before a non-removable device.
    asked_every: int = 0
    #: Registered a second time by mistake: what was typed differently, and how many days ago.
    again: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Scenario:
    site: dict[str, Any]
    users: tuple[dict[str, str], ...]
    people: tuple[PersonPlot, ...]


def load(path: Path) -> Scenario:
    """Read the scenario; a key it does not know is an error, so that no story is silently cut."""
    raw = tomllib.loads(path.read_text(encoding="utf-8"))
    people = []
    for one in raw["person"]:
        lesions = tuple(_lesion(lesion) for lesion in one.pop("lesion", []))
        lists = {k: tuple(v) for k, v in one.items() if isinstance(v, list)}
        people.append(PersonPlot(**{**one, **lists}, lesions=lesions))
    return Scenario(site=raw["site"], users=tuple(raw["user"]), people=tuple(people))


def _lesion(raw: dict[str, Any]) -> LesionPlot:
    values: dict[str, Any] = {key: tuple(v) if isinstance(v, list) else v for key, v in raw.items()}
    return LesionPlot(**values)
