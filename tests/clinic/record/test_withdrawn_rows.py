"""What was withdrawn changes nothing that is read: over the pages, and in the source of every read."""

from __future__ import annotations

import ast
import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.access import ABILITIES
from clinic.models import (
    Contact,
    DangerOwner,
    DayMark,
    Fitting,
    InsoleOutline,
    LimbPlan,
    Photo,
    PlanFlag,
    RedFlag,
    Weight,
)
from clinic.models.withdrawable import Withdrawable
from clinic.people.writes.limbs import finding_add
from offload.models import ReliefPlan
from tests import factories
from tests.test_access import ROUTES, address, records, signed_in

ROOT = Path(__file__).resolve().parents[3]
TODAY = timezone.localdate

#: Pages that are there to say what was withdrawn, corrected or stored, by whom and when; and what is no page
#: or needs a picture or a computed plan.
APART = {
    "visit": "what a visit left, and what was withdrawn of it",
    "history": "every version of a row",
    "audit_trail": "every act",
    "audit_file": "every act",
}


def test_every_noun_that_can_be_withdrawn_is_played_here():
    assert {one.__name__ for one in Withdrawable.__subclasses__() if not one._meta.abstract} == set(ROWS)


def louder(row):
    """For each noun, one row more, which a page shows while it stands."""
    by = factories.author()
    limb, day = row["limb"], TODAY()
    link = LimbPlan.objects.get(limb=limb)
    return {
        Weight: {"person_id": row["person"], "kg": 199, "how": "scales", "measured_on": day},
        RedFlag: {
            "person_id": row["person"],
            "visit_id": row["visit"],
            "raised_at": timezone.now(),
            "flags": ["spreading_redness"],
        },
        PlanFlag: {
            "limb_plan": link,
            "cause": "weight",
            "words": "heavier than planned",
            "raised_on": day,
            "visit_id": row["visit"],
        },
        DangerOwner: {
            "limb_id": limb,
            "danger": "ischaemia",
            "level": 3,
            "team": "the vascular team",
            "next_on": day + timedelta(days=30),
            "taken_on": day,
        },
        Fitting: {
            "prescription_id": row["prescription"],
            "fitted_on": day,
            "watch_points": "the heel and the shin",
            "review_on": day + timedelta(days=3),
        },
        Photo: {
            "lesion_id": row["lesion"],
            "visit_id": row["visit"],
            "taken_on": day,
            "file": "photos/other.jpg",
            "sha256": "1" * 64,
            "width_px": 1,
            "height_px": 1,
        },
        Contact: {
            "person_id": row["person"],
            "tried_at": timezone.now(),
            "how": "telephone",
            "result": "not_reached",
            "note": "rang twice",
        },
        InsoleOutline: {
            "limb_id": limb,
            "taken_on": day,
            "how": "grid",
            "outline_mm": [[-45.0, 0.0], [45.0, 0.0], [45.0, 282.0], [-45.0, 282.0]],
            "length_mm": 282.0,
        },
        DayMark: {"person_id": row["person"], "day": day, "kind": "arrived", "marked_at": timezone.now()},
    }, by


ROWS = {
    "Weight",
    "RedFlag",
    "PlanFlag",
    "DangerOwner",
    "Fitting",
    "Photo",
    "Contact",
    "DayMark",
    "InsoleOutline",
}


@pytest.fixture
def row(site):
    found = records(site)
    limb = LimbPlan.objects.get(plan__code=found["code"]).limb
    finding_add(by=factories.author(), limb=limb, found_on=TODAY(), toe_pressure_mmhg=20)
    ReliefPlan.objects.filter(code=found["code"]).update(
        state="signed", signed_at=timezone.now(), signed_by="test"
    )
    return found


#: Beside the pages that are only read, forms that say or fill in what stands.
FORMS = (
    "visit_new",
    "visit_correct",
    "visit_missed",
    "call_new",
    "person_edit",
    "prescription_fit",
    "finding_new",
)

LISTS = ("today", "review", "clinic_preparation", "people")
#: Pages that show one of the rows, or all of them, while they stand.
SHOW = ("person", "today", "lesion", "prescription", "dangers", "visit_new")


