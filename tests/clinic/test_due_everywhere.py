"""One person on one day reads the same on every page: next visit, sealed device, facts that age."""

import ast
import re
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from clinic.audit.reads.cases import AuditFilter
from clinic.audit.reads.completeness import GAPS
from clinic.audit.reads.page import audit_report
from clinic.case.reads.person_page import person_page
from clinic.evidence.reads.facts import facts_of_limb
from clinic.guidelines.due import fact_age, sealed_past, too_old, visit_standing
from clinic.models import OPEN_STATES, Circumstances, Person
from clinic.people.reads.circumstances import circumstances_card
from clinic.people.reads.limbs import latest_findings
from clinic.people.reads.people import person_bar
from clinic.people.reads.people_list import people_page
from clinic.visits.reads import visit_sheet
from clinic.week.reads.preparation import expected_on
from clinic.week.reads.review import review_list
from clinic.week.reads.today import today_lists
from tests import factories

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.any_database(
        "the pages are asked of a second one in tests/test_access.py; here they are compared"
    ),
]

SEEN = date(2024, 9, 3)
AGREED = date(2024, 9, 17)
#: Well before, the last days before, the day itself, the first days after, long after.
ASKED = [AGREED + timedelta(days=n) for n in (-12, -8, -7, -1, 0, 1, 2, 7, 100)]
LESIONS = {
    "open": {"state": "open"},
    "to confirm": {"state": "to_confirm", "closed_on": SEEN},
    "healed": {"state": "healed", "outcome": "healed", "closed_on": SEEN, "confirmed_on": SEEN},
    "ended": {"state": "ended", "outcome": "minor_amputation", "ended_on": SEEN},
    "none": None,
}


def who(site, lesion, next_on, **fields):
    made = factories.person(at=site, **fields)
    limb = factories.limb(of=made)
    if LESIONS[lesion] is not None:
        factories.lesion(on=limb, first_seen_on=SEEN - timedelta(days=60), **LESIONS[lesion])
    factories.visit(of=made, on=SEEN, next_on=next_on)
    return made


def on_today(site, day):
    """Person -> the lists of Today they stand on."""
    found = today_lists(site, day)
    lists = {name: getattr(found, name) for name in ("overdue", "due", "coming", "no_date", "remission")}
    return {
        row.person.pk: {name for name, rows in lists.items() if row in rows}
        for rows in lists.values()
        for row in rows
    }


@pytest.mark.parametrize("day", ASKED, ids=str)
def test_a_next_visit_stands_the_same_on_every_page(site, day):
    people = [
        who(site, lesion, next_on, **left)
        for lesion in LESIONS
        for next_on in (AGREED, None)
        for left in ({}, {"state": "moved", "state_on": SEEN})
    ]
    today = on_today(site, day)
    listed = {int(row.key): row.next_words for row in people_page(Person.objects.all(), site, day).rows}
    review = {}
    found = review_list(site, day)
    for row in (*(row for group in found.groups for row in group.rows), *found.seen):
        review[row.lesion.limb.person_id] = " ".join(d.words for d in row.due if d.kind == "missed")
    for person in people:
        lesions = [lesion for limb in person.limbs.all() for lesion in limb.lesions.all()]
        open_lesions = any(lesion.state in OPEN_STATES for lesion in lesions)
        healed = not open_lesions and any(lesion.state == "healed" for lesion in lesions)
        next_on = person.visits.get().next_on
        standing = visit_standing(next_on, day, in_care=person.state == "in_care", open_lesions=open_lesions)
        told = (person.state, [lesion.state for lesion in lesions], next_on)
        assert person_page(person, today=day).next_overdue == (standing == "overdue"), told
        words = {"overdue": "overdue", "no_date": "no next date"}.get(standing, "")
        assert listed[person.pk] == words, told
        assert ("Was expected" in review.get(person.pk, "")) == (standing == "overdue" and open_lesions), told
        assert ("No next visit" in review.get(person.pk, "")) == (standing == "no_date"), told
        expected = {standing} - {"later", "not_awaited"}
        if healed and next_on:  # who is in remission stands there on the day and after it
            expected = {"remission"} if standing in ("overdue", "due") else set()
        elif healed and person.state == "in_care":  # no date agreed: the interval decides
            expected = {"remission"} if day >= SEEN + timedelta(days=90) else set()
        assert today.get(person.pk, set()) == expected, told


