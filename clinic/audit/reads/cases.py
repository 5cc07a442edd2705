"""What the audit counts, as rows of the database: each base is one kind of case with its own columns.
A figure is a condition on one of these; its count and the list behind it come from the same rows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Any

from django.db.models import (
    BooleanField,
    Case,
    CharField,
    Exists,
    ExpressionWrapper,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import MD5, Coalesce, Greatest, Lower, Trim

from clinic.audit.reads.counted_site import handed_over, rows_of_sites
from clinic.audit.reads.days import AddDays, Days
from clinic.models import (
    TRUE_LESIONS,
    Agreement,
    Attendance,
    Episode,
    Lesion,
    LesionOutcome,
    LesionState,
    Measurement,
    PersonState,
    Prescription,
    Site,
    User,
    Visit,
    VisitState,
    WoundKind,
)

__all__ = ["BASES", "OUTCOMES", "WEEK12", "AuditFilter", "Base", "prescribers"]

REVIEW_DAYS = 7
FOUR_WEEKS = (21, 35)
#: Days of the twelve-week look: from, target, to (National Diabetes Foot Care Audit, NHS Digital, glossary
#: 2018-23).
WINDOW = (70, 84, 98)
#: Key -> words, in the order of the table.
OUTCOMES: dict[str, str] = {
    "healed": "Healed",
    "to_confirm": "Closed, to confirm",
    "open": "Open",
    "amputation": "Amputation",
    "died": "Died",
    "moved": "Moved",
    "lost": "Lost",
    "joined": "Joined another ulcer",
}
WEEK12: dict[str, str] = {
    "healed": "Healed by day 84",
    "open": "Open on day 84",
    "amputation": "Amputation by day 84",
    "died": "Died by day 84",
    "unknown": "Unknown",
    "not_due": "Not yet due",
}
AMPUTATION = (LesionOutcome.MINOR_AMPUTATION, LesionOutcome.MAJOR_AMPUTATION)
#: Of two that joined, the one that goes on decides.
GONE = (*AMPUTATION, LesionOutcome.HEALED, LesionOutcome.JOINED)
STANDS = Q(state=VisitState.STANDS, attendance=Attendance.CAME)


@dataclass(frozen=True)
class AuditFilter:
    """What the audit is about: sites and a period; class and prescriber narrow the figures of
    prescriptions.
    """

    sites: tuple[Site, ...]
    since: date
    until: date
    device_class: str = ""
    prescriber: int | None = None
    #: Whether these are all sites of the installation: then no row needs to be asked where it belongs.
    everywhere: bool = False

    @property
    def site_ids(self) -> list[int]:
        return [site.pk for site in self.sites]

    def at(self, path: str) -> Q:
        """Rows of these sites; a record restricted by law counts in no figure."""
        counted = Q(**{f"{path.removesuffix('site')}restricted_on__isnull": True})
        if self.everywhere:
            return counted
        return counted & rows_of_sites(path, self.site_ids, self.handed_over)

    def last_day(self, today: date) -> date:
        """The last day of the period that has come."""
        return min(self.until, today)

    @cached_property
    def handed_over(self) -> bool:
        """Whether a person was handed over from or to these sites: else nobody has to be asked where a
        row counts.
        """
        return handed_over(self.site_ids)


@dataclass(frozen=True)
class Base:
    """One kind of case: its rows, the columns counted apart, and the day its lists are ordered by.

    `derive` works out of the columns counted what a list asks the database for: asking for it once more in
    the count would run the same look-up per row several times (measured at 150,000 lesions).
    """

    rows: Callable[[AuditFilter, date], QuerySet[Any]]
    apart: tuple[str, ...]
    day: str
    related: tuple[str, ...]
    kind: str
    derive: Callable[[dict[str, Any]], dict[str, Any]] = dict


def _text(*whens: When, default: str) -> Case:
    return Case(*whens, default=Value(default), output_field=CharField())


def _says(condition: Any, word: str) -> When:
    return When(condition, then=Value(word))


def prescribers(sites: tuple[Site, ...]) -> QuerySet[User]:
    """Everyone who has signed a prescription at the sites."""
    ids = [site.pk for site in sites]
    signed = Prescription.objects.filter(limb__person__site__in=ids).values("signed_by")
    return (
        User.objects.filter(pk__in=signed, sites__in=ids)
        .distinct()
        .order_by("last_name", "first_name", "username")
    )


def _signed(wanted: AuditFilter) -> QuerySet[Any]:
    """Prescriptions of the period."""
    rows = Prescription.objects.filter(
        wanted.at("limb__person__site"), prescribed_on__gte=wanted.since, prescribed_on__lte=wanted.until
    )
    if wanted.device_class:
        rows = rows.filter(device_class=wanted.device_class)
    if wanted.prescriber is not None:
        rows = rows.filter(signed_by=wanted.prescriber)
    return rows


def _prescriptions(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    seen = Visit.objects.filter(
        STANDS,
        person=OuterRef("limb__person"),
        visited_on__gt=OuterRef("fitted_on"),
        visited_on__lte=AddDays(OuterRef("fitted_on"), REVIEW_DAYS),
    )
    return _signed(wanted).annotate(
        offered=ExpressionWrapper(~Q(first_offered=""), output_field=BooleanField()),
        review=_text(
            _says(Q(fitted_on__isnull=True), "not_fitted"),
            _says(Q(fitted_on__gte=today - timedelta(days=REVIEW_DAYS)), "not_due"),
            _says(Exists(seen), "in_time"),
            default="late",
        ),
    )


def _unjudged(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    """Prescriptions that cannot be judged, with the names of the facts that were missing as one text."""
    return (
        _prescriptions(wanted, today)
        .filter(agreement=Agreement.UNJUDGED)
        .annotate(missing=KeyTextTransform("missing", "advice"))
    )


def _departed(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    """Departures, with a mark of their sentence that does not depend on case or outer spaces."""
    return (
        _prescriptions(wanted, today)
        .filter(agreement=Agreement.DEPARTED)
        .annotate(mark=MD5(Lower(Trim("reason"))))
    )


#: How a lesion stands today.
_OUTCOME = _text(
    _says(Q(state=LesionState.HEALED) | Q(state=LesionState.ENDED, outcome=LesionOutcome.HEALED), "healed"),
    _says(Q(state=LesionState.ENDED, outcome__in=AMPUTATION), "amputation"),
    _says(Q(state=LesionState.ENDED, outcome=LesionOutcome.DIED), "died"),
    _says(Q(state=LesionState.ENDED, outcome=LesionOutcome.MOVED), "moved"),
    _says(Q(state=LesionState.ENDED, outcome=LesionOutcome.JOINED), "joined"),
    _says(Q(state=LesionState.ENDED), "lost"),
    _says(Q(limb__person__state=PersonState.DIED), "died"),
    _says(~Q(limb__person__state=PersonState.IN_CARE), "moved"),
    _says(Q(state=LesionState.TO_CONFIRM), "to_confirm"),
    default="open",
)


def _first(column: str) -> Subquery:
    """Of the device first fitted for a lesion."""
    fitted = Prescription.objects.filter(lesions=OuterRef("pk"), fitted_on__isnull=False)
    return Subquery(fitted.order_by("fitted_on", "pk").values(column)[:1])


def _lesions(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    """Lesions named on a prescription of the period, as they stand today, under their first fitted device."""
    link = Prescription.lesions.through
    named = link.objects.filter(prescription__in=_signed(wanted).values("pk")).values("lesion_id")
    areas = Measurement.objects.filter(
        Q(area_mm2__isnull=False) | Q(covered_dry=True),
        lesion=OuterRef("pk"),
        visit__state=VisitState.STANDS,
        visit__visited_on__gte=AddDays(OuterRef("first_seen_on"), FOUR_WEEKS[0]),
        visit__visited_on__lte=AddDays(OuterRef("first_seen_on"), FOUR_WEEKS[1]),
    )
    last = AddDays(F("first_seen_on"), FOUR_WEEKS[1])
    return Lesion.objects.filter(TRUE_LESIONS, pk__in=named).annotate(
        first_pk=_first("pk"),
        first_class=Coalesce(_first("device_class"), Value("")),
        now=_OUTCOME,
        over=Coalesce("closed_on", "ended_on", "limb__person__state_on"),
        four_week=_text(
            _says(Q(first_seen_on__gte=today - timedelta(days=FOUR_WEEKS[1])) | Q(over__lte=last), "not_due"),
            _says(Exists(areas), "recorded"),
            default="missing",
        ),
    )


def _arrivals(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    """Lesions that came under care in the period, with or without a device."""
    # Known once both have come: of the two columns apart, so that the planner knows how many rows to expect.
    rows = Lesion.objects.filter(
        TRUE_LESIONS,
        Q(episode__first_assessed_on__gte=wanted.since) | Q(first_seen_on__gte=wanted.since),
        wanted.at("limb__person__site"),
        wound_kind=WoundKind.ULCER,
        episode__first_assessed_on__lte=wanted.until,
        first_seen_on__lte=wanted.until,
    ).annotate(
        known_on=Greatest("episode__first_assessed_on", "first_seen_on"),
        first_pk=_first("pk"),
        first_fitted=_first("fitted_on"),
        now=_OUTCOME,
        lag=Days(_first("fitted_on"), Greatest("episode__first_assessed_on", "first_seen_on")),
    )
    if wanted.device_class:
        rows = rows.annotate(first_class=_first("device_class")).filter(first_class=wanted.device_class)
    if wanted.prescriber is not None:
        rows = rows.annotate(signer=_first("signed_by")).filter(signer=wanted.prescriber)
    target = AddDays(F("known_on"), WINDOW[1])
    seen = Visit.objects.filter(
        STANDS,
        person=OuterRef("limb__person"),
        visited_on__gte=AddDays(OuterRef("known_on"), WINDOW[0]),
    )
    return rows.annotate(
        days=Case(
            When(first_fitted__isnull=False, then=Greatest(Value(0), Days(F("first_fitted"), F("known_on")))),
            default=Value(None),
            output_field=IntegerField(),
        ),
        way=_text(
            _says(Q(first_fitted__isnull=False), "fitted"),
            _says(Q(now__in=["open", "to_confirm"]), "waiting"),
            default="ended",
        ),
        due=Case(
            *(When(known_on__lte=today - timedelta(days=d), then=Value(d)) for d in (14, 7, 2)),
            default=Value(0),
            output_field=IntegerField(),
        ),
        week12=_text(
            _says(Q(known_on__gte=today - timedelta(days=WINDOW[2])), "not_due"),
            _says(Q(state=LesionState.HEALED, closed_on__lte=target), "healed"),
            _says(Q(state=LesionState.ENDED, outcome__in=AMPUTATION, ended_on__lte=target), "amputation"),
            _says(Q(state=LesionState.ENDED, outcome=LesionOutcome.DIED, ended_on__lte=target), "died"),
            _says(Q(limb__person__state=PersonState.DIED, limb__person__state_on__lte=target), "died"),
            _says(
                Q(state=LesionState.ENDED, ended_on__lte=target)
                | Q(state=LesionState.TO_CONFIRM, closed_on__lte=target)
                | Q(limb__person__state=PersonState.MOVED, limb__person__state_on__lte=target),
                "unknown",
            ),
            _says(Exists(seen), "open"),
            default="unknown",
        ),
    )


def _episodes(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    """Episodes first assessed in the period."""
    target = AddDays(OuterRef("first_assessed_on"), WINDOW[1])
    lesions = Lesion.objects.filter(TRUE_LESIONS, episode=OuterRef("pk"), first_seen_on__lte=target)
    gone = Case(
        When(Q(state=LesionState.HEALED, closed_on__lte=target), then=Value(1)),
        When(
            Q(state=LesionState.ENDED, outcome__in=GONE, ended_on__lte=target),
            then=Value(1),
        ),
        default=Value(0),
        output_field=IntegerField(),
    )
    left = lesions.annotate(gone=gone).filter(gone=0)
    looked = Visit.objects.filter(
        STANDS,
        person=OuterRef("person"),
        visited_on__gte=AddDays(OuterRef("first_assessed_on"), WINDOW[0]),
    )
    own = AddDays(F("first_assessed_on"), WINDOW[1])
    return Episode.objects.filter(
        wanted.at("person__site"),
        Exists(Lesion.objects.filter(TRUE_LESIONS, episode=OuterRef("pk"))),
        first_assessed_on__gte=wanted.since,
        first_assessed_on__lte=wanted.until,
    ).annotate(
        wait=Days(F("first_assessed_on"), F("first_presented_on")),
        week12=_text(
            _says(Q(first_assessed_on__gte=today - timedelta(days=WINDOW[2])), "not_due"),
            _says(Q(person__state=PersonState.DIED, person__state_on__lte=own), "died"),
            _says(Exists(lesions.filter(outcome=LesionOutcome.DIED, ended_on__lte=target)), "died"),
            _says(~Exists(left), "free"),
            _says(Q(person__state=PersonState.MOVED, person__state_on__lte=own), "unknown"),
            _says(
                Exists(
                    lesions.filter(
                        Q(
                            state=LesionState.ENDED,
                            outcome__in=[LesionOutcome.LOST, LesionOutcome.MOVED],
                            ended_on__lte=target,
                        )
                        | Q(state=LesionState.TO_CONFIRM, closed_on__lte=target)
                    )
                ),
                "unknown",
            ),
            _says(Exists(looked), "not_free"),
            default="unknown",
        ),
    )


def _visits(wanted: AuditFilter, today: date) -> QuerySet[Any]:
    return Visit.objects.filter(
        wanted.at("person__site"),
        state=VisitState.STANDS,
        visited_on__gte=wanted.since,
        visited_on__lte=wanted.last_day(today),
    )


def _arrived(row: dict[str, Any]) -> dict[str, Any]:
    lag, waits = row["lag"], row["now"] in ("open", "to_confirm")
    way = "fitted" if lag is not None else "waiting" if waits else "ended"
    return {**row, "way": way, "days": None if lag is None else max(0, lag)}


BASES: dict[str, Base] = {
    "prescription": Base(
        _prescriptions,
        ("agreement", "departure_reason", "departure_own", "departure_words", "offered", "review"),
        "prescribed_on",
        ("limb__person", "signed_by"),
        "prescription",
    ),
    "unjudged": Base(_unjudged, ("missing",), "prescribed_on", ("limb__person", "signed_by"), "prescription"),
    "departed": Base(_departed, ("mark",), "prescribed_on", ("limb__person", "signed_by"), "prescription"),
    "lesion": Base(
        _lesions, ("first_class", "now", "four_week"), "first_seen_on", ("limb__person", "episode"), "lesion"
    ),
    "arrival": Base(
        _arrivals,
        ("lag", "now", "due", "week12"),
        "first_seen_on",
        ("limb__person", "episode"),
        "lesion",
        _arrived,
    ),
    "episode": Base(_episodes, ("wait", "week12"), "first_assessed_on", ("person",), "episode"),
    "visit": Base(_visits, ("attendance",), "visited_on", ("person",), "visit"),
}
