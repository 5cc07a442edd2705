"""Every field of every form is found in the record after it was sent, or on the list of reasons why not."""

import re

import pytest
from django import forms

from clinic.record.reads.receipts import HEADER
from tests.clinic.fields import (  # noqa: F401
    cases_alerts,
    cases_clinic,
    cases_devices,
    cases_ends,
    cases_imprints,
    cases_lesions,
    cases_non_healing,
    cases_people,
    cases_relief,
    cases_taking_back,
    cases_visits,
    cases_visits_back,
)
from tests.clinic.fields.filled import EXAMPLES, all_forms, asked_by_routes, send
from tests.clinic.fields.reasons_why_not import ASKED_LATER, NO_RECORD, NOT_HERE, reason

ROUTES = sorted({example.route for example in EXAMPLES})
NAMES = {(example.route, form) for example in EXAMPLES for form in example.forms}


def _name(form):
    return f"{form.__module__}.{form.__name__}"


def _unnumbered(kind, name):
    """Fields that a form makes for each row it finds are one field here, whatever the row's number."""
    return name if name in kind.base_fields else re.sub(r"\d+$", "N", name)


def _tick(form, name):
    return isinstance(form.fields[name], forms.BooleanField)


def test_every_form_has_an_example_or_a_reason():
    shown = {form for _, form in NAMES}
    missing = sorted(_name(form) for form in all_forms() - shown - set(NO_RECORD))
    assert not missing, (
        f"without an example in tests/clinic/fields/cases_*.py and without a reason: {missing}"
    )
    assert not shown & set(NO_RECORD), "a form with an example needs no reason"


def test_every_route_that_asks_a_form_has_an_example_or_a_reason():
    asked = {(route, form) for route, form in asked_by_routes() if form not in NO_RECORD}
    missing = sorted(f"{route}: {_name(form)}" for route, form in asked - NAMES - set(NOT_HERE))
    assert not missing, f"without an example and without a reason: {missing}"
    assert set(NOT_HERE) <= asked, "a reason about a route that does not ask the form"


@pytest.fixture
def _own_store(settings, tmp_path):
    """Pictures of these examples go to a folder of their own."""
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(tmp_path), "base_url": None},
        },
    }


@pytest.mark.django_db
@pytest.mark.usefixtures("_own_store")
@pytest.mark.parametrize("route", ROUTES)
def test_no_field_is_lost(route, monkeypatch):
    told, fields, lost, unasked = {}, {}, [], set()
    for example in [one for one in EXAMPLES if one.route == route]:
        played = send(example, monkeypatch)
        assert played.status in (200, 302), f"refused: {played.words}"
        assert not played.words
        # The device lets go of what was typed on this header alone; sent again, the form stores nothing.
        first, again = (answer.get(HEADER) for answer in played.answers)
        assert first is not None, "stored, and the answer does not say so"
        assert again == first
        assert played.deeds[0] == played.deeds[1], "stored twice"
        read = {form.add_prefix(name) for form in played.bound for name in form.fields}
        unread = set(played.sent.data) - read
        assert not unread, f"sent, and no field of the form reads it: {unread}"
        for kind in example.forms:
            kept = played.sent.kept[kind]
            for form in played.asked(kind):
                unasked |= {
                    form.add_prefix(name)
                    for name in form.fields
                    if played.page
                    and name not in ASKED_LATER
                    and f'name="{form.add_prefix(name)}"' not in played.page
                }
                fields.setdefault(kind, set()).update(_unnumbered(kind, name) for name in form.fields)
                for name in form.fields:
                    key = form.add_prefix(name)
                    value = form.data.get(key) or form.files.get(key)
                    # A tick that is left out says something too, where the example names its place.
                    if reason(route, kind, name) or not (
                        value or name in kept.elsewhere and _tick(form, name)
                    ):
                        continue
                    told.setdefault(kind, set()).add(_unnumbered(kind, name))
                    place, cleaned = kept.place(name, form.cleaned_data.get(name))
                    fault = played.stands(place, cleaned)
                    lost += [f"{_name(kind)}.{name}: {fault}"] if fault else []
    assert not unasked, f"no control for them on the page: {unasked}"
    assert not lost, "\n".join(lost)
    for kind in {form for at, form in NAMES if at == route}:
        every = fields.get(kind, set()) | set(kind.base_fields)
        silent = {name for name in every if not reason(route, kind, name)} - told.get(kind, set())
        assert not silent, f"{_name(kind)}: no example at {route} sends {sorted(silent)}"
