"""What the record knows of ulcers before their course, as the prognosis takes it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from django.db.models import Q

from clinic.healing.prognosis import PrognosisFacts
from clinic.healing.series import Area, last_run
from clinic.models import TRUE_LESIONS, Circumstances, Depth, Lesion, Mobility, Wear, WoundKind

if TYPE_CHECKING:
    from clinic.curves.reads.healing import Reading

__all__ = ["Background", "backgrounds", "prognosis_facts"]

#: The published mark of an old ulcer, two months (source at `clinic/healing/prognosis.py`), in days: from
#: memory.
OLD_AFTER = timedelta(days=61)
#: What is asked of the person in the first weeks belongs to the beginning; design choice.
FIRST_WEEKS = timedelta(days=21)
NOT_WALKING = (Mobility.TRANSFERS_ONLY, Mobility.DOES_NOT_WALK)
#: Answers on wear that say whether most steps were taken in the device; design choice.
WORN: dict[str, bool] = {
    Wear.ALL: True,
    Wear.MOST: True,
    Wear.STILL_SEALED: True,
    Wear.HALF: False,
    Wear.FEW: False,
    Wear.NONE: False,
    Wear.OPENED: False,
}


@dataclass(frozen=True)
class Background:
    """One lesion with what is asked of its person; None and empty are not known."""

    site_id: int
    is_ulcer: bool
    onset_on: date
    dialysis: bool | None
    #: First day seen and last day open of each ulcer of the person, this one included.
    ulcers: tuple[tuple[date, date | None], ...]
    #: Day and answer, oldest first.
    mobility: tuple[tuple[date, str], ...]

    def mobility_on(self, day: date) -> str:
        """The last answer by a day; empty where it was not asked."""
        return next((answer for on, answer in reversed(self.mobility) if on <= day), "")

    def ulcers_on(self, day: date) -> int:
        """Ulcers open on a day, at least this one."""
        return max(1, sum(first <= day and (last is None or last > day) for first, last in self.ulcers))


def backgrounds(lesions: Iterable[Lesion]) -> dict[int, Background]:
    """Backgrounds of many lesions, keyed by lesion; two queries."""
    keys = [lesion.pk for lesion in lesions]
    if not keys:
        return {}
    people = Lesion.objects.filter(pk__in=keys).values("limb__person")
    rows = list(
        Lesion.objects.filter(TRUE_LESIONS, limb__person__in=people).values_list(
            "pk",
            "limb__person_id",
            "limb__person__site_id",
            "limb__person__dialysis",
            "wound_kind",
            "onset_on",
            "first_seen_on",
            "closed_on",
            "ended_on",
        )
    )
    mobilities: dict[int, list[tuple[date, str]]] = defaultdict(list)
    answers = Circumstances.objects.filter(~Q(mobility=""), person__in=people).order_by("asked_on", "pk")
    for person, on, mobility in answers.values_list("person_id", "asked_on", "mobility"):
        mobilities[person].append((on, mobility))
    ulcers: dict[int, list[tuple[date, date | None]]] = defaultdict(list)
    for _, person, _, _, kind, _, seen, closed, ended in rows:
        if kind == WoundKind.ULCER:
            ulcers[person].append((seen, closed or ended))
    wanted = set(keys)
    return {
        pk: Background(
            site, kind == WoundKind.ULCER, onset, dialysis, tuple(ulcers[person]), tuple(mobilities[person])
        )
        for pk, person, site, dialysis, kind, onset, _, _, _ in rows
        if pk in wanted
    }


def prognosis_facts(
    areas: Sequence[Area], readings: Sequence[Reading], known: Background
) -> PrognosisFacts | None:
    """What is known of an ulcer at the first area of its run; None of another wound."""
    run = last_run(areas, [one.day for one in readings if one.covered_dry])
    if not known.is_ulcer or run.first.area <= 0:
        return None
    day = run.first.day
    then = [one for one in readings if one.day <= day]
    by = min(run.last.day, day + FIRST_WEEKS)
    worn = _last(one.wear for one in readings if day <= one.day <= by)
    grade = _last(one.infection_grade for one in then)
    mobility = known.mobility_on(by)
    return PrognosisFacts(
        area=run.first.area,
        is_old=(day - known.onset_on) > OLD_AFTER,
        is_deep=_is_deep(then),
        infected=None if grade is None else grade > 1,
        dialysis=known.dialysis,
        does_not_walk=None if not mobility else mobility in NOT_WALKING,
        device_not_worn=None if worn not in WORN else not WORN[worn],
        ulcers=known.ulcers_on(day),
    )


def _last(values: Iterable[Any]) -> Any:
    """The last answer given; None where there is none."""
    return next((value for value in reversed(list(values)) if value not in (None, "")), None)


def _is_deep(readings: Sequence[Reading]) -> bool | None:
    """Bone or joint reached, or an abscess; "no" only where all three were looked at."""
    depth = _last(one.depth for one in readings)
    deep, probe = _last(one.deep_infection for one in readings), _last(one.probe_to_bone for one in readings)
    if depth == Depth.BONE or deep or probe:
        return True
    return None if None in (depth, deep, probe) else False
