"""Hashes of what a change wrote, for its audit row: each history copy, and each row that has no copies.

A hash is made over the values as the database gives them back, so that writing and checking read the same.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from django.apps import apps
from django.db import models
from django_otp.plugins.otp_totp.models import TOTPDevice

from clinic.models import AccountLink, LimbPlan, SiteFoam, User
from clinic.models.kept_copy import take_new_copies
from clinic.record.writes.canonical import canonical
from offload.models import PlanMeasurement, PlanStep, ReliefPlan

__all__ = [
    "LATER",
    "UNHASHED",
    "columns_of",
    "copies_in_numbers",
    "copy_digest",
    "history_models",
    "kept_rows",
    "plain_models",
    "row_digest",
    "seal_new",
    "state_of",
]

#: Model -> columns that a release after the first one added, in the order they came. A hash says over how
#: many columns it was made; without a line here, copies from before such a column would look altered.
LATER: dict[str, tuple[str, ...]] = {}

#: Columns that change without a change of the record.
UNHASHED: dict[str, frozenset[str]] = {"user": frozenset({"last_login"})}


def history_models() -> Iterator[type[models.Model]]:
    """Each table of copies of the clinic's rows."""
    for model in apps.get_app_config("clinic").get_models():
        if model._meta.model_name and model._meta.model_name.startswith("historical"):
            yield model


def plain_models() -> tuple[str, ...]:
    """Rows without copies that are hashed as they stand with each change told of them."""
    return (
        "clinic.user",
        "clinic.breakglass",
        "clinic.peopleapart",
        "clinic.erasure",
        "offload.reliefplan",
        "offload.planstep",
        "offload.planmeasurement",
        "offload.clinicfoam",
    )


def columns_of(model: type[models.Model], count: int | None = None) -> list[str]:
    """Names of the hashed columns: those of the first release by name, then the later ones as they came.

    `count`: as many as there were when a hash was made.
    """
    name = (model._meta.model_name or "").removeprefix("historical")
    left_out = UNHASHED.get(name, frozenset())
    later = LATER.get(name, ())
    first = sorted(
        f.attname for f in model._meta.concrete_fields if f.attname not in left_out and f.attname not in later
    )
    return [*first, *later][:count]


def _through(model: type[Any]) -> list[tuple[type[Any], str]]:
    """Tables of the lists that a copy holds, each with the column of what is listed."""
    found = []
    for field in getattr(model, "_history_m2m_fields", ()):
        name = f"historical{field.remote_field.through._meta.model_name}"
        found.append((apps.get_model("clinic", name), f"{field.m2m_reverse_field_name()}_id"))
    return found


def _digest(label: str, values: Sequence[Any], lists: Sequence[Sequence[Any]], key: bytes = b"") -> str:
    body = canonical([label, values, lists] if lists else [label, values]).encode()
    return hmac.new(key, body, hashlib.sha256).hexdigest() if key else hashlib.sha256(body).hexdigest()


def copy_digest(model: type[models.Model], values: Sequence[Any], lists: Sequence[Sequence[Any]]) -> str:
    """Hash of one copy. The salt is among its values."""
    return _digest(model._meta.model_name or "", values, lists)


def lists_of(model: type[Any], numbers: Sequence[int]) -> dict[int, list[list[Any]]]:
    """What the copies of these numbers list, each list in order: what is listed, then the other columns."""
    found: dict[int, list[list[Any]]] = {}
    through = _through(model)
    if not through:
        return found
    for number in numbers:
        found[number] = [[] for _ in through]
    for place, (kept, column) in enumerate(through):
        rows = kept._base_manager.filter(history_id__in=numbers).order_by(column)
        own = {kept._meta.pk.name, "history_id", column}
        others = sorted(f.attname for f in kept._meta.concrete_fields if f.attname not in own)
        for number, *listed in rows.values_list("history_id", column, *others):
            found[number][place].append(listed)
    return found


def copies_in_numbers(
    model: type[Any], numbers: Sequence[int], columns: Sequence[str]
) -> dict[int, tuple[tuple[Any, ...], list[list[Any]]]]:
    """Values and lists of copies by number; one query, and one a list. Missing ones are left out."""
    rows = model._base_manager.filter(history_id__in=numbers).order_by().values_list("history_id", *columns)
    found = {row[0]: row[1:] for row in rows}
    lists = lists_of(model, list(found))
    return {number: (values, lists.get(number, [])) for number, values in found.items()}


