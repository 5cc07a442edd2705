"""Forms sent filled through their views, and where each field stands in the record afterwards."""

from __future__ import annotations

import inspect
import pkgutil
import re
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from importlib import import_module
from typing import Any

from django import forms
from django.apps import apps
from django.db import models
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

import clinic
from clinic.models import AuditEvent
from tests import factories

FORM_MODULES = re.compile(r"clinic\.\w+\.forms(\..*)?")
#: What a view may hand its request to.
ASKED = re.compile(r"clinic\.\w+\.(views|forms)(\..*)?")


def day(n: int) -> str:
    """A day `n` days from today, as a browser sends it."""
    return (timezone.localdate() + timedelta(days=n)).isoformat()


@dataclass(frozen=True)
class Kept:
    """The row that keeps a form's fields under their own names, and the place of each field kept elsewhere.

    A place is `Model.column`, longer where the column holds lists or objects (`Imprint.marks_mm.heel`), or
    such a place with the value that is to stand there, or a test of it, when it is not the cleaned one.
    """

    row: str = ""
    elsewhere: dict[str, str | tuple[str, Any]] = field(default_factory=dict)

    def place(self, name: str, cleaned: Any) -> tuple[str, Any]:
        told = self.elsewhere.get(name, f"{self.row}.{name}")
        return told if isinstance(told, tuple) else (told, cleaned)

    def tables(self) -> set[str]:
        """Names of the tables in which its places are."""
        places = [place if isinstance(place, str) else place[0] for place in self.elsewhere.values()]
        return {self.row, *(place.partition(".")[0] for place in places)}


@dataclass(frozen=True)
class Sent:
    """One form as it is sent: to which record, with which values, and where they are to stand."""

    to: dict[str, Any]
    data: dict[str, Any]
    kept: dict[type[forms.BaseForm], Kept]
    #: Sent beside the fields: the button that was pressed.
    pressed: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Example:
    route: str
    forms: tuple[type[forms.BaseForm], ...]
    by: str
    scene: Callable[..., Sent]


EXAMPLES: list[Example] = []


def filled(route: str, *asked: type[forms.BaseForm], by: str = "podiatrist") -> Callable[..., Any]:
    """Register an example: a function of the site and its user that prepares the record and says what is
    sent.
    """

    def register(scene: Callable[..., Sent]) -> Callable[..., Sent]:
        EXAMPLES.append(Example(route, asked, by, scene))
        return scene

    return register


def all_forms() -> set[type[forms.BaseForm]]:
    """Every form of the program that is not only the base of others."""
    names = [
        one.name
        for one in pkgutil.walk_packages(clinic.__path__, "clinic.")
        if FORM_MODULES.fullmatch(one.name)
    ]
    found = {
        one
        for name in names
        for one in vars(import_module(name)).values()
        if inspect.isclass(one) and issubclass(one, forms.BaseForm) and FORM_MODULES.fullmatch(one.__module__)
    }
    bound = {form for _, form in asked_by_routes()}
    return {one for one in found if one in bound or not any(one in other.__mro__[1:] for other in found)}


def asked_by_routes() -> set[tuple[str, type[forms.BaseForm]]]:
    """Each route with each form that its view, or a function the view calls, names."""
    return {(name, form) for name, view in _views(get_resolver().url_patterns) for form in _read_by(view)}


def _views(patterns: list[Any]) -> Iterator[tuple[str, Any]]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from _views(pattern.url_patterns)
        elif isinstance(pattern, URLPattern) and pattern.name:
            yield pattern.name, pattern.callback


def _read_by(view: Any) -> set[type[forms.BaseForm]]:
    """Forms of a view that reads what was posted; one that only shows an empty form reads none."""
    reads = False
    found: set[type[forms.BaseForm]] = set()
    seen: set[Any] = set()
    todo = [inspect.unwrap(view)]
    while todo:
        one = todo.pop()
        if one in seen:
            continue
        seen.add(one)
        for code in _codes(one):
            reads = reads or "POST" in code.co_names
            for name in code.co_names:
                used = vars(inspect.getmodule(one)).get(name)
                if inspect.isclass(used) and issubclass(used, forms.BaseForm):
                    found |= {used} if FORM_MODULES.fullmatch(used.__module__) else set()
                elif ASKED.fullmatch(getattr(used, "__module__", None) or "") and callable(used):
                    todo.append(inspect.unwrap(used))
    return found if reads else set()


def _codes(one: Any) -> Iterator[Any]:
    """The code of a function, or of a class's own functions, with what is nested in it."""
    functions = [one] if inspect.isfunction(one) else [f for f in vars(one).values() if inspect.isfunction(f)]
    todo = [function.__code__ for function in functions]
    while todo:
        code = todo.pop()
        yield code
        todo += [inner for inner in code.co_consts if inspect.iscode(inner)]


