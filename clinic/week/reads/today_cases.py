"""What one site's people bring to Today, gathered by a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from django.db.models import F, OuterRef, Prefetch, Subquery, Window
from django.db.models.functions import RowNumber

from clinic.alerts.reads.back_home import BackHome, back_home
from clinic.alerts.reads.owners import OwnerPast, owners_past
from clinic.capture.reads.repeat import site_error
from clinic.curves.reads.healing import READING, Reading, measurements_of
from clinic.evidence.reads.bone import bone_felt_unjudged
from clinic.healing.progress import change_between
from clinic.healing.series import Method
from clinic.models import (
    OPEN_STATES,
    OPENED,
    SEALED,
    TRUE_LESIONS,
    UNCONFIRMED,
    UNSIGNED,
    AreaMethod,
    Contact,
    IncomingCall,
    Lesion,
    LesionState,
    Limb,
    LimbPlan,
    Look,
    Person,
    PersonState,
    PlanFlag,
    Prescription,
    RedFlag,
    Referral,
    Site,
    Visit,
    VisitState,
    Weight,
)
from clinic.people.reads.limbs import latest_findings
from clinic.people.reads.risk import foot_risk
from clinic.relief.reads.watch import flags_standing
from clinic.visits.reads import area_words
from clinic.week.reads.waiting import Waiting, waiting_of

__all__ = ["OpenCase", "LesionLine", "gather"]

SPARK_VISITS = 8
#: Attempts older than this belong to no story that is still told.
ATTEMPTS_DAYS = 90
#: A month of a follow-up interval. [d]
MONTH_DAYS = 30


@dataclass(frozen=True)
class LesionLine:
    """One open lesion in a row: where, its last area, the change before it, and the areas of the last
    visits.
    """

    lesion: Lesion
    last: str
    change: str
    kind: str
    areas: tuple[tuple[date, float | None], ...]


@dataclass
class OpenCase:
    """Everything one person brings to the lists."""

    person: Person
    lesions: list[Lesion] = field(default_factory=list)
    past: list[Lesion] = field(default_factory=list)
    lines: tuple[LesionLine, ...] = ()
    flags: list[RedFlag] = field(default_factory=list)
    sealed: list[Prescription] = field(default_factory=list)
    opened: list[Prescription] = field(default_factory=list)
    unsigned: list[Prescription] = field(default_factory=list)
    unconfirmed: list[Prescription] = field(default_factory=list)
    drafts: list[LimbPlan] = field(default_factory=list)
    plan_flags: list[PlanFlag] = field(default_factory=list)
    owners_past: list[OwnerPast] = field(default_factory=list)
    back_home: BackHome | None = None
    calls: list[IncomingCall] = field(default_factory=list)
    attempts: list[Contact] = field(default_factory=list)
    referrals: list[Referral] = field(default_factory=list)
    looks: list[Look] = field(default_factory=list)
    begun: list[Visit] = field(default_factory=list)
    waiting: Waiting = field(default_factory=Waiting)
    healed_on: date | None = None
    interval_days: int = 0
    risk_words: str = ""

    @property
    def latest_on(self) -> date | None:
        """Day of the latest entry, made or missed."""
        return self.person.latest_on  # type: ignore[attr-defined, no-any-return]

    @property
    def next_on(self) -> date | None:
        """The next date agreed, carried by the latest entry."""
        return self.person.latest_next_on  # type: ignore[attr-defined, no-any-return]

    @property
    def next_at(self) -> time | None:
        """The time agreed, on the same entry as the day."""
        return self.person.latest_next_at  # type: ignore[attr-defined, no-any-return]

    @property
    def transport(self) -> str:
        return self.person.latest_transport or ""  # type: ignore[attr-defined]

    @property
    def attendance(self) -> str | None:
        return self.person.latest_attendance  # type: ignore[attr-defined, no-any-return]

    @property
    def bones_felt(self) -> list[tuple[Lesion, date]]:
        """Open ulcers at which bone was felt and that nobody has judged since, with the day."""
        felt = [(one, one.bone_felt_on) for one in self.lesions]  # type: ignore[attr-defined]
        return [(lesion, on) for lesion, on in felt if on is not None]

    @property
    def weighed_on(self) -> date | None:
        return self.person.weighed_on  # type: ignore[attr-defined, no-any-return]


def gather(site: Site, day: date, now: datetime) -> dict[int, OpenCase]:
    """People in care of a site with all that Today asks about (a fixed number of queries, whatever their
    number).
    """
    cases = {person.pk: OpenCase(person) for person in people_in_care(site)}
    _add_lesions(cases, site, day)
    _add_measurements(cases, site)
    _add_the_rest(cases, now)
    for pk, past in owners_past(cases, day).items():
        cases[pk].owners_past = past
    for pk, back in back_home(cases, day).items():
        cases[pk].back_home = back
    _add_risk(cases, site, day)
    for pk, waiting in waiting_of({pk: case.lesions for pk, case in cases.items()}, day).items():
        cases[pk].waiting = waiting
    return cases


def people_in_care(site: Site) -> list[Person]:
    """Everybody in care with the latest entry and the latest weight (one query)."""
    visits = Visit.objects.filter(person=OuterRef("pk"), state=VisitState.STANDS).order_by(
        "-visited_on", "-pk"
    )
    weights = Weight.objects.newest_first().filter(person=OuterRef("pk"))
    people: list[Person] = list(
        Person.objects.filter(site=site, state=PersonState.IN_CARE).annotate(
            latest_on=Subquery(visits.values("visited_on")[:1]),
            latest_next_on=Subquery(visits.values("next_on")[:1]),
            latest_next_at=Subquery(visits.values("next_at")[:1]),
            latest_transport=Subquery(visits.values("transport")[:1]),
            latest_attendance=Subquery(visits.values("attendance")[:1]),
            weighed_on=Subquery(weights.values("measured_on")[:1]),
        )
    )
    for person in people:
        person.site = site
    return people


def true_lesions(site: Site, day: date) -> list[Lesion]:
    """Their ulcers, open and past, with the day on which bone was felt and not judged since (one query)."""
    return list(
        Lesion.objects.filter(TRUE_LESIONS, limb__person__site=site, limb__person__state=PersonState.IN_CARE)
        .select_related("limb")
        .annotate(bone_felt_on=bone_felt_unjudged(day))
        .order_by("label", "pk")
    )


def _add_lesions(cases: dict[int, OpenCase], site: Site, day: date) -> None:
    for lesion in true_lesions(site, day):
        case = cases[lesion.limb.person_id]
        (case.lesions if lesion.state in OPEN_STATES else case.past).append(lesion)
        if lesion.state == LesionState.HEALED and lesion.confirmed_on:
            case.healed_on = max(case.healed_on or lesion.confirmed_on, lesion.confirmed_on)


def last_readings(lesions: Collection[Lesion]) -> list[Reading]:
    """The last few visits of each ulcer (one query)."""
    recent = (
        measurements_of(lesions)
        .annotate(
            back=Window(
                RowNumber(),
                partition_by=[F("lesion_id")],
                order_by=[F("visit__visited_on").desc(), F("pk").desc()],
            )
        )
        .filter(back__lte=SPARK_VISITS)
    )
    return [Reading._make(columns) for columns in recent.values_list(*READING)]


def _add_measurements(cases: dict[int, OpenCase], site: Site) -> None:
    """The last few areas of every open lesion and the clinic's own measuring error, in two queries."""
    rows: dict[int, list[Reading]] = defaultdict(list)
    for reading in last_readings([lesion for case in cases.values() for lesion in case.lesions]):
        rows[reading.lesion_id].append(reading)
    share = site_error(site.pk)
    for case in cases.values():
        case.lines = tuple(_line(lesion, rows[lesion.pk], share) for lesion in case.lesions)


