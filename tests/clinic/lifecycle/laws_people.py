"""Laws of people, accounts, and the record itself."""

from __future__ import annotations

from collections import Counter
from datetime import date

from clinic.models import (
    AccountLink,
    AuditEvent,
    Lesion,
    LimbPlan,
    Merge,
    Person,
    PersonKey,
    Prescription,
    RedFlag,
    Transfer,
    User,
    Visit,
    Weight,
)
from clinic.people.reads.left_open import KINDS, open_things
from offload.models import ReliefPlan

from .people import every_noun, of_care
from .shown import Shown, law
from .tables import COPIED
from .world import World


# --- people -------------------------------------------------------------------------------------------------
@law
def only_people_in_care_here_stand_on_today(w: World, shown: Shown) -> None:
    for site, lists in shown.lists.items():
        here = {one.pk for one in shown.all(Person) if one.site_id == site and one.state == "in_care"}
        left = {id(row) for row in lists.morning.left}
        parts = (*lists.morning.rows, *lists.overdue, *lists.due, *lists.coming, *lists.remission)
        assert {row.person.pk for row in parts if id(row) not in left} <= here


@law
def whoever_left_with_something_open_stands_on_today_once(w: World, shown: Shown) -> None:
    """And as many of each kind as the page that settles them lists. It is listed again where the chain names
    the person since, and where everything is read anew.
    """
    want: dict[int, str] = {}
    for one in shown.all(Person):
        if one.state in ("moved", "died", "lost"):
            key = ("open", one.pk, one.state)
            things = shown.tables.last(key)
            if things is None or shown.anew or one.pk in shown.touched or None in shown.touched:
                things = shown.tables.reading(key, lambda pk=one.pk: open_things(Person.objects.get(pk=pk)))
            counts = Counter(thing.kind for thing in things)
            named = [(counts[name], kind.one, kind.many) for name, kind in KINDS.items() if counts[name]]
            if named:
                want[one.pk] = ", ".join(f"{n} {one if n == 1 else many}" for n, one, many in named)
    rows = [row for lists in shown.lists.values() for row in lists.morning.left]
    rows = [row for row in rows if row.person.state != "in_care"]
    assert sorted(row.person.pk for row in rows) == sorted(want)
    for row in rows:
        assert f"still open: {want[row.person.pk]}" in row.words, f"{row.words}; open: {want[row.person.pk]}"


@law
def what_was_withdrawn_stands_nowhere(w: World, shown: Shown) -> None:
    """A weight, a flag, a question over a plan."""
    flags = {one.pk for one in shown.all(RedFlag) if one.withdrawn_on is not None}
    assert not flags & set(shown.asks("flag_answer"))
    weighed: dict[int, date] = {}
    for one in shown.all(Weight):
        if one.withdrawn_on is None:
            weighed[one.person_id] = max(weighed.get(one.person_id, one.measured_on), one.measured_on)
    for lists in shown.lists.values():
        for pk, person in lists.people.items():
            assert person.weighed_on == weighed.get(pk), f"patient {pk}: weighed {person.weighed_on}"


@law
def a_plan_set_aside_is_asked_about_no_more(w: World, shown: Shown) -> None:
    plans = shown.of(ReliefPlan)
    codes = {plans[one.plan_id].code for one in shown.all(LimbPlan) if one.ended_on is not None}
    assert not codes & set(shown.asks("plan"))


@law
def an_ulcer_registered_in_error_is_outside_every_list(w: World, shown: Shown) -> None:
    wrong = {one.pk for one in shown.all(Lesion) if one.outcome == "in_error"}
    assert not wrong & {line.lesion.pk for row in shown.all_rows for line in row.lesions}


@law
def nothing_is_done_for_who_moved_or_died(w: World, shown: Shown) -> None:
    if w.left:
        counts = [shown.tables.by_person(model, path) for model, path in of_care()]
        for pk, rows in w.left.items():
            now = sum(one.get(pk, 0) for one in counts)
            assert now == rows, f"patient {pk} left with {rows} rows, has {now}"


@law
def a_merged_record_holds_nothing(w: World, shown: Shown) -> None:
    gone = {one.pk for one in shown.all(Person) if one.state == "merged"}
    for model in (Lesion, Visit, Prescription):
        assert not gone or not any(shown.person_of(row).pk in gone for row in shown.all(model))


@law
def a_merged_record_leads_to_one_that_stands(w: World, shown: Shown) -> None:
    people = shown.of(Person)
    kept = {one.kept_id for one in shown.all(Merge) if one.undone_at is None}
    for one in people.values():
        if one.merged_into_id is not None:
            into = people[one.merged_into_id]
            assert into.state != "merged"
            assert into.pk in kept or one.site_id == into.site_id


@law
def a_transfer_is_asked_by_the_clinic_that_has_the_person(w: World, shown: Shown) -> None:
    for one in shown.all(Transfer):
        assert one.state != "asked" or shown.person_of(one).site_id == one.from_site_id


@law
def nothing_of_an_erased_person_remains(w: World, shown: Shown) -> None:
    for pk, _ in w.erased:
        assert pk not in shown.of(Person)
        assert pk not in shown.of(PersonKey)
        assert pk not in shown.tables.copies(Person)
        for model, path in every_noun():
            assert pk not in shown.tables.by_person(model, path), model.__name__


@law
def who_is_switched_off_has_no_link_that_works(w: World, shown: Shown) -> None:
    """Nor one that works again when the account is switched on."""
    users = shown.of(User)
    works = [one for one in shown.all(AccountLink) if one.used_at is None and one.expires_at > World.now]
    assert all(users[one.user_id].is_active for one in works)


@law
def the_counts_of_today_are_its_rows(w: World, shown: Shown) -> None:
    for lists in shown.lists.values():
        assert len(lists.morning) == len(lists.morning.rows)
        assert len(lists.flagged) == len(lists.morning.sealed) + len(lists.morning.flags)


@law
def every_row_has_its_newest_copy(w: World, shown: Shown) -> None:
    """History: the version of a row is the number of its copies, but for those an erasure took away."""
    for model in COPIED:
        now = {one.pk: one.version for one in shown.all(model)}
        assert now == shown.tables.copies(model), model.__name__


@law
def chains_are_unbroken(w: World, shown: Shown) -> None:
    """The rows that came since the last look carry on from the last of then; the whole chain is counted at
    the end of a sequence read anew.
    """
    if shown.anew:
        w.chain, rows = {}, AuditEvent.objects.order_by("pk").values_list("site_id", "sequence")
    else:
        rows = [(site, sequence) for _, site, sequence, _ in shown.new]
    for site, sequence in rows:
        assert sequence == w.chain.get(site, 0) + 1, f"clinic {site}: {sequence} after {w.chain.get(site)}"
        w.chain[site] = sequence