@dataclass
class Recorded:
    """What one example sent and what the record says after it."""

    example: Example
    sent: Sent
    page: str
    status: int
    words: list[str]
    bound: list[forms.BaseForm]
    before: dict[Any, models.Model]
    after: dict[Any, models.Model]
    #: The answer to the form, and to the same form sent again.
    answers: list[Any]
    #: Rows of the audit chain after each.
    deeds: list[int]

    def asked(self, kind: type[forms.BaseForm]) -> list[forms.BaseForm]:
        return [one for one in self.bound if type(one) is kind]

    def stands(self, place: str, value: Any) -> str:
        """Empty where a row has the value at the place since the form was sent; else what is wrong."""
        model, _, path = place.partition(".")
        rows = {key: row for key, row in self.after.items() if key[0] == model}
        for key, row in rows.items():
            if not same(_at(row, path), value):
                continue
            if key in self.before:
                if not same(_at(self.before[key], path), value):
                    return ""
            elif not same(_default(row, path), value):
                return ""
        seen = [_at(row, path) for key, row in rows.items()]
        return f"{place} should hold {value!r} since this form was sent; rows have {seen!r}"


def send(example: Example, monkeypatch: Any) -> Recorded:
    """Play one example in a clinic of its own."""
    site = factories.site()
    user = factories.user(example.by, at=site)
    sent = example.scene(site, user)
    client = Client()
    client.force_login(user)
    url = reverse(example.route, kwargs=sent.to)
    shown = client.get(url)
    page = shown.content.decode() if shown.status_code == 200 else ""
    bound: list[forms.BaseForm] = []
    clean = forms.BaseForm.full_clean

    def recorded(form: forms.BaseForm) -> None:
        clean(form)
        if form.is_bound and FORM_MODULES.fullmatch(type(form).__module__):
            bound.append(form)

    tables = {table for kept in sent.kept.values() for table in kept.tables()}
    before = _rows(tables)
    with monkeypatch.context() as patch:
        patch.setattr(forms.BaseForm, "full_clean", recorded)
        posted = {**sent.data, **sent.pressed, "form_key": str(uuid.uuid4())}
        answer = client.post(url, posted)
    words = [f"{name}: {list(errors)}" for form in bound for name, errors in form.errors.items()]
    after = _rows(tables)
    deeds = [AuditEvent.objects.count()]
    for upload in posted.values():
        if hasattr(upload, "seek"):
            upload.seek(0)
    again = client.post(url, posted)
    deeds.append(AuditEvent.objects.count())
    return Recorded(
        example, sent, page, answer.status_code, words, bound, before, after, [answer, again], deeds
    )


def _rows(tables: set[str]) -> dict[Any, models.Model]:
    """Every row of these tables as it stands now, with the rows it is linked to."""
    return {
        (model.__name__, row.pk): row
        for app in ("clinic", "offload")
        for model in apps.get_app_config(app).get_models()
        if model.__name__ in tables
        for row in model._default_manager.prefetch_related(
            *(field.name for field in model._meta.many_to_many)
        )
    }


def _at(row: Any, path: str) -> Any:
    """The value at a path of columns, keys and numbers; None where there is nothing."""
    value = row
    for step in path.split("."):
        if isinstance(value, list | tuple):
            value = value[int(step)] if step.isdigit() and int(step) < len(value) else None
        elif isinstance(value, dict):
            value = value.get(step)
        elif isinstance(value, models.Model):
            # A column that is no more is a lost field, not an attribute somebody set.
            column = value._meta.get_field(step)
            many = column.many_to_many or column.one_to_many
            value = list(getattr(value, step).all()) if many else getattr(value, step)
        else:
            return None
    return value


def _default(row: models.Model, path: str) -> Any:
    """What a new row says when nobody told it anything: no proof that a field was kept."""
    column = row._meta.get_field(path.split(".")[0])
    if "." in path or not hasattr(column, "get_default"):
        return None
    default = column.get_default()
    return None if column.unique else default


def same(one: Any, other: Any) -> bool:
    """Whether a stored value is the cleaned one, whatever type the column gives it; or passes the
    example's own test.
    """
    if callable(other):
        return one is not None and bool(other(one))
    return bool(_plain(one) == _plain(other))


def _plain(value: Any) -> Any:
    if isinstance(value, bool) or value is None:
        return value
    if isinstance(value, Decimal | float | int):
        return round(float(value), 3)
    if isinstance(value, models.Model):
        return _plain(value.pk)
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    text = str(value).strip()
    return round(float(text), 3) if text.isdigit() else text