def _of_user(numbers: Sequence[int]) -> dict[int, list[list[Any]]]:
    """What decides over an account beside its row: clinics, authenticators, one-time links."""
    found: dict[int, list[list[Any]]] = {number: [[], [], []] for number in numbers}
    sites = User.sites.through.objects.filter(user_id__in=numbers).order_by("site_id")
    for user, site in sites.values_list("user_id", "site_id"):
        found[user][0].append(site)
    devices = TOTPDevice.objects.filter(user__in=numbers, confirmed=True).order_by("pk")
    for user, key in devices.values_list("user_id", "key"):
        found[user][1].append(key)
    links = AccountLink.objects.filter(user__in=numbers).order_by("pk")
    for user, *values in links.values_list(
        "user_id", "pk", "purpose", "token_sha256", "made_at", "made_by_id", "expires_at", "used_at"
    ):
        found[user][2].append(values)
    return found


def kept_rows(
    model: type[models.Model], numbers: Iterable[int]
) -> Iterator[tuple[int, tuple[Any, ...], list[list[Any]]]]:
    """Number, values and what belongs to it, of rows without copies."""
    keys = list(numbers)
    beside = _of_user(keys) if model is User else {}
    rows = model._base_manager.filter(pk__in=keys).order_by("pk")
    for number, *values in rows.values_list("pk", *columns_of(model)):
        yield number, tuple(values), beside.get(number, [])


def row_digest(
    model: type[models.Model], values: Sequence[Any], beside: Sequence[Sequence[Any]], key: str = ""
) -> str:
    """Hash of a row without copies, keyed with the key of the person it is about."""
    return _digest(model._meta.label_lower, values, beside, key.encode())


def _follow(target: models.Model) -> list[models.Model]:
    """Rows without copies that a change of this row may have written."""
    if isinstance(target, LimbPlan):
        plan = ReliefPlan.objects.get(pk=target.plan_id)
        steps = PlanStep.objects.filter(plan=plan)
        measured = PlanMeasurement.objects.filter(plan=plan)
        before = ReliefPlan.objects.filter(pk=plan.replaces_id or 0)
        return [plan, *steps, *measured, *before]
    if isinstance(target, SiteFoam):
        return [target.foam]
    return [target] if target._meta.label_lower in plain_models() else []


def state_of(model: type[models.Model], values: Sequence[Any]) -> dict[str, str]:
    """The columns of a row as text, for whoever asks later what stood before; no password."""
    return {
        name: str(value)
        for name, value in zip(columns_of(model), values, strict=True)
        if name not in ("password", "sign_on_subject")
    }


def seal_new(
    target: models.Model, also: Iterable[models.Model], key: str
) -> tuple[list[list[Any]], dict[str, dict[str, str]]]:
    """Hashes of all copies since the last audit row and of the rows without copies that belong to the target.

    Returns
    -------
    tuple
        Entries `[model, row, number of the copy or null, columns, hash]`, and the rows without copies as
        text.
    """
    entries: list[list[Any]] = []
    by_model: dict[type[models.Model], dict[int, str]] = {}
    for model, number, salt in take_new_copies():
        by_model.setdefault(model, {})[number] = salt
    for model, wanted in by_model.items():
        columns = columns_of(model)
        at_id, at_salt = columns.index("id"), columns.index("salt")
        for number, (values, lists) in sorted(copies_in_numbers(model, list(wanted), columns).items()):
            # Of a transaction taken back nothing is there, or another's copy under the same number.
            if values[at_salt] == wanted[number]:
                name = model._meta.model_name
                entries.append([name, values[at_id], number, len(columns), copy_digest(model, values, lists)])
    stands: dict[str, dict[str, str]] = {}
    plain: dict[type[models.Model], set[int]] = {}
    for row in (*_follow(target), *also):
        plain.setdefault(row._meta.model, set()).add(row.pk)  # a request's user is a lazy one
    for model, numbers in plain.items():
        for number, values, beside in kept_rows(model, numbers):
            label = model._meta.label_lower
            digest = row_digest(model, values, beside, key)
            entries.append([label, number, None, len(values), digest])
            if model is User or label == "clinic.breakglass":
                stands[f"{label} {number}"] = state_of(model, values)
    return entries, stands
