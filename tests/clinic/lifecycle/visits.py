"""Events of visits and new ulcers."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from clinic.capture.writes.measurement import LesionFindings
from clinic.lesions.states import ulcer_state
from clinic.lesions.writes import lesions
from clinic.models import (
    OPEN_STATES,
    Lesion,
    Measurement,
    Person,
    Visit,
)
from clinic.visits.states import visit_state
from clinic.visits.traces_left import traces_of
from clinic.visits.writes import corrections, moving, taking_back, visits
from clinic.visits.writes.visits import PersonFindings
from tests import feet

from .people import rows_of_care
from .world import World

WORDS = "What a test says."
PLACES = ("mth_1", "mth_2", "plantar_hallux")


def ulcer(w: World, *states: str) -> Lesion | None:
    some = Lesion.objects.select_related("limb__person__site", "episode")
    if states and not w.focus and w.maybe(0.8):
        some = some.filter(state__in=states)
    if not w.focus and w.maybe(0.9):
        some = some.filter(limb__person__state="in_care", limb__person__restricted_on=None)
    found: Lesion | None = w.pick_beside(some)
    return found


def state_after(lesion: Lesion) -> Any:
    return lambda: ulcer_state(Lesion.objects.get(pk=lesion.pk))


def _register(w: World, person: Person, **more: Any) -> dict[str, Any]:
    day = w.day()
    return {
        "by": w.by(person),
        "limb": person.limbs.select_related("person__site").get(side=w.one("left", "left", "right")),
        "place": w.one(*PLACES),
        "wound_kind": "ulcer",
        "cause": "neuropathic",
        "onset_on": day - timedelta(days=30),
        "first_seen_on": day,
        "episode": {
            "first_presented_on": day - timedelta(days=2),
            "first_assessed_on": day,
            "referred_by": "",
        },
        "recurrence_answered": True,
        "another_here": w.maybe(0.5),
        **more,
    }


def new_ulcer(w: World) -> None:
    if person := w.person():
        told = _register(w, person)
        w.meet(lambda: lesions.lesion_register(**told), of=person)


def split(w: World) -> None:
    if one := ulcer(w, "open"):
        person = one.limb.person
        told = _register(w, person, limb=one.limb, place=one.place, split_from=one)
        w.meet(
            lambda: lesions.lesion_register(**told),
            ("ulcer", ulcer_state(one), "split"),
            of=person,
            after={"ulcer": state_after(one)},
        )


def recur(w: World) -> None:
    if one := ulcer(w, "healed"):
        person = one.limb.person
        told = _register(w, person, limb=one.limb, place=one.place, recurs_of=one, another_here=True)
        w.meet(
            lambda: lesions.lesion_register(**told),
            ("ulcer", ulcer_state(one), "recur"),
            of=person,
            after={"ulcer": state_after(one)},
        )


# --- visits -------------------------------------------------------------------------------------------------
def look_at(w: World, lesion: Lesion, covered: bool | None = None) -> LesionFindings:
    if w.maybe(0.4) if covered is None else covered:
        return LesionFindings(lesion=lesion, covered_dry=True)
    size = w.random.randint(5, 25)
    return LesionFindings(
        lesion=lesion,
        length_mm=Decimal(size),
        width_mm=Decimal(max(3, size // 2)),
        debridement="after",
        **feet.TOLD,
    )


def findings(w: World, day: date, **more: Any) -> PersonFindings:
    kg = Decimal(w.random.randint(60, 110)) if w.maybe(0.2) else None
    flagged = w.maybe(0.06)
    return PersonFindings(
        **{
            "visited_on": day,
            "next_on": day + timedelta(days=w.one(1, 5, 7, 7, 7, 10)) if w.maybe(0.9) else None,
            "weight_kg": kg,
            "weight_how": "scales" if kg else "",
            "red_flags": ("fever_or_unwell",) if flagged else (),
            "device_opened": w.maybe(0.7),
            **more,
        }
    )


def open_of(person: Person) -> list[Lesion]:
    rows = Lesion.objects.filter(limb__person=person, state__in=OPEN_STATES)
    return list(rows.select_related("limb__person__site", "episode").order_by("pk"))


def visit(
    w: World,
    person: Person | None = None,
    covered: bool | None = None,
    also: Lesion | None = None,
    **more: Any,
) -> Any:
    person = person or w.person()
    if person is None:
        return None
    found = findings(w, w.today if more else w.day(), **more)
    seen = open_of(person)
    if also is None and w.maybe(0.05):
        also = ulcer(w, "healed", "ended")
    if also is not None and also.limb.person_id == person.pk and also not in seen:
        seen.append(also)
    if found.unfinished:
        seen = seen[:1]
    told = [look_at(w, one, covered) for one in seen]
    return w.meet(
        lambda: (
            visits.visit_log(
                by=w.by(person),
                person=person,
                submission_key=w.form_key(),
                found=found,
                lesions=told,
            ).visit
        ),
        *[("ulcer", ulcer_state(one), "measure") for one in seen],
        of=person,
    )


def log(w: World) -> None:
    visit(w)


def covered_visit(w: World) -> None:
    """A visit that finds everything covered, on the day of most closures."""
    visit(w, covered=True, device_opened=True)


def week(w: World) -> None:
    """A week later, and the visit."""
    w.later(7)
    visit(w)


def begin_visit(w: World) -> None:
    visit(w, unfinished=True, next_on=None)


def some_visit(w: World, *states: str) -> Visit | None:
    rows = Visit.objects.select_related("person__site", "person__merged_into")
    if states and not w.focus and w.maybe(0.7):
        named = {
            "begun": {"unfinished": True, "state": "stands"},
            "missed": {"state": "stands"},
            "made": {"attendance": "came", "state": "stands"},
        }[states[0]]
        rows = rows.filter(**named)
        rows = rows.exclude(attendance="came") if states[0] == "missed" else rows
    found: Visit | None = w.pick_beside(rows)
    return found


def _visit_after(row: Visit) -> Any:
    return {"visit": lambda: visit_state(Visit.objects.get(pk=row.pk))}


def finish(w: World) -> None:
    if (row := some_visit(w, "begun")) is None:
        return
    there = set(row.measurements.values_list("lesion_id", flat=True))
    left = [one for one in open_of(row.person) if one.pk not in there]
    told = [look_at(w, one) for one in left]
    found = findings(w, row.visited_on, red_flags=())
    w.meet(
        lambda: visits.visit_finish(
            by=w.by(row.person), visit=row, found=found, lesions=told, expected_version=row.version
        ),
        ("visit", visit_state(row), "finish"),
        of=row.person,
        does="correct",
        after=_visit_after(row),
    )


def missed(w: World) -> None:
    if person := w.person():
        day = w.day()
        w.meet(
            lambda: visits.visit_missed(
                by=w.by(person),
                person=person,
                submission_key=w.form_key(),
                day=day,
                attendance=w.one("did_not_come", "in_hospital", "cancelled"),
                next_on=day + timedelta(days=w.one(1, 3, 7)) if w.maybe(0.6) else None,
            ),
            of=person,
        )


def correct_visit(w: World) -> None:
    if (row := some_visit(w, "made")) is None:
        return
    day = row.visited_on - timedelta(days=w.one(0, 0, 0, 1))
    told = []
    for kept in Measurement.objects.filter(visit=row).select_related("lesion__limb__person__site"):
        one = look_at(w, kept.lesion)
        told.append(LesionFindings(**{**vars(one), "version": kept.version}))
    found = findings(w, day, red_flags=(), weight_kg=None, weight_how="", device_opened=False)
    w.meet(
        lambda: corrections.visit_correct(
            by=w.by(row.person),
            visit=row,
            found=found,
            lesions=told,
            reason=WORDS,
            expected_version=row.version,
        ),
        ("visit", visit_state(row), "correct"),
        of=row.person,
        does="correct",
        after=_visit_after(row),
    )


def correct_missed(w: World) -> None:
    if row := some_visit(w, "missed"):
        w.meet(
            lambda: corrections.missed_correct(
                by=w.by(row.person),
                visit=row,
                day=row.visited_on,
                attendance=w.one("did_not_come", "elsewhere"),
                why_not="",
                next_on=row.visited_on + timedelta(days=w.one(2, 7)),
                reason=WORDS,
                expected_version=row.version,
            ),
            ("visit", visit_state(row), "correct_missed"),
            of=row.person,
            does="correct",
            after=_visit_after(row),
        )


def _apart(row: Visit) -> list[str]:
    """What was entered apart on the visit's day, and goes with it when asked."""
    return [one.key for one in traces_of(row) if one.can_go and not one.own and not one.goes]