def _line(lesion: Lesion, rows: list[Reading], share: float | None) -> LesionLine:
    measured = [row for row in rows if row.area_mm2 is not None]
    last = area_words(rows[-1], dated=True) if rows else "not measured yet"
    change, kind = _change(measured, share)
    return LesionLine(lesion, last, change, kind, _areas(rows))


def _areas(rows: list[Reading]) -> tuple[tuple[date, float | None], ...]:
    """Days and areas of the last visits; an area of another kind than the last one is a gap, never a step."""
    kinds = [(row.method, row.debridement) for row in rows if row.area_mm2 is not None]
    if not kinds:
        return ()
    points = {row.day: row.area_mm2 if (row.method, row.debridement) == kinds[-1] else None for row in rows}
    return tuple(sorted(points.items()))


def _change(measured: list[Reading], share: float | None) -> tuple[str, str]:
    """Change between the last two areas, only when they are of one method and one state.

    `share` is the clinic's own error of a traced area, where it has been measured.
    """
    if len(measured) < 2:
        return "", "none"
    before, last = measured[-2:]
    if (before.method, before.debridement) != (last.method, last.debridement):
        return "not compared: another method or debridement state before", "none"
    method = Method.TRACED if last.method == AreaMethod.TRACED else Method.ELLIPSE
    traced = share if method == Method.TRACED else None
    change = change_between(float(before.area_mm2 or 0), float(last.area_mm2 or 0), method, share=traced)
    return change.words, "real" if change.real else "within"


