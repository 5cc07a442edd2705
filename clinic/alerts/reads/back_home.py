"""Back from hospital: what was known before the stay is asked anew (common practice, no source)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import F, Max, Q
from django.utils import timezone

from clinic.models import (
    OPEN_STATES,
    Attendance,
    CallAbout,
    Circumstances,
    Event,
    EventKind,
    IncomingCall,
    Lesion,
    LimbFinding,
    Measurement,
    Prescription,
    Visit,
    VisitState,
)

__all__ = ["BackHome", "Left", "back_home"]

#: A finding of any of these looks at the blood supply anew.
PERFUSION = (
    "ankle_pressure_mmhg",
    "ankle_index",
    "toe_index",
    "toe_pressure_mmhg",
    "tcpo2_mmhg",
    "dorsalis_pedis",
    "posterior_tibial",
    "waveform",
)
_STANDS = Q(state=VisitState.STANDS)


@dataclass(frozen=True)
class Left:
    """One thing nobody has asked since, and where it is asked."""

    words: str
    url_name: str
    pk: int


@dataclass(frozen=True)
class BackHome:
    """The day somebody is back from hospital, and what is left to ask."""

    on: date
    left: tuple[Left, ...]


def back_home(people: Collection[int], day: date) -> dict[int, BackHome]:
    """Who is back and not asked anew yet, by person; a fixed number of queries, three if nobody was in
    hospital.
    """
    since = _back_on(people, day)
    if not since:
        return {}
    feet: dict[int, dict[int, set[int]]] = defaultdict(lambda: defaultdict(set))
    lesions = Lesion.objects.filter(limb__person__in=since, state__in=OPEN_STATES)
    for person, limb, lesion in lesions.values_list("limb__person", "limb", "pk"):
        feet[person][limb].add(lesion)
    looked = _latest(
        Measurement.objects.filter(
            lesion__limb__person__in=feet, visit__state=VisitState.STANDS, infection_looked=True
        ),
        "lesion",
        "visit__visited_on",
    )
    any_of = Q()
    for name in PERFUSION:
        filled = Q(**{f"{name}__isnull": False})
        any_of |= (
            filled & ~Q(**{name: ""})
            if name in ("dorsalis_pedis", "posterior_tibial", "waveform")
            else filled
        )
    measured = _latest(LimbFinding.objects.filter(any_of, limb__person__in=feet), "limb", "found_on")
    asked_anew = _latest(Circumstances.objects.filter(person__in=feet), "person", "asked_on")
    device = _latest(
        Visit.objects.filter(_STANDS, person__in=feet).exclude(device_condition=""), "person", "visited_on"
    )
    chosen = _latest(Prescription.objects.filter(limb__person__in=feet), "limb__person", "prescribed_on")
    found = {}
    for person, limbs in feet.items():
        on = since[person]
        left = []
        for limb, ulcers in limbs.items():
            if _before(measured.get(limb), on):
                left.append(Left("measure perfusion again", "finding_new", limb))
            if any(_before(looked.get(ulcer), on) for ulcer in ulcers):
                left.append(Left("look for infection again", "visit_new", person))
        if _before(device.get(person), on) and _before(chosen.get(person), on):
            left.append(Left("look at the device again, or choose one", "person", person))
        if _before(asked_anew.get(person), on):
            left.append(Left("update social and mobility", "circumstances_new", person))
        if left:
            found[person] = BackHome(on, tuple(dict.fromkeys(left)))
    return found


def _before(last: date | None, on: date) -> bool:
    return last is None or last < on


def _latest(rows: Iterable[object], key: str, day: str) -> dict[int, date]:
    return dict(rows.order_by().values_list(key).annotate(last=Max(day)))  # type: ignore[attr-defined]


def _back_on(people: Collection[int], day: date) -> dict[int, date]:
    """The day each is back: of the call that says so, or of the first visit made after the stay began."""
    began: dict[int, date] = {}
    stays = Visit.objects.filter(
        _STANDS, person__in=people, attendance=Attendance.IN_HOSPITAL, visited_on__lte=day
    )
    admitted = Event.objects.filter(
        limb__person__in=people, kind=EventKind.ADMISSION, happened_on__lte=day
    ).annotate(person=F("limb__person"))
    for rows, name in ((stays, "visited_on"), (admitted, "happened_on")):
        for person, last in _latest(rows, "person", name).items():
            began[person] = max(last, began.get(person, last))
    back: dict[int, date] = {}
    calls = IncomingCall.objects.filter(person__in=people, about=CallAbout.BACK_HOME)
    for person, called_at in calls.order_by("called_at").values_list("person", "called_at"):
        called_on = timezone.localdate(called_at)
        if called_on <= day and called_on >= began.get(person, called_on):
            back[person] = called_on
    waiting = [person for person in began if person not in back]
    if waiting:
        came = Visit.objects.filter(
            _STANDS, person__in=waiting, attendance=Attendance.CAME, visited_on__lte=day
        )
        for person, visited_on in came.order_by("-visited_on").values_list("person", "visited_on"):
            if visited_on > began[person]:
                back[person] = visited_on
    return back