def take_back(w: World) -> None:
    if row := some_visit(w):
        w.meet(
            lambda: taking_back.visit_in_error(
                by=w.by(row.person),
                visit=row,
                reason=WORDS,
                expected_version=row.version,
                take=_apart(row) if row.state == "stands" else (),
            ),
            ("visit", visit_state(row), "take_back"),
            of=row.person,
            does="correct",
            after=_visit_after(row),
        )


def move(w: World) -> None:
    """The visit was another person's."""
    if (row := some_visit(w, "made")) is None:
        return
    others = Person.objects.exclude(pk=row.person_id).filter(state="in_care", restricted_on=None)
    others = others.filter(site=row.person.site_id)
    some = others.filter(limbs__lesions__state="open") if w.maybe(0.8) else others
    if (right := w.other(some.distinct())) is None:
        return
    right = Person.objects.select_related("site", "merged_into").get(pk=right.pk)
    found = list(row.measurements.values_list("lesion_id", flat=True))
    pairs = dict(zip(found, open_of(right), strict=False))
    wrong = row.person_id
    done = w.meet(
        lambda: moving.visit_move(
            by=w.by(row.person),
            visit=row,
            person=right,
            lesions=pairs,
            reason=WORDS,
            expected_version=row.version,
            next_on=row.visited_on + timedelta(days=w.one(1, 3, 7)),
            device_opened=w.maybe(0.5),
            take=[one.key for one in traces_of(row) if one.can_go and not one.own and not one.goes]
            if row.state == "stands"
            else (),
        ),
        ("visit", visit_state(row), "move"),
        of=row.person,
        does="correct",
        after=_visit_after(row),
    )
    if done is not None and wrong in w.left:
        # The only way in which something goes from who left: it was never theirs.
        now = rows_of_care(wrong)
        assert now <= w.left[wrong], f"a visit moved away left {now} rows of {w.left[wrong]}"
        w.left[wrong] = now
