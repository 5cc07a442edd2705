"""Reading visits: what the weekly page shows beside its empty fields, and one stored visit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Protocol

from clinic.alerts.reads.flags import flag_words
from clinic.capture.reads.repeat import site_error
from clinic.capture.reads.unchanged import unchanged_from
from clinic.curves.reads.healing import Reading
from clinic.guidelines.due import fact_age
from clinic.healing.progress import change_between
from clinic.healing.series import Method
from clinic.models import (
    INFECTION_SIGNS,
    OPEN_STATES,
    AreaMethod,
    Attendance,
    Debridement,
    Event,
    EventKind,
    Lesion,
    Measurement,
    Person,
    Photo,
    PhotoConsent,
    Prescription,
    RedFlag,
    Visit,
    VisitState,
    WatchPoint,
    Weight,
)
from clinic.people.reads.risk import follow_up_months
from clinic.record.dates import day_words
from clinic.relief.reads.watch import points_of

__all__ = [
    "LesionSheet",
    "VisitPage",
    "VisitSheet",
    "area_words",
    "change_words",
    "correction_sheet",
    "infection_words",
    "latest_visit",
    "lesions_to_see",
    "visit_of_day",
    "visit_page",
    "visit_sheet",
]

#: Of a mild infection these are decided and recorded at the visit that finds it, by local policy.
INFECTION_CARE = (EventKind.SAMPLE, EventKind.ANTIBIOTIC, EventKind.DECISION)
METHOD_WORDS = {AreaMethod.TRACED: "traced", AreaMethod.ELLIPSE: "length × width"}


class TypedArea(Protocol):
    """An area as the page has it, not yet stored."""

    @property
    def method(self) -> str: ...
    @property
    def debridement(self) -> str: ...
    @property
    def area_mm2(self) -> float | None: ...


@dataclass(frozen=True)
class LesionSheet:
    """One lesion of the weekly page with what was found last."""

    lesion: Lesion
    last: Measurement | None
    last_area: Measurement | None
    #: The last area by each way in which one can be found: method, and before or after debridement.
    last_by_way: Mapping[tuple[str, str], Measurement] = field(default_factory=dict)

    #: The day wound bed, edge and dressing were last described, where one touch may say "unchanged since".
    unchanged_since: date | None = None

    def comparable(self, method: str, debridement: str) -> Measurement | None:
        """The last area that this one may be compared with."""
        return self.last_by_way.get((method, debridement))

    @property
    def traced_before(self) -> bool:
        """Whether the last area was traced, so that a length and a width are not compared with it."""
        last = self.last_area
        return last is not None and last.method == AreaMethod.TRACED and not last.covered_dry

    @property
    def prefix(self) -> str:
        return f"lesion-{self.lesion.pk}"

    @property
    def described_words(self) -> str:
        """Wound bed, edge and dressing as the last visit has them."""
        if self.last is None:
            return ""
        described = (
            ("bed", self.last.get_tissue_display()),
            ("edge", self.last.get_edge_display()),
            ("dressing", self.last.dressing),
        )
        return ", ".join(f"{name} {words.lower()}" for name, words in described if words)

    @property
    def last_words(self) -> str:
        """The last area with its unit, method and day."""
        return "" if self.last_area is None else area_words(self.last_area, dated=True)


@dataclass(frozen=True)
class VisitSheet:
    """What the weekly page knows before anything is asked."""

    person: Person
    lesions: tuple[LesionSheet, ...]
    devices: tuple[Prescription, ...]
    last: Visit | None
    weight: Weight | None
    weight_due: bool
    photo_consent: bool
    watch: tuple[WatchPoint, ...] = ()
    #: Shortest and longest interval of the risk category of a person without an open lesion.
    months: tuple[int, int] | None = None

    @property
    def worn(self) -> tuple[Prescription, ...]:
        """Running devices that were fitted, so that wear can be asked."""
        return tuple(d for d in self.devices if d.fitted_on or d.sealed_on)

    @property
    def removable(self) -> bool:
        return any(not d.is_non_removable for d in self.worn)

    @property
    def stays_on(self) -> bool:
        return any(d.is_non_removable for d in self.worn)

    @property
    def open_by(self) -> date | None:
        """The earliest day by which a sealed device must be opened."""
        return min((d.open_by for d in self.sealed if d.open_by), default=None)

    @property
    def sealed(self) -> tuple[Prescription, ...]:
        return tuple(d for d in self.worn if d.is_non_removable and d.stays_closed)


@dataclass(frozen=True)
class VisitPage:
    """A stored visit with everything found at it."""

    visit: Visit
    measurements: tuple[Measurement, ...]
    signs: tuple[str, ...]
    photos: tuple[Photo, ...]
    flags: tuple[tuple[RedFlag, list[str]], ...]
    changes: tuple[object, ...]
    #: Watch points looked at, and who finished the visit when another person had begun it.
    watched: frozenset[int] = frozenset()
    finished_by: object | None = None
    #: What was recorded that day of a sample, an antibiotic or a decision, by lesion.
    care: Mapping[int, tuple[str, ...]] = field(default_factory=dict)

    @property
    def rows(self) -> list[tuple[Measurement, str, tuple[str, ...]]]:
        """Each measurement with what was seen of infection, in words, and what was done about it."""
        return [(row, signs, self.care.get(row.lesion_id, ())) for row, signs in self.findings]

    @property
    def measured(self) -> str:
        """Signs of the whole person that were measured, in words."""
        named = (
            ("temperature", self.visit.temperature_c, "°C"),
            ("pulse", self.visit.pulse_per_min, "per minute"),
            ("breaths", self.visit.breaths_per_min, "per minute"),
            ("white cells", self.visit.white_cells_10e9_per_l, "× 10⁹ per litre"),
        )
        return ", ".join(f"{name} {value} {unit}" for name, value, unit in named if value is not None)

    @property
    def findings(self) -> list[tuple[Measurement, str]]:
        """Each measurement with what was seen of infection, in words."""
        return list(zip(self.measurements, self.signs, strict=True))


def area_words(row: Measurement | Reading, *, dated: bool = False) -> str:
    """An area as every screen says it: figure, unit, method, and the day if wanted."""
    if row.area_mm2 is None:
        words = f"not measured: {row.not_measured_because}"
    elif row.covered_dry:
        words = "covered and dry"
    else:
        words = (
            f"{row.area_mm2 / 100:.2f} cm², {METHOD_WORDS[AreaMethod(row.method)]}, "
            f"{Debridement(row.debridement).label.lower()}"
        )
    if not dated:
        return words
    return f"{words}, {day_words(row.day if isinstance(row, Reading) else row.visit.visited_on)}"


def infection_words(row: Measurement) -> str:
    """What was seen of infection; empty when nobody looked."""
    if not row.infection_looked:
        return ""
    signs = [words.lower() for key, words in INFECTION_SIGNS.items() if key in row.infection_signs]
    return ", ".join(signs) or "no sign"


def lesions_to_see(person: Person) -> list[Lesion]:
    """Lesions that a visit looks at: open, or closed and not yet confirmed."""
    return list(
        Lesion.objects.filter(limb__person=person, state__in=OPEN_STATES)
        .select_related("limb")
        .order_by("label", "pk")
    )


def latest_visit(person: Person) -> Visit | None:
    """The latest standing visit, made or missed: it carries the next date."""
    return person.visits.filter(state=VisitState.STANDS).order_by("-visited_on", "-pk").first()


def visit_of_day(person: Person, day: date) -> Visit | None:
    """The standing visit of a person on a day."""
    rows = person.visits.filter(state=VisitState.STANDS, attendance=Attendance.CAME, visited_on=day)
    return rows.select_related("person__site", "created_by").first()


def visit_sheet(person: Person, day: date) -> VisitSheet:
    """The weekly page of a person (seven queries, whatever the number of lesions)."""
    lesions = lesions_to_see(person)
    last_came = (
        person.visits.filter(state=VisitState.STANDS, attendance=Attendance.CAME)
        .order_by("-visited_on", "-pk")
        .first()
    )
    weight = person.weights.newest_first().first()
    devices = Prescription.objects.filter(limb__person=person, stopped_on=None).select_related("limb")
    return VisitSheet(
        person=person,
        lesions=_with_last(lesions),
        devices=tuple(devices.order_by("limb__side")),
        last=last_came,
        weight=weight,
        weight_due=fact_age(weight.measured_on if weight else None, person.site.weight_fresh_days, day)
        != "fresh",
        photo_consent=PhotoConsent.objects.filter(
            person=person, given_on__lte=day, withdrawn_on=None
        ).exists(),
        watch=tuple(points_of(person)),
        months=None if lesions else follow_up_months(person, day),
    )


def _with_last(lesions: list[Lesion], before: Visit | None = None) -> tuple[LesionSheet, ...]:
    rows = Measurement.objects.filter(lesion__in=lesions, visit__state=VisitState.STANDS)
    if before is not None:
        rows = rows.filter(visit__visited_on__lt=before.visited_on)
    last: dict[int, Measurement] = {}
    last_area: dict[int, Measurement] = {}
    by_way: dict[int, dict[tuple[str, str], Measurement]] = {}
    running: dict[int, int] = {}
    for row in rows.select_related("visit").order_by("visit__visited_on", "pk"):
        last[row.lesion_id] = row
        running[row.lesion_id] = running.get(row.lesion_id, 0) + 1 if row.unchanged_since else 0
        if row.area_mm2 is not None:
            last_area[row.lesion_id] = row
            if not row.covered_dry:
                by_way.setdefault(row.lesion_id, {})[row.method, row.debridement] = row
    return tuple(
        LesionSheet(
            one,
            last.get(one.pk),
            last_area.get(one.pk),
            by_way.get(one.pk, {}),
            unchanged_from(last.get(one.pk), running.get(one.pk, 0)),
        )
        for one in lesions
    )


def correction_sheet(visit: Visit, measurements: Iterable[Measurement]) -> VisitSheet:
    """The page of a stored visit: its own lesions, and what came before it."""
    person = visit.person
    last = person.visits.filter(
        state=VisitState.STANDS, attendance=Attendance.CAME, visited_on__lt=visit.visited_on
    ).first()
    return VisitSheet(
        person=person,
        lesions=_with_last([row.lesion for row in measurements], before=visit),
        devices=(),
        last=last,
        weight=None,
        weight_due=False,
        photo_consent=False,
    )


def change_words(lesion: Lesion, day: date, area: TypedArea | None, state_told: bool) -> tuple[str, str]:
    """Change of a typed area since the last one, in words, and whether it is `real`, `within` or `none`.

    Areas of two methods, or of two states of debridement, are never compared: then the words say why.
    """
    if area is None or area.area_mm2 is None:
        return "", "none"
    before = (
        Measurement.objects.filter(
            lesion=lesion, visit__state=VisitState.STANDS, visit__visited_on__lt=day, area_mm2__isnull=False
        )
        .select_related("visit")
        .order_by("-visit__visited_on", "-pk")
        .first()
    )
    if before is None or before.area_mm2 is None:
        return "first area of this ulcer", "none"
    covered = area.area_mm2 == 0
    if not covered and before.method != area.method:
        return f"not compared: last was {METHOD_WORDS[AreaMethod(before.method)]}", "none"
    if not covered and not state_told:
        return "say before or after debridement to compare with the last area", "none"
    if not covered and before.debridement != area.debridement:
        return f"not compared: last was {before.get_debridement_display().lower()}", "none"
    how = Method.TRACED if before.method == AreaMethod.TRACED else Method.ELLIPSE
    share = site_error(lesion.limb.person.site_id) if how == Method.TRACED else None
    change = change_between(before.area_mm2, area.area_mm2, how, share=share)
    since = day_words(before.visit.visited_on)
    return f"{change.words}, since {since}", "real" if change.real else "within"


def visit_page(visit: Visit) -> VisitPage:
    """One visit, readable (six queries, whatever was found)."""
    rows = tuple(
        visit.measurements.select_related("lesion__limb", "visit", "created_by").order_by(
            "lesion__label", "pk"
        )
    )
    changes = tuple(visit.history.select_related("history_user").order_by("-history_id"))
    done = Event.objects.filter(
        lesion__in=[row.lesion_id for row in rows], happened_on=visit.visited_on, kind__in=INFECTION_CARE
    )
    care: dict[int, tuple[str, ...]] = {}
    for event in done.order_by("pk"):
        words = f"{event.get_kind_display().lower()}{f': {event.note}' if event.note else ''}"
        if event.lesion_id is not None:
            care[event.lesion_id] = (*care.get(event.lesion_id, ()), words)
    flags = visit.red_flags.select_related("answered_by").order_by("raised_at")
    return VisitPage(
        visit=visit,
        measurements=rows,
        signs=tuple(infection_words(row) for row in rows),
        photos=tuple(visit.photos.select_related("lesion")),
        flags=tuple((flag, flag_words(flag.flags)) for flag in flags),
        changes=changes,
        care=care,
        watched=frozenset(visit.watch_findings.values_list("point_id", flat=True)),
        finished_by=next(
            (one.history_user for one in changes if one.history_change_reason == "finished"), None
        ),
    )
