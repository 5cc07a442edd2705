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


#: What PostgreSQL calls the kinds that SQLite's tables declare.
KINDS = {
    "timestamp with time zone": "datetime",
    "time without time zone": "time",
    "jsonb": "text",
    "boolean": "bool",
    "numeric": "decimal",
}


def columns(table: str) -> dict[str, str]:
    """Name -> declared kind of every column."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT column_name, data_type FROM information_schema.columns "
                "WHERE table_schema = current_schema() AND table_name = %s",
                [table],
            )
            return {name: KINDS.get(kind, kind) for name, kind in cursor.fetchall()}
        described = connection.introspection.get_table_description(cursor, table)
    return {column.name: str(column.type_code).lower() for column in described}


#: Two values of each kind that is not written as any letters.
OTHERS = {
    "date": ("2020-01-02", "2021-01-02"),
    "datetime": ("2020-01-02 03:04:05.000001", "2021-01-02 03:04:05"),
    "time": ("01:02:03", "02:03:04"),
    "uuid": ("00000000-0000-4000-8000-000000000001", "00000000-0000-4000-8000-000000000002"),
    "text": ('["altered"]', "[]"),
}


def another(value: Any, kind: str) -> Any:
    """Some other value that the column takes."""
    if "bool" in kind:
        return not value
    if isinstance(value, (int, float)):
        return value + 1
    if value is None:
        return OTHERS.get(kind, (1,))[0]
    text = str(value)
    if kind in ("decimal", "numeric"):
        return float(text) + 1
    if kind in OTHERS and (kind != "text" or _is_json(text)):
        one, two = OTHERS[kind]
        return two if text.startswith(one[:10]) else one
    # No longer than it was: PostgreSQL holds a column to its length.
    return f"{text[:-1]}{'y' if text.endswith('x') else 'x'}"


def _is_json(text: str) -> bool:
    try:
        json.loads(text)
    except ValueError:
        return False
    return True
