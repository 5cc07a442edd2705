"""Visit and ulcer findings stand once: nothing else that lists them may leave one out."""

from dataclasses import fields
from datetime import date, time, timedelta
from decimal import Decimal

import pytest
from django.http import QueryDict
from django.urls import reverse
from django.utils import timezone

from clinic.capture.writes.measurement import AreaTold, LesionFindings, measurement_fill
from clinic.models import Measurement, UlcerFindings, Visit, VisitFindings
from clinic.record.forms.findings import findings_of
from clinic.record.forms.touches import TOUCH
from clinic.visits.forms.conflict import visit_differences
from clinic.visits.forms.finishing import ASKED_AGAIN, FinishForm
from clinic.visits.forms.measurement import FIELD, MeasurementForm
from clinic.visits.forms.visits import (
    FOLLOW_UP,
    SIGNS,
    CorrectionForm,
    MissedForm,
    VisitForm,
    lesion_forms,
)
from clinic.visits.reads import correction_sheet, visit_sheet
from tests import factories
from tests.clinic.fields.cases_visits import ONCE, RULER, SEEN
from tests.clinic.fields.scenes import RING, traced, worn, wound
from tests.pages import PageClient

#: Columns of a visit that nobody answers on the weekly page, and why.
NOT_ANSWERS = {
    "confirmed_as_typed": "what was asked of the answers before they were saved",
    "id": "the row's own",
    "version": "the row's own",
    "created_at": "the row's own",
    "created_by": "the row's own",
    "person": "whose page it is",
    "attendance": "a missed visit has a page of its own",
    "why_not": "a missed visit has a page of its own",
    "submission_key": "the form's own",
    "state": "taking out has a page of its own",
    "error_reason": "taking out has a page of its own",
    "counts_for": "kept by transfers",
    "unfinished": "which button was pressed",
    "from_paper": "which list the page was opened from",
    "dressing": "each ulcer has its own; older visits keep their line",
}
#: Columns of a measurement that are no finding of their own.
NOT_SEEN = {
    "id": "the row's own",
    "version": "the row's own",
    "created_at": "the row's own",
    "created_by": "the row's own",
    "visit": "whose part it is",
    "lesion": "whose part it is",
    "method": "follows from how the area is told",
    "area_mm2": "follows from how the area is told",
    "trace": "where the outline came from",
    "unchanged_since": "follows from the touch that says so",
    "infection_grade": "follows from the signs",
}


def names(kind):
    return {one.name for one in fields(kind)}


def columns(model):
    return {one.name for one in model._meta.concrete_fields}


def test_every_column_is_a_finding_or_has_a_reason_not_to_be():
    assert names(VisitFindings) == columns(Visit) - set(NOT_ANSWERS)
    assert names(UlcerFindings) | names(AreaTold) == columns(Measurement) - set(NOT_SEEN)
    assert not names(UlcerFindings) & names(AreaTold)


def test_a_finding_without_a_field_is_a_fault_and_no_empty_answer(db, site):
    form = VisitForm({}, sheet=visit_sheet(wound(site).limb.person, timezone.localdate()))
    form.is_valid()
    with pytest.raises(LookupError, match="VisitForm declares no field for the finding covered_dry"):
        findings_of(form, AreaTold)


@pytest.fixture
def lesion(site):
    return wound(site)


#: What is told of the next visit.
NEXT = {"next_on", "next_at", "transport", "no_next_because"}
AGREED = {"next_at": time(9, 30), "transport": "ambulance car"}
#: Words asked only after another answer.
FOLLOWING = {"other_foot_note", "skin_note", "why_not_worn"}
LAST = {
    "pain": "worse pain",
    "fall": "no",
    "other_foot": "looked at, problem",
    "skin_under_device": "looked at, problem",
    "device_condition": "worn, still works",
    "wear": "few steps",
}


def as_stored(told):
    return {
        name: {"yes": True, "no": False}.get(value, value) if isinstance(value, str) else value
        for name, value in told.items()
    }


def stored_visit(lesion, n=-7, **told):
    day = timezone.localdate() + timedelta(days=n)
    told = told or {"next_on": day + timedelta(days=9), **AGREED}
    return factories.visit(of=lesion.limb.person, on=day, **told, **as_stored(ONCE))