def unanswered_flags(people: Collection[int]) -> list[RedFlag]:
    return list(RedFlag.objects.standing().filter(person__in=people, answer="").order_by("raised_at"))


def running_devices(people: Collection[int]) -> list[Prescription]:
    """Devices sealed, opened, or waiting for a signature, with who signed them."""
    devices = Prescription.objects.filter(SEALED | OPENED | UNSIGNED | UNCONFIRMED, limb__person__in=people)
    light = devices.defer("facts", "advice", "forecast_shown", "content")
    return list(light.select_related("limb", "signed_by").order_by("open_by"))


def unsigned_plans(people: Collection[int]) -> list[LimbPlan]:
    drafts = LimbPlan.objects.filter(limb__person__in=people, plan__state="draft", ended_on=None)
    return list(drafts.select_related("limb", "plan").defer("plan__result").order_by("pk"))


def attempts_since(people: Collection[int], since: datetime) -> list[Contact]:
    rows = Contact.objects.standing().filter(person__in=people, tried_at__gte=since)
    return list(rows.order_by("tried_at"))


def unanswered_calls(people: Collection[int]) -> list[IncomingCall]:
    return list(IncomingCall.objects.filter(person__in=people, done="").order_by("called_at", "pk"))


def unreached_referrals(people: Collection[int]) -> list[Referral]:
    return list(Referral.objects.unreached().filter(person__in=people).order_by("made_at"))


def unread_looks(people: Collection[int]) -> list[Look]:
    """Questions with who asked and who answered."""
    looks = Look.objects.filter(lesion__limb__person__in=people, read_at=None)
    return list(looks.select_related("lesion__limb", "created_by", "answered_by"))


def begun_visits(people: Collection[int]) -> list[Visit]:
    begun = Visit.objects.filter(person__in=people, unfinished=True, state=VisitState.STANDS)
    return list(begun.select_related("created_by"))


def _add_the_rest(cases: dict[int, OpenCase], now: datetime) -> None:
    """Flags, devices sealed or waiting for a signature, unsigned plans, attempts, calls, referrals, looks and
    begun visits, one query each.
    """
    for flag in unanswered_flags(cases):
        cases[flag.person_id].flags.append(flag)
    for device in running_devices(cases):
        case = cases[device.limb.person_id]
        sealed = case.opened if device.opened_on is not None else case.sealed
        waiting = case.unconfirmed if device.waits_for_confirmation else sealed
        (case.unsigned if device.waits_for_second else waiting).append(device)
    for link in unsigned_plans(cases):
        cases[link.limb.person_id].drafts.append(link)
    for plan_flag in flags_standing(limb_plan__limb__person__in=cases):
        cases[plan_flag.limb_plan.limb.person_id].plan_flags.append(plan_flag)
    for contact in attempts_since(cases, now - timedelta(days=ATTEMPTS_DAYS)):
        cases[contact.person_id].attempts.append(contact)
    for call in unanswered_calls(cases):
        cases[call.person_id].calls.append(call)
    for referral in unreached_referrals(cases):
        cases[referral.person_id].referrals.append(referral)
    for look in unread_looks(cases):
        cases[look.lesion.limb.person_id].looks.append(look)
    for visit in begun_visits(cases):
        cases[visit.person_id].begun.append(visit)


def limbs_of(people: Collection[int]) -> list[Limb]:
    """Both feet of each, with the person (two queries)."""
    rows = Limb.objects.filter(person__in=people)
    return list(rows.prefetch_related(Prefetch("person", Person.objects.all())))


def _add_risk(cases: dict[int, OpenCase], site: Site, day: date) -> None:
    """For people in remission: the risk category of the worse foot and its longest interval."""
    healed = {pk: case for pk, case in cases.items() if case.healed_on and not case.lesions}
    limbs = limbs_of(healed)
    found = latest_findings(limbs, site, day)
    for limb in limbs:
        case = healed[limb.person_id]
        risk = foot_risk(limb, found[limb.pk], case.past, case.person)
        if risk.interval_months is None:
            continue
        shortest, longest = risk.interval_months
        days = longest * MONTH_DAYS
        if not case.interval_days or days < case.interval_days:
            case.interval_days = days
            category = max(risk.possible)
            case.risk_words = f"risk category {category}, seen every {shortest} to {longest} months"
            if shortest == longest:
                case.risk_words = f"risk category {category}, seen every {longest} months"
