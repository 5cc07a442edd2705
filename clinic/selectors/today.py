"""Today: who is flagged, overdue, due, without a date, or due in remission."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.db.models import F, OuterRef, Q, Subquery, Window
from django.db.models.functions import RowNumber
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.safestring import mark_safe

from clinic.charts.sparkline import sparkline_svg
from clinic.healing.progress import change_between
from clinic.healing.series import Method
from clinic.models import (
    NON_REMOVABLE,
    AreaMethod,
    Attendance,
    Contact,
    ContactResult,
    Lesion,
    LesionState,
    LimbPlan,
    Measurement,
    Person,
    PersonState,
    Prescription,
    RedFlag,
    Site,
    Visit,
    VisitState,
    Weight,
)

from .flags import flag_words
from .visits import area_words

__all__ = ["Ask", "LesionLine", "TodayLists", "TodayRow", "remission_days", "today_lists"]

OPEN = (LesionState.OPEN, LesionState.TO_CONFIRM)
SPARK_VISITS = 8
COMING_DAYS = 7
#: A healed ulcer puts a foot in the highest risk category, seen every one to three months (IWGDF prevention
#: guideline 2023); the longest of these is the limit when no date was agreed.
REMISSION_DAYS = 90


@dataclass(frozen=True)
class LesionLine:
    """One open lesion in a row: where, its last area, the change before it, and a spark of the last visits."""

    lesion: Lesion
    last: str
    change: str
    kind: str
    spark: str


@dataclass(frozen=True)
class Ask:
    """One thing a row asks for; `kind` is note, ask or stop."""

    words: str
    kind: str
    url_name: str = ""
    pk: int | str | None = None


@dataclass(frozen=True)
class TodayRow:
    person: Person
    day: date | None
    words: str
    lesions: tuple[LesionLine, ...] = ()
    asks: tuple[Ask, ...] = ()


@dataclass(frozen=True)
class TodayLists:
    site: Site
    day: date
    flagged: tuple[TodayRow, ...]
    overdue: tuple[TodayRow, ...]
    due: tuple[TodayRow, ...]
    coming: tuple[TodayRow, ...]
    no_date: tuple[TodayRow, ...]
    remission: tuple[TodayRow, ...]


@dataclass
class _Case:
    """Everything one person brings to the lists; filled by a fixed number of queries."""

    person: Person
    lesions: list[Lesion] = field(default_factory=list)
    lines: tuple[LesionLine, ...] = ()
    flags: list[RedFlag] = field(default_factory=list)
    sealed: list[Prescription] = field(default_factory=list)
    drafts: list[LimbPlan] = field(default_factory=list)
    attempts: list[Contact] = field(default_factory=list)
    healed_on: date | None = None


def remission_days() -> int:
    """The longest interval between two visits in remission [d]."""
    return REMISSION_DAYS


def today_lists(site: Site, day: date) -> TodayLists:
    """The lists of one site on one day (eight queries, whatever the number of people)."""
    cases = _cases(site)
    _add_measurements(cases)
    _add_the_rest(cases, site)
    flagged: list[tuple[tuple[int, date], TodayRow]] = []
    lists: dict[str, list[TodayRow]] = defaultdict(list)
    for case in cases.values():
        for rank, row in _flagged(case, day):
            flagged.append((rank, row))
        name, row = _placed(case, day)
        if name:
            lists[name].append(row)
    by_day = {
        name: tuple(sorted(rows, key=lambda r: (r.day or date.max, r.person.family_name, r.person.pk)))
        for name, rows in lists.items()
    }
    return TodayLists(
        site=site,
        day=day,
        flagged=tuple(row for _, row in sorted(flagged, key=lambda pair: (pair[0], pair[1].person.pk))),
        **{name: by_day.get(name, ()) for name in ("overdue", "due", "coming", "no_date", "remission")},
    )


def _cases(site: Site) -> dict[int, _Case]:
    """People in care with the latest standing visit's date, the last weight and the last time seen."""
    visits = Visit.objects.filter(person=OuterRef("pk"), state=VisitState.STANDS).order_by(
        "-visited_on", "-pk"
    )
    weights = Weight.objects.filter(person=OuterRef("pk")).order_by("-measured_on", "-pk")
    people = (
        Person.objects.filter(site=site, state=PersonState.IN_CARE)
        .select_related("site")
        .annotate(
            latest_on=Subquery(visits.values("visited_on")[:1]),
            latest_next_on=Subquery(visits.values("next_on")[:1]),
            latest_attendance=Subquery(visits.values("attendance")[:1]),
            weighed_on=Subquery(weights.values("measured_on")[:1]),
        )
    )
    cases = {person.pk: _Case(person) for person in people}
    lesions = (
        Lesion.objects.filter(limb__person__site=site, limb__person__state=PersonState.IN_CARE)
        .filter(Q(state__in=OPEN) | Q(state=LesionState.HEALED))
        .select_related("limb")
        .order_by("label", "pk")
    )
    for lesion in lesions:
        case = cases[lesion.limb.person_id]
        if lesion.state in OPEN:
            case.lesions.append(lesion)
        elif lesion.confirmed_on and (case.healed_on is None or lesion.confirmed_on > case.healed_on):
            case.healed_on = lesion.confirmed_on
    return cases