def stored_ulcer(visit, lesion, **area):
    told = as_stored({**SEEN, "infection_signs": SEEN["infection"], "infection_looked": True})
    del told["infection"]
    area = area or {"method": "ellipse", "length_mm": 31, "width_mm": Decimal("17.5"), "debridement": "after"}
    return factories.measurement(at=visit, of=lesion, **told, **area)


def test_the_last_answers_stand_beside_the_fields_that_have_any(lesion):
    worn(lesion)
    visit = stored_visit(lesion)
    stored_ulcer(visit, lesion)
    sheet = visit_sheet(lesion.limb.person, timezone.localdate())
    form = VisitForm(sheet=sheet)
    beside = {name: field.last for name, field in form.fields.items() if getattr(field, "last", "")}
    assert beside.keys() == names(VisitFindings) - {"visited_on", "note", *NEXT, *SIGNS} - FOLLOWING
    assert beside.items() >= LAST.items()
    (part,) = lesion_forms(sheet)
    beside = {name: field.last for name, field in part.fields.items() if getattr(field, "last", "")}
    area = {"length_mm", "width_mm", "debridement", "infection"}
    assert beside.keys() == names(UlcerFindings) - {"infection_looked", "infection_signs"} | area
    assert (
        beside.items()
        >= {
            "length_mm": "31.0",
            "width_mm": "17.5",
            "debridement": "after debridement",
            "depth": "bone or joint",
            "tissue": "slough",
            "exudate": "heavy",
            "infection": "redness round the ulcer, pus",
            "redness_mm": "7",
            "deep_infection": "no",
            "probe_to_bone": "no",
            "unwell": "yes",
        }.items()
    )


def test_a_device_is_asked_about_only_where_one_is_worn(lesion):
    without = set(VisitForm(sheet=visit_sheet(lesion.limb.person, timezone.localdate())).fields)
    worn(lesion)
    asked = set(VisitForm(sheet=visit_sheet(lesion.limb.person, timezone.localdate())).fields) - without
    assert asked == {
        "looked_clear",
        "skin_under_device",
        "skin_note",
        "device_condition",
        "wear",
        "why_not_worn",
    }


def test_words_after_a_problem_are_drawn_apart(lesion):
    worn(lesion)
    form = VisitForm(sheet=visit_sheet(lesion.limb.person, timezone.localdate()))
    apart = {name for name, field in form.fields.items() if field.template_name == FOLLOW_UP}
    assert apart == FOLLOWING
    touches = {name for name, field in form.fields.items() if field.template_name == TOUCH}
    assert touches == {"asked_none", "looked_clear"}
    rest = set(form.fields) - apart - touches
    assert all(form.fields[name].template_name == FIELD for name in rest)


def test_the_week_of_a_missed_visit_says_which_visit_it_counts_from():
    assert MissedForm().fields["next_in"].label == "Next visit, after the missed one"


def sent_back(form):
    """What a browser sends of a form as it was shown."""
    data = QueryDict(mutable=True)
    for field in form:
        value = field.field.prepare_value(field.value())
        if value is True:
            value = "on"
        for one in value if isinstance(value, list | tuple) else [value]:
            if one not in (None, "", False):
                data.appendlist(field.html_name, one.isoformat() if isinstance(one, date) else str(one))
    return data


def ways(lesion):
    return {
        "ruler": {"method": "ellipse", "length_mm": 31, "width_mm": Decimal("17.5"), "debridement": "after"},
        "trace": {
            "outline_mm": RING,
            "trace": traced(lesion),
            "debridement": "after",
            "cm2": 2.0,
            "length_mm": 20,
            "width_mm": 10,
        },
        "covered": {"covered_dry": True, "cm2": 0.0},
        "none": {"method": "not_measured", "area_mm2": None, "not_measured_because": "dressing stays on"},
    }


