"""One rule says which referrals are open; chart, page, Today and every list of open things follow it."""

import ast
from datetime import timedelta
from itertools import product
from pathlib import Path

import pytest
from django.utils import timezone

from clinic.alerts.reads.referrals import referral_page
from clinic.alerts.states import referral_state
from clinic.alerts.writes.referrals import referral_follow
from clinic.models import PersonState, Referral
from clinic.people.reads.left_open import open_counts, open_things
from clinic.people.reads.open_record import open_record
from clinic.people.writes.people import person_set_state
from clinic.record.errors import Refused
from clinic.week.reads.today import today_lists
from tests import factories

ROOT = Path(__file__).resolve().parents[3]
STEPS = ("reached_at", "accepted_at", "seen_on", "result", "cancelled_because")


def rows(person, by):
    """A referral in each combination of its steps."""
    ago = timezone.now() - timedelta(days=3)
    values = dict(zip(STEPS, (ago, ago, timezone.localdate(), "stent placed", "went home"), strict=True))
    return [
        Referral.objects.create(
            person=person,
            to="vascular",
            urgency="immediate",
            because="test",
            made_at=ago,
            created_by=by,
            **{name: values[name] for name, on in zip(STEPS, combination, strict=True) if on},
        )
        for combination in product((False, True), repeat=len(STEPS))
    ]


def test_every_read_of_open_referrals_agrees_with_the_one_rule(person, staff):
    made = rows(person, staff)
    open_ = {row.pk for row in made if referral_state(row) not in ("answered", "cancelled")}
    assert len(open_) == 8
    assert {row.pk for row in Referral.objects.open()} == open_
    assert {row.pk for row in open_record(person).referrals} == open_
    assert {row.pk for row in made if referral_page(row).next_words and not row.cancelled_because} == open_

    lists = today_lists(person.site, timezone.localdate())
    asked = {ask.pk for row in lists.morning.referrals for ask in row.asks}
    made_only = {row.pk for row in made if referral_state(row) == "made"}
    assert asked == made_only
    assert {row.pk for row in made if referral_page(row).clock.late} == made_only

    person_set_state(
        by=staff,
        person=person,
        state=PersonState.MOVED,
        state_on=timezone.localdate(),
        expected_version=person.version,
    )
    assert {one.row.pk for one in open_things(person) if one.kind == "referral"} == open_
    assert open_counts(pk=person.pk)[person.pk] == {"referral": len(open_)}


def test_no_read_says_for_itself_which_referrals_are_open():
    """The columns that end a referral are asked by its own queryset alone."""
    own = {ROOT / "clinic/models/referral.py"}
    # What ended a referral, not whether it is open: a cancelled one is no reason that surgery was discussed.
    own.add(ROOT / "clinic/lesions/reads/causes.py")
    asks = {"cancelled_because", "accepted_at", "reached_at"}
    found = []
    for path in sorted((ROOT / "clinic").rglob("*.py")):
        if path in own or "migrations" in path.parts:
            continue
        text = path.read_text()
        if "Referral" not in text and "referrals" not in text:
            continue
        for node in ast.walk(ast.parse(text)):
            name = (
                node.func.attr if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) else ""
            )
            if name in ("filter", "exclude"):
                given = {word.arg or "" for word in node.keywords}
                whose = ast.unparse(node.func)
                if given & asks or ("eferral" in whose and "result" in given):
                    found.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert not found


def test_a_cancelled_referral_is_taken_up_again_by_clearing_its_reason(person, staff):
    row = rows(person, staff)[0]
    told = dict.fromkeys(STEPS[:3]) | {"result": ""}

    def follow(**fields):
        return referral_follow(by=staff, referral=row, expected_version=row.version, **{**told, **fields})

    follow(cancelled_because="booked twice")
    assert not Referral.objects.open().filter(pk=row.pk)
    follow(cancelled_because="")
    assert Referral.objects.open().filter(pk=row.pk)
    for step in ({"result": "healed"}, {"seen_on": timezone.localdate()}, {"accepted_at": timezone.now()}):
        with pytest.raises(Refused, match="^Cancelled: ") as refused:
            follow(cancelled_because="booked twice", **step)
        assert refused.value.field == "cancelled_because"
        row.refresh_from_db()


def test_the_page_of_the_person_and_of_the_referral_say_that_it_is_cancelled(as_staff, person, staff):
    row = rows(person, staff)[1]
    assert "cancelled" in as_staff.get(f"/people/{person.pk}/").content.decode()
    page = as_staff.get(f"/referrals/{row.pk}/").content.decode()
    assert "because went home" in page
    assert "Not reached yet" not in page


def test_a_clinic_without_referrals_reads_none(person):
    assert not open_record(factories.person(at=person.site)).referrals