def _add_measurements(cases: dict[int, _Case]) -> None:
    """The last few areas of every open lesion, in one query."""
    lesions = [lesion for case in cases.values() for lesion in case.lesions]
    recent = (
        Measurement.objects.filter(lesion__in=lesions, visit__state=VisitState.STANDS)
        .annotate(
            back=Window(
                RowNumber(),
                partition_by=[F("lesion_id")],
                order_by=[F("visit__visited_on").desc(), F("pk").desc()],
            )
        )
        .filter(back__lte=SPARK_VISITS)
        .select_related("visit")
    )
    rows: dict[int, list[Measurement]] = defaultdict(list)
    for row in recent:
        rows[row.lesion_id].append(row)
    for case in cases.values():
        case.lines = tuple(_line(lesion, rows[lesion.pk]) for lesion in case.lesions)


def _line(lesion: Lesion, rows: list[Measurement]) -> LesionLine:
    ordered = sorted(rows, key=lambda row: (row.visit.visited_on, row.pk))
    measured = [row for row in ordered if row.area_mm2 is not None]
    last = area_words(ordered[-1], dated=True) if ordered else "not measured yet"
    change, kind = _change(measured)
    return LesionLine(lesion, last, change, kind, _spark(ordered))


def _spark(rows: list[Measurement]) -> str:
    """The last visits as a line; an area of another kind than the last one is a gap, never a step."""
    kinds = [(row.method, row.debridement) for row in rows if row.area_mm2 is not None]
    if not kinds:
        return ""
    points = {
        row.visit.visited_on: row.area_mm2 if (row.method, row.debridement) == kinds[-1] else None
        for row in rows
    }
    return mark_safe(sparkline_svg(sorted(points.items())))  # noqa: S308  numbers only, drawn by us


def _change(measured: list[Measurement]) -> tuple[str, str]:
    """Change between the last two areas, only when they are of one method and one state."""
    if len(measured) < 2:
        return "", "none"
    before, last = measured[-2:]
    if (before.method, before.debridement) != (last.method, last.debridement):
        return "not compared: another method or debridement state before", "none"
    method = Method.TRACED if last.method == AreaMethod.TRACED else Method.ELLIPSE
    change = change_between(float(before.area_mm2 or 0), float(last.area_mm2 or 0), method)
    return change.words, "real" if change.real else "within"


def _add_the_rest(cases: dict[int, _Case], site: Site) -> None:
    """Flags, sealed devices, plans not signed and attempts to reach, one query each."""
    for flag in RedFlag.objects.filter(person__in=cases, answer="").order_by("raised_at"):
        cases[flag.person_id].flags.append(flag)
    sealed = Prescription.objects.filter(
        limb__person__in=cases,
        device_class__in=NON_REMOVABLE,
        stopped_on=None,
        opened_on=None,
        sealed_on__isnull=False,
    )
    for device in sealed.select_related("limb").order_by("open_by"):
        cases[device.limb.person_id].sealed.append(device)
    drafts = LimbPlan.objects.filter(limb__person__in=cases, plan__state="draft")
    for link in drafts.select_related("limb", "plan").order_by("pk"):
        cases[link.limb.person_id].drafts.append(link)
    since = timezone.now() - timedelta(days=REMISSION_DAYS)
    for contact in Contact.objects.filter(person__in=cases, tried_at__gte=since).order_by("tried_at"):
        cases[contact.person_id].attempts.append(contact)