@pytest.mark.parametrize("way", ["ruler", "trace", "covered", "none"])
def test_a_correction_sent_back_as_shown_changes_nothing(lesion, way):
    visit = stored_visit(lesion)
    row = stored_ulcer(visit, lesion, **ways(lesion)[way])
    row.refresh_from_db()
    visit.refresh_from_db()
    sheet = correction_sheet(visit, [row])
    shown = CorrectionForm(sheet=sheet, visit=visit)
    form = CorrectionForm(QueryDict(f"{sent_back(shown).urlencode()}&reason=again"), sheet=sheet, visit=visit)
    assert form.is_valid(), form.errors
    found = form.findings()
    assert {name: getattr(found, name) for name in names(VisitFindings)} == {
        name: getattr(visit, name) for name in names(VisitFindings)
    }
    (part,) = lesion_forms(sheet, stored={lesion.pk: row})
    (again,) = lesion_forms(sheet, sent_back(part), stored={lesion.pk: row})
    assert again.is_valid(), again.errors
    copied = measurement_fill(Measurement(visit=visit, lesion=lesion), again.findings())
    # Redness and pus with two measured signs of the whole person.
    assert copied.infection_grade == 4
    assert again.findings().version == row.version
    kept = columns(Measurement) - {"id", "version", "created_at", "created_by", "infection_grade"}
    if way != "ruler":
        # Diameters of a trace are read off it again; the factory's area is rounded otherwise.
        kept -= {"area_mm2", "length_mm", "width_mm"}
    kept -= {"area_mm2"}
    assert {name: getattr(copied, name) for name in kept} == {name: getattr(row, name) for name in kept}


def test_a_conflict_names_everything_that_was_typed_otherwise(lesion):
    visit = factories.visit(of=lesion.limb.person, on=timezone.localdate() - timedelta(days=7))
    row = factories.measurement(at=visit, of=lesion)
    sheet = correction_sheet(visit, [row])
    today = timezone.localdate().isoformat()
    once = {
        **ONCE,
        "next_at": "09:30",
        "transport": "ambulance car",
        "visited_on": today,
        "next_on": "2031-01-01",
        "reason": "again",
        "version": "1",
    }
    form = CorrectionForm(_query(once), sheet=sheet, visit=visit)
    seen = {f"lesion-{lesion.pk}-{name}": value for name, value in {**RULER, **SEEN, "version": "1"}.items()}
    (part,) = lesion_forms(sheet, _query(seen), stored={lesion.pk: row})
    assert form.is_valid(), form.errors
    assert part.is_valid(), part.errors
    labels = {one.label for one in visit_differences(form, [part], visit, [row])}
    head = f"Ulcer {lesion.label}: "
    asked = {form.fields[name].label for name in names(VisitFindings) - {"no_next_because"}}
    looked = {f"{head}{part.fields[name].label.lower()}" for name in SEEN}
    assert labels == asked | looked | {f"{head}area"}


def test_two_pages_of_one_day_differ_only_in_what_both_asked(lesion):
    """The second page has a key and red flags of its own; they are no difference of the two visits."""
    stored = factories.visit(of=lesion.limb.person, pain="new")
    sheet = visit_sheet(lesion.limb.person, timezone.localdate())
    data = {
        "visited_on": timezone.localdate().isoformat(),
        "pain": "worse",
        "red_flags": ["none"],
        "next_in": "7",
    }
    form = VisitForm(_query({**data, "submission_key": "7" * 32}), sheet=sheet)
    assert form.is_valid(), form.errors
    labels = {one.label for one in visit_differences(form, [], stored, [])}
    assert labels == {"Pain", form.fields["next_on"].label}


def test_a_visit_is_finished_on_the_day_it_was_begun_whatever_day_is_sent(lesion):
    begun = timezone.localdate() - timedelta(days=2)
    visit = factories.visit(of=lesion.limb.person, unfinished=True, on=begun)
    data = {
        "visited_on": timezone.localdate().isoformat(),
        "red_flags": ["none"],
        "version": "1",
        "next_in": "7",
    }
    form = FinishForm(_query(data), sheet=visit_sheet(lesion.limb.person, begun), visit=visit)
    assert form.is_valid(), form.errors
    assert form.findings().visited_on == begun


READ = "fields are stored on a second one in tests/clinic/fields; here a page is read"


@pytest.fixture(scope="module")
def reader(one_world):
    client = PageClient()
    client.site = factories.site()
    client.force_login(factories.user("staff", at=client.site))
    return client