def pages(row, clients, only=()):
    """What every page says that is there to be read, without what is new at each request."""
    found = {}
    for name in only or ROUTES:
        route, ability = ROUTES[name]
        lists = name in LISTS
        kept_apart = (
            name in APART
            or not ("<" in route or lists)
            or {"code", "photo", "scale"} & set(re.findall(r"<\w+:(\w+)>", route))
        )
        if kept_apart or (ability != "see_cases" and name not in (*FORMS, *LISTS)):
            continue
        client = next(one for role, one in clients.items() if role in ABILITIES[ability])
        answer = client.get(address(name, row))
        if answer.status_code == 200 and not answer.streaming and "text/html" in answer["Content-Type"]:
            words = re.sub(r"<(script|style|input|meta)\b[^>]*>", "", answer.content.decode())
            found[name] = re.sub(
                r"\d\d:\d\d(:\d\d)?|[0-9a-f]{8}-[0-9a-f-]{27}|hx-headers=.*|number=\w+", "", words
            )
    return found


def new_lines(before, after):
    return [line for line in after.split("\n") if line not in before][:2]


def test_a_withdrawn_row_of_any_noun_changes_no_page(row, site):
    rows, by = louder(row)
    clients = {role: signed_in(factories.user(role, at=site)) for role in ("podiatrist", "manager")}
    before = pages(row, clients)
    assert len(before) > 20
    gone = {"withdrawn_on": TODAY(), "withdrawn_because": "somebody else's"}
    made = [model.objects.create(created_by=by, **gone, **values) for model, values in rows.items()]
    after = pages(row, clients)
    assert not {name: new_lines(before[name], after[name]) for name in before if before[name] != after[name]}
    visit = clients["podiatrist"].get(address("visit", row)).content.decode()
    assert "Red flag, withdrawn" in visit
    assert reverse("flag_answer", args=[made[1].pk]) not in visit
    # And the sweep sees them where they stand.
    for one in made:
        type(one).objects.filter(pk=one.pk).update(withdrawn_on=None, withdrawn_because="")
    shown = pages(row, clients, SHOW)
    assert all(before[name] != shown[name] for name in SHOW)


#: Where every row is read, withdrawn or not, and why.
READ_WHOLE = {
    "clinic/accounts/writes/check_places.py": "the check of kept pictures",
    "clinic/alerts/views/flags.py": "one row by its address; its write refuses it",
    "clinic/capture/views/trace.py": "one row by its address; its write refuses it",
    "clinic/relief/views/plan_life.py": "one row by its address; its write refuses it",
    "clinic/visits/reads.py": "the page of a visit tells what it left, with what was withdrawn of it",
    "clinic/visits/writes/moving.py": "everything a visit left moves with it",
}
NOUNS = {"Photo", "DangerOwner", "PlanFlag", "Fitting", "Weight", "RedFlag", "Contact", "DayMark"}
LINKS = {
    *("weights", "photos", "red_flags", "plan_flags", "danger_owners", "fittings", "owners", "flags"),
    *("contacts", "day_marks"),
}

#: What only rows of the database are asked.
QUERIES = {
    *("all", "filter", "exclude", "order_by", "values", "values_list", "first", "last", "get", "count"),
    *("exists", "select_related", "prefetch_related", "annotate", "aggregate", "only", "defer", "latest"),
}


def whole_reads(path):
    """Lines that ask rows of a noun that can be withdrawn, without `standing`."""
    tree = ast.parse(path.read_text())
    asked = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and node.attr in ("standing", "newest_first")
    }
    called = {
        id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Attribute) and node.attr in QUERIES
    }
    for node in ast.walk(tree):
        if not isinstance(node, ast.Attribute) or id(node) in asked:
            continue
        owner = node.value.id if isinstance(node.value, ast.Name) else ""
        manager = node.attr in ("objects", "_default_manager") and owner in NOUNS
        # A related manager is asked something at once; a column or a field of a read is not.
        related = node.attr in LINKS and id(node) in called and owner != "self"
        if manager or related:
            yield node.lineno


def test_no_read_asks_for_rows_that_may_be_withdrawn_without_saying_so():
    found = {}
    for path in sorted((ROOT / "clinic").rglob("*.py")):
        name = str(path.relative_to(ROOT))
        if "migrations" not in path.parts and "demo" not in path.parts and (lines := [*whole_reads(path)]):
            found[name] = lines
    assert set(found) == set(READ_WHOLE), {name: found.get(name) for name in set(found) ^ set(READ_WHOLE)}