def _flagged(case: _Case, day: date) -> Iterable[tuple[tuple[int, date], TodayRow]]:
    """Sealed devices past their day first, then red flags, each the oldest in front."""
    for device in case.sealed:
        if device.open_by is not None and device.open_by < day:
            ask = Ask("open the device now", "stop", "prescription_open", device.pk)
            words = (
                f"Sealed {device.get_device_class_display().lower()} on the {device.limb.side} foot, to be "
                f"opened by {_day(device.open_by)}"
            )
            yield (0, device.open_by), TodayRow(case.person, device.open_by, words, case.lines, (ask,))
    for flag in case.flags:
        raised = timezone.localtime(flag.raised_at).date()
        ask = Ask("answer the red flag", "stop", "flag_answer", flag.pk)
        words = f"Red flag of {_day(raised)}: {'; '.join(flag_words(flag.flags))}"
        yield (1, raised), TodayRow(case.person, raised, words, case.lines, (ask,))


def _placed(case: _Case, day: date) -> tuple[str, TodayRow]:
    """The one list by date a person stands on, if any."""
    next_on = case.person.latest_next_on  # type: ignore[attr-defined]
    opening = min(
        (d.open_by for d in case.sealed if d.open_by is not None and d.open_by >= day), default=None
    )
    if not case.lesions:
        return _remission(case, day, next_on)
    if next_on is None:
        return "no_date", TodayRow(case.person, None, _no_date_words(case), case.lines, _asks(case, day))
    row_day = next_on if opening is None else min(next_on, opening)
    row = TodayRow(case.person, row_day, _date_words(row_day, day), case.lines, _asks(case, day))
    if row_day < day:
        return "overdue", row
    if row_day == day:
        return "due", row
    if row_day <= day + timedelta(days=COMING_DAYS):
        return "coming", row
    return "", row


def _remission(case: _Case, day: date, next_on: date | None) -> tuple[str, TodayRow]:
    if case.healed_on is None:
        return "", TodayRow(case.person, None, "")
    seen = case.person.latest_on or case.healed_on  # type: ignore[attr-defined]
    due = next_on or max(seen, case.healed_on) + timedelta(days=REMISSION_DAYS)
    words = f"Healed {_day(case.healed_on)}; due {_day(due)}"
    ask = Ask("log visit", "note", "visit_new", case.person.pk)
    return ("remission" if due <= day else ""), TodayRow(case.person, due, words, (), (ask,))


def _asks(case: _Case, day: date) -> tuple[Ask, ...]:
    asks = [Ask("log visit", "note", "visit_new", case.person.pk)]
    asks += [
        Ask(f"open the sealed {d.limb.side} device today", "ask", "prescription_open", d.pk)
        for d in case.sealed
        if d.open_by == day
    ]
    asks += [Ask("sign plan", "ask", "plan", link.plan.code) for link in case.drafts]
    asks += _weight_ask(case, day)
    missed = case.person.latest_attendance == Attendance.DID_NOT_COME  # type: ignore[attr-defined]
    latest = case.person.latest_on  # type: ignore[attr-defined]
    failed = [
        one
        for one in case.attempts
        if one.result != ContactResult.REACHED
        and (latest is None or timezone.localtime(one.tried_at).date() >= latest)
    ]
    if failed:
        tried = _day(timezone.localtime(failed[-1].tried_at).date())
        asks.append(Ask(f"{len(failed)} not reached, last {tried}", "ask", "contact_new", case.person.pk))
    elif missed:
        asks.append(Ask("did not come: try to reach", "ask", "contact_new", case.person.pk))
    return tuple(asks)


def _weight_ask(case: _Case, day: date) -> list[Ask]:
    weighed: date | None = case.person.weighed_on  # type: ignore[attr-defined]
    if weighed is None:
        return [Ask("no weight yet", "note")]
    age = (day - weighed).days
    if age <= case.person.site.weight_fresh_days:
        return []
    return [Ask(f"weight is {age // 7} weeks old", "note")]


def _no_date_words(case: _Case) -> str:
    latest: date | None = case.person.latest_on  # type: ignore[attr-defined]
    return "No visit yet" if latest is None else f"Last entry {_day(latest)}, no next date"


def _date_words(due: date, day: date) -> str:
    late = (day - due).days
    if late > 0:
        return f"Was due {_day(due)}, {late} day{'s' if late != 1 else ''} ago"
    return "Due today" if late == 0 else f"Due {_day(due)}"


def _day(day: date) -> str:
    return date_format(day, "DATE_FORMAT")
