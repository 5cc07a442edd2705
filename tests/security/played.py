"""A clinic that was played through its own writes, and statements that change its database past them."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

from clinic.accounts.writes import digests
from clinic.accounts.writes.accounts import account_invite
from clinic.accounts.writes.check_parts import AlteredPlace
from clinic.accounts.writes.verification import verify
from clinic.demo.play import play
from clinic.demo.scenario import Scenario, load
from clinic.models import Person, Site, User
from clinic.record.writes import read_log


def scenario(people: int) -> Scenario:
    whole = load(settings.BASE_DIR / "fixtures" / "clinic.toml")
    return Scenario(**{**vars(whole), "people": whole.people[:people]})


def play_clinic(people: int = 3, today: date | None = None) -> Site:
    """The first people of the invented clinic, an invited account, a read, two lines of the digest file."""
    site = play(scenario(people), today or timezone.localdate())
    manager = User.objects.get(role="manager", sites=site)
    account_invite(
        by=manager, username="otto", first_name="Otto", last_name="Quillpen", role="staff", sites=[site]
    )
    digests.write()
    person = Person.objects.filter(site=site).order_by("pk").first()
    assert person is not None
    with transaction.atomic():
        read_log.note(by=manager, seen=[(person.pk, site.pk, None)], page="person")
    digests.write()
    return site


def faults(*, full: bool = True) -> list[AlteredPlace]:
    return list(verify(full=full))


def sql(statement: str, *values: Any) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def one(statement: str, *values: Any) -> Any:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        row = cursor.fetchone()
    return row[0] if row and len(row) == 1 else row


def columns(table: str) -> dict[str, str]:
    """Name -> declared kind of every column."""
    with connection.cursor() as cursor:
        described = connection.introspection.get_table_description(cursor, table)
    return {column.name: str(column.type_code).lower() for column in described}


def another(value: Any, kind: str) -> Any:
    """Some other value that the column takes."""
    if isinstance(value, bool):
        return not value
    if "bool" in kind:
        return 1 if value in (0, None, False) else 0
    if isinstance(value, (int, float)):
        return value + 1
    if value is None:
        return {"date": "2026-01-02", "datetime": "2026-01-02 03:04:05", "text": "[1]"}.get(kind, 1)
    text = str(value)
    if "datetime" in kind:
        return "2020-01-02 03:04:05.000001" if not text.startswith("2020-01-02") else "2021-01-02 03:04:05"
    if kind == "date":
        return "2020-01-02" if text != "2020-01-02" else "2021-01-02"
    if kind == "time":
        return "01:02:03" if text != "01:02:03" else "02:03:04"
    if kind in ("decimal", "numeric"):
        return float(text) + 1
    try:
        json.loads(text)
    except ValueError:
        return f"{text}x"
    return '["altered"]' if text != '["altered"]' else "[]"