@pytest.mark.parametrize("lesion", ["open", "to confirm"])
def test_an_open_lesion_without_any_visit_has_no_next_date_on_any_page(site, lesion):
    day = timezone.localdate()
    person = who(site, lesion, None)
    person.visits.all().delete()
    assert on_today(site, day) == {person.pk: {"no_date"}}
    assert people_page(Person.objects.all(), site, day).rows[0].next_words == "no next date"
    (row,) = review_list(site, day).groups[0].rows
    assert "No next visit is agreed." in [one.words for one in row.due]


def sealed(site, open_by):
    person = who(site, "open", None)
    limb = person.limbs.get()
    device = factories.prescription(
        of=limb,
        lesions=list(limb.lesions.all()),
        device_class="total_contact_cast",
        prescribed_on=SEEN,
        fitted_on=SEEN,
        sealed_on=SEEN,
        open_by=open_by,
    )
    return person, device


@pytest.mark.parametrize("day", ASKED, ids=str)
def test_a_sealed_device_is_past_its_day_on_every_page(site, day):
    person, device = sealed(site, AGREED)
    late = sealed_past(device.open_by, day)
    assert [row.person for row in today_lists(site, day).morning.sealed] == [person] * late
    assert [foot.device_overdue for foot in person_page(person, today=day).feet if foot.device] == [late]
    concerns = {row.concern for group in review_list(site, day).groups for row in group.rows}
    assert ("stop" in concerns) == late
    counted = audit_report(AuditFilter((site,), SEEN, day), day).figures["harm.late"].count
    assert counted == late
    # Opened on that day it counts as late, or not, in the same way.
    device.opened_on = day
    device.save()
    assert audit_report(AuditFilter((site,), SEEN, day), day).figures["harm.late"].count == late


@pytest.mark.parametrize("ahead", [-2, -1, 0, 1])
def test_the_page_of_a_sealed_device_says_so_too(site, as_podiatrist, ahead):
    today = timezone.localdate()
    _, device = sealed(site, today + timedelta(days=ahead))
    page = as_podiatrist.get(reverse("prescription", args=[device.pk]))
    assert ("That day is past" in page.text) == sealed_past(device.open_by, today)


@pytest.mark.parametrize("limit", [1, 30, 90, 365])
@pytest.mark.parametrize("over", [None, -1, 0, 1, 40])
def test_a_weight_is_old_on_every_page_or_on_none(site, limit, over):
    """Whoever asks for it: each page has its own people whose weight matters, all the same age."""
    site.weight_fresh_days = limit
    site.save()
    day = timezone.localdate()
    person = who(site, "open", day)
    weighed_on = None if over is None else day - timedelta(days=limit + over)
    if weighed_on is not None:
        factories.weight(of=person, on=weighed_on)
    age = fact_age(weighed_on, limit, day)
    (row,) = today_lists(site, day).due
    asks = {ask.message.id for ask in row.asks} & {"no_weight", "weight_old"}
    assert asks == {"missing": {"no_weight"}, "old": {"weight_old"}, "fresh": set()}[age]
    assert people_page(Person.objects.all(), site, day).rows[0].weight_stale == (age != "fresh")
    assert person_bar(person, day).weight_stale == (age == "old")  # a missing one is said in its place
    assert visit_sheet(person, day).weight_due == (age != "fresh")
    (expected,) = expected_on(site, day, timezone.now())
    assert any(words.startswith("weight") for words in expected.due) == (age != "fresh")
    (one,) = (row for group in review_list(site, day).groups for row in group.rows)
    assert ("weight" in {d.kind for d in one.due}) == (age != "fresh")
    assert GAPS["weight"].rows([site.pk], day).exists() == (age != "fresh")


