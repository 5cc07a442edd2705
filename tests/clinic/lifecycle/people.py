"""Events of people, clinics and accounts."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from typing import Any

from clinic.accounts.writes import erasure
from clinic.case.writes import settling
from clinic.case.writes.settling import LineEnd
from clinic.models import Merge, Person, Transfer, Weight
from clinic.people.reads.left_open import open_things
from clinic.people.reads.merging import merge_preview
from clinic.people.states import transfer_state
from clinic.people.writes import merging, people, transfers, weights
from clinic.people.writes.limbs import finding_add, limb_correct
from clinic.record.lifecycle import person_state
from clinic.record.reads.person_rows import nouns_of
from clinic.record.writes.rows import BEGINS
from tests import feet

from . import calls
from .accounts import LINKS, invite, reset, set_password, switch_off, switch_on
from .world import World

WORDS = "What a test says."


def person_now(pk: int) -> str | None:
    found = Person.objects.filter(pk=pk).first()
    return person_state(found) if found else None


@cache
def every_noun() -> tuple[tuple[Any, str], ...]:
    """Each noun that hangs on a person, with the way to them."""
    return tuple(nouns_of())


@cache
def of_care() -> tuple[tuple[Any, str], ...]:
    """Those that are something done."""
    return tuple((model, path) for model, path in every_noun() if model._meta.model_name in BEGINS)


def rows_of_care(pk: int) -> int:
    """How many rows of something done stand at a person."""
    return sum(model._default_manager.filter(**{path: pk}).count() for model, path in of_care())


def register(w: World) -> None:
    site = w.one(*w.sites)
    w.numbers += 1
    n = w.numbers
    w.meet(
        lambda: people.person_register(
            by=w.one(*w.users[site.pk]["staff"]),
            site=site,
            given_name="Person",
            family_name=f"Zyxw{n:04}",
            record_number=f"L{n:04}",
            birth_date=date(1950, 1, 1) + timedelta(days=97 * n),
            kg=Decimal(w.one(70, 95)) if w.maybe(0.8) else None,
            how="scales",
        )
    )


def tomorrow(w: World) -> None:
    w.later(1)


def next_week(w: World) -> None:
    w.later(w.one(4, 6, 7, 8, 14, 30))


def weigh(w: World) -> None:
    if person := w.person():
        kg = Decimal(w.random.randint(50, 120))
        w.meet(
            lambda: people.weight_add(
                by=w.by(person), person=person, kg=kg, how="scales", measured_on=w.day()
            ),
            of=person,
        )


def examine(w: World) -> None:
    """Everything is asked and looked at; now and then something bad is found."""
    if (person := w.person()) is None:
        return
    limb = person.limbs.get(side=w.one("left", "right"))

    def look() -> None:
        by = w.by(person, "podiatrist")
        if limb.foot_length_mm is None:
            limb_correct(
                by=by,
                limb=limb,
                foot_length_mm=Decimal(260),
                foot_breadth_mm=None,
                amputation=limb.amputation,
                expected_version=limb.version,
            )
        if w.maybe(0.8):
            feet.ask_all(by, limb, w.today)
        else:
            feet.examine(by, limb, w.today, dorsalis_pedis="absent", posterior_tibial="absent")

    w.meet(look, of=person)


def bad_toe(w: World) -> None:
    """A toe pressure that withholds a device that stays on, or lets it stay with two signatures."""
    if person := w.person():
        limb = person.limbs.get(side=w.one("left", "left", "right"))
        w.meet(
            lambda: finding_add(
                by=w.by(person),
                limb=limb,
                found_on=w.today,
                toe_pressure_mmhg=w.one(25, 26, 27, 28),
                dorsalis_pedis="present",
                posterior_tibial="present",
            ),
            of=person,
        )


def leave(w: World) -> None:
    if person := w.person():
        state, on = w.one("moved", "died", "lost"), w.day()
        w.meet(
            lambda: people.person_set_state(
                by=w.by(person), person=person, state=state, state_on=on, expected_version=person.version
            ),
            of=person,
            does="leave",
            after={"person": lambda: person_now(person.pk)},
        )
        if person_now(person.pk) in ("moved", "died", "lost"):
            w.left[person.pk] = rows_of_care(person.pk)


def come_back(w: World) -> None:
    gone = Person.objects.exclude(state="in_care").select_related("site", "merged_into")
    if person := w.pick(gone) if w.maybe(0.8) else w.person():
        w.meet(
            lambda: people.person_set_state(
                by=w.by(person),
                person=person,
                state="in_care",
                state_on=None,
                expected_version=person.version,
            ),
            of=person,
            does="return",
            after={"person": lambda: person_now(person.pk)},
        )
        if person_now(person.pk) == "in_care":
            w.left.pop(person.pk, None)


def merge(w: World) -> None:
    one, two = w.person(), w.person()
    if one is None or two is None or one.pk == two.pk:
        return
    mark = merge_preview(one, two).mark
    done = w.meet(
        lambda: merging.person_merge(by=w.by(one, "manager"), kept=one, emptied=two, because=WORDS, mark=mark)
    )
    if done is not None:
        w.left.pop(one.pk, None)
        w.left.pop(two.pk, None)


def part(w: World) -> None:
    if found := w.pick(Merge.objects.filter(undone_at=None)):
        w.meet(lambda: merging.merge_undo(by=w.by(found.kept, "manager"), merge=found, because=WORDS))
        for pk in (found.kept_id, found.emptied_id):
            if person_now(pk) in ("moved", "died", "lost"):
                w.left[pk] = rows_of_care(pk)


def hand_over(w: World) -> None:
    if person := w.person():
        there = next(site for site in w.sites if site.pk != person.site_id)
        w.meet(
            lambda: transfers.transfer_ask(by=w.by(person), person=person, to_site=there, because=WORDS),
            of=person,
            does="hand_over",
            after={"person": lambda: person_now(person.pk)},
        )


def _transfer(w: World, event: str) -> None:
    fits = {"send_back": "accepted"}.get(event, "asked")
    some = Transfer.objects.filter(state=fits) if w.maybe(0.7) else Transfer.objects.all()
    if (found := w.pick(some)) is None:
        return
    at = found.from_site_id if event == "withdraw" else found.to_site_id
    by = w.one(*w.users[at]["staff"])
    w.numbers += 1
    write = {
        "accept": lambda: transfers.transfer_accept(by=by, transfer=found, record_number=f"T{w.numbers:05}"),
        "decline": lambda: transfers.transfer_decline(by=by, transfer=found, note=WORDS),
        "withdraw": lambda: transfers.transfer_withdraw(by=by, transfer=found),
        "send_back": lambda: transfers.transfer_undo(by=by, transfer=found, because=WORDS),
    }[event]
    person = Person.objects.select_related("site", "merged_into").get(pk=found.person_id)
    w.meet(
        write,
        ("transfer", transfer_state(found), event),
        of=person,
        does="take_over" if event == "accept" else "correct",
        after={
            "transfer": lambda: transfer_state(Transfer.objects.get(pk=found.pk)),
            "person": lambda: person_now(person.pk),
        },
    )


def accept(w: World) -> None:
    _transfer(w, "accept")


def decline(w: World) -> None:
    _transfer(w, "decline")


def withdraw(w: World) -> None:
    _transfer(w, "withdraw")


def see(w: World) -> None:
    """The asking clinic reads the answer."""
    if (found := w.pick(Transfer.objects.all())) is None:
        return
    w.meet(
        lambda: transfers.transfer_seen(by=w.one(*w.users[found.from_site_id]["staff"]), transfer=found),
        ("transfer", transfer_state(found), "see"),
        after={"transfer": lambda: transfer_state(Transfer.objects.get(pk=found.pk))},
        once=True,
    )


def settle(w: World) -> None:
    """What is open of somebody who left is ended, or some of it."""
    gone = Person.objects.filter(state__in=["moved", "died", "lost"]).select_related("site", "merged_into")
    if (person := w.pick(gone) if w.maybe(0.8) else w.person()) is None:
        return
    ends = []
    for thing in open_things(person):
        if w.maybe(0.2):
            continue
        choice = {"device": w.one("taken_off", "handed_over", "not_known"), "lesion": person.state}
        ends.append(LineEnd(thing.key, choice.get(thing.kind, ""), "the team there", "the family"))
    w.meet(
        lambda: settling.person_settle(by=w.by(person), person=person, on=w.today, ends=ends),
        of=person,
        does="correct",
    )


def withdraw_weight(w: World) -> None:
    if row := w.pick(Weight.objects.filter(withdrawn_on=None)):
        person = Person.objects.select_related("site", "merged_into").get(pk=row.person_id)
        w.meet(
            lambda: weights.weight_withdraw(by=w.by(person), weight=row, reason=WORDS),
            of=person,
            does="correct",
        )


def send_back(w: World) -> None:
    _transfer(w, "send_back")


def _by_law(w: World, event: str) -> None:
    some = Person.objects.select_related("site", "merged_into")
    if event == "lift" and w.maybe(0.7):
        some = some.exclude(restricted_on=None)
    if (person := w.pick(some)) is None:
        return
    by = w.by(person, "manager")
    write = {
        "restrict": lambda: erasure.person_restrict(by=by, person=person, because=WORDS),
        "lift": lambda: erasure.person_lift(by=by, person=person),
        "erase": lambda: erasure.person_erase(
            by=by, person=person, typed_number=person.record_number, ground=WORDS
        ),
    }[event]
    gone = [(person.pk, person.family_name)]
    gone += list(Person.objects.filter(merged_into=person).values_list("pk", "family_name"))
    done = w.meet(write, of=person, does=event, after={"person": lambda: person_now(gone[0][0])})
    if event == "erase" and done is not None:
        w.erased += gone
        for pk, _ in gone:
            w.left.pop(pk, None)


def restrict(w: World) -> None:
    _by_law(w, "restrict")


def lift(w: World) -> None:
    _by_law(w, "lift")


def erase(w: World) -> None:
    if w.maybe(0.4):
        _by_law(w, "erase")


def at_emptied(w: World) -> None:
    """A page of a record that was merged is still open somewhere, and something is entered on it."""
    if (gone := w.pick(Person.objects.filter(state="merged"))) is not None:
        w.focus = {Person: gone.pk}
        w.one(weigh, bad_toe, leave, come_back, calls.call, calls.contact, calls.refer)(w)
        w.focus = {}


__all__ = ["EVENTS", "LINKS"]

EVENTS = (
    register,
    tomorrow,
    next_week,
    weigh,
    examine,
    bad_toe,
    leave,
    come_back,
    merge,
    part,
    at_emptied,
    hand_over,
    accept,
    decline,
    withdraw,
    send_back,
    see,
    settle,
    withdraw_weight,
    restrict,
    lift,
    erase,
    invite,
    set_password,
    reset,
    switch_off,
    switch_on,
)