@pytest.fixture(scope="module")
def shown(reader):
    """A visit with everything told of the person, and its page."""
    visit = stored_visit(wound(reader.site))
    return visit, _page_of(reader, visit)


@pytest.fixture(scope="module")
def shown_ulcer(reader):
    """A visit with everything told of the ulcer, and its page."""
    lesion = wound(reader.site)
    visit = stored_visit(lesion)
    stored_ulcer(visit, lesion)
    return visit, _page_of(reader, visit)


def test_a_page_read_again_is_the_same(reader, shown, shown_ulcer, db):
    for visit, whole in (shown, shown_ulcer):
        assert _page_of(reader, visit) == whole


@pytest.mark.any_database(READ)
@pytest.mark.parametrize("column", sorted(names(VisitFindings)))
def test_the_page_of_a_visit_shows_every_answer(reader, shown, db, column):
    visit, whole = shown
    if column == "no_next_because":
        visit = stored_visit(wound(reader.site), no_next_because="moves away")
        whole = _page_of(reader, visit)
    empty = timezone.localdate() - timedelta(days=9) if column == "visited_on" else None
    if column == "next_on":
        Visit.objects.update(next_at=None, transport="")
        whole = _page_of(reader, visit)
    Visit.objects.update(
        **{column: "" if empty is None and Visit._meta.get_field(column).empty_strings_allowed else empty}
    )
    assert _page_of(reader, visit) != whole


@pytest.mark.any_database(READ)
@pytest.mark.parametrize("column", sorted(names(UlcerFindings) - {"infection_looked"}))
def test_the_page_of_a_visit_shows_every_finding(reader, shown_ulcer, db, column):
    visit, whole = shown_ulcer
    words = ("depth", "tissue", "edge", "dressing", "exudate", "surrounding_skin", "other_cause")
    empty = {"infection_signs": [], **dict.fromkeys(words, "")}
    Measurement.objects.update(**{column: empty.get(column)})
    assert _page_of(reader, visit) != whole


def _page_of(client, visit):
    """The main part of the page: nothing in it changes from one request to the next."""
    page = client.get(reverse("visit", args=[visit.pk])).content.decode()
    return page[page.index("<main") : page.index("</main>")]


def _query(data):
    query = QueryDict(mutable=True)
    for name, value in data.items():
        query.setlist(name, value if isinstance(value, list) else [value])
    return query


@pytest.mark.parametrize("column", sorted(names(VisitFindings) - {"visited_on"}))
def test_what_stands_of_a_begun_visit_is_not_asked_again_and_stays(lesion, column):
    day = timezone.localdate() + timedelta(days=9)
    told = as_stored({**ONCE, **AGREED, "next_on": day, "no_next_because": "moves away"})[column]
    beside = {"next_on": day} if column in AGREED else {}
    visit = factories.visit(of=lesion.limb.person, unfinished=True, **{column: told}, **beside)
    worn(lesion)
    sheet = visit_sheet(lesion.limb.person, timezone.localdate())
    data = {"visited_on": timezone.localdate().isoformat(), "red_flags": ["none"], "version": "1"}
    form = FinishForm(_query(data if column in NEXT else {**data, "next_in": "7"}), sheet=sheet, visit=visit)
    assert (column in form.fields) == (column in ASKED_AGAIN)
    assert set(ASKED_AGAIN) == {"visited_on", "note", *NEXT}
    assert form.is_valid(), form.errors
    assert getattr(form.findings(), column) == told


def test_a_sign_that_was_ticked_was_looked_for(lesion):
    told = {"lesion": lesion, "covered_dry": True, "infection_signs": ("pus",)}
    visit = factories.visit(of=lesion.limb.person)
    assert measurement_fill(Measurement(visit=visit), LesionFindings(**told)).infection_looked


def test_the_findings_of_a_lesion_are_those_of_its_area_and_of_the_rest():
    assert names(UlcerFindings) | names(AreaTold) < names(LesionFindings)
    assert set(MeasurementForm.base_fields) - {"outline", "infection", "nothing_found"} < names(
        LesionFindings
    )