@pytest.mark.parametrize("limit", [1, 90])
@pytest.mark.parametrize("over", [-1, 0, 1, 40])
def test_blood_flow_and_falls_age_alike_wherever_they_are_read(site, limit, over):
    site.perfusion_fresh_days = site.falls_fresh_days = limit
    site.save()
    day = timezone.localdate()
    person = who(site, "open", day)
    limb = person.limbs.get()
    found_on = day - timedelta(days=limit + over)
    factories.finding(of=limb, found_on=found_on, toe_pressure_mmhg=65)
    Circumstances.objects.create(
        person=person, asked_on=found_on, high_falls_risk=True, created_by=factories.author()
    )
    old = too_old(found_on, limit, day)
    (pressure,) = (
        one for one in latest_findings([limb], site, day)[limb.pk] if one.name == "toe_pressure_mmhg"
    )
    assert pressure.stale == old
    assert GAPS["perfusion"].rows([site.pk], day).exists() == old
    (expected,) = expected_on(site, day, timezone.now())
    assert any(words.startswith("toe pressure") for words in expected.due) == old
    (facts,) = facts_of_limb(limb, day, {})
    states = {row.name: row.state for row in facts.rows}
    assert (states["ischaemia_grade"] == "stale") == old
    assert (states["high_falls_risk"] == "stale") == old
    (answer,) = (one for one in circumstances_card(person, day).answers if one.name == "high_falls_risk")
    assert answer.stale == old


ROOT = Path(settings.BASE_DIR)
#: Days and limits that only `clinic.guidelines.due` holds against today.
OWNED = re.compile(r"\b(next_on|open_by|due_on|planned_end_on|\w+_fresh_days)\b")
TODAY = re.compile(r"\b(today|day|now)\b")
FILTER = re.compile(r"\b(next_on|open_by|due_on|planned_end_on)__(lt|gt)e?=(today|day)\b")
#: A figure over a period, filtered in the database; the sweep above holds it to the rule.
COUNTED = {("clinic/audit/reads/harm.py", "open_by__lt=today")}


def decided(path):
    """Comparisons and sums of a module that decide for themselves whether something is late."""
    text = path.read_text()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.Lt | ast.LtE | ast.Gt | ast.GtE):
            said = ast.unparse(node)
            if OWNED.search(said) and TODAY.search(said):
                yield said
        elif isinstance(node, ast.BinOp) and re.search(r"\w+_fresh_days", ast.unparse(node)):
            yield ast.unparse(node)
    yield from (found.group() for found in FILTER.finditer(text))


def test_no_page_decides_for_itself_whether_something_is_late():
    modules = [
        path
        for path in (ROOT / "clinic").glob("*/**/*.py")
        if {"reads", "views", "forms"} & {*path.parts, path.stem}
    ]
    found = {(str(path.relative_to(ROOT)), said) for path in modules for said in decided(path)}
    assert found <= COUNTED
    pages = (ROOT / "templates").glob("**/*.html")
    assert not [
        path
        for path in pages
        if re.search(r"(next_on|open_by|due_on|planned_end_on)\s*[<>]", path.read_text())
    ]


@pytest.mark.parametrize(
    "line",
    [
        "visit.next_on < today",
        "day >= device.open_by",
        "(day - on).days > site.weight_fresh_days",
        "age = today - timedelta(days=site.falls_fresh_days)",
        "rows.filter(open_by__lt=today)",
        "result.due_on < today",
        "rows.filter(planned_end_on__lte=day)",
    ],
)
def test_a_page_that_did_would_be_found(tmp_path, line):
    path = tmp_path / "page.py"
    path.write_text(line)
    assert list(decided(path))
