"""What is looked at before the schema changes: `migrate` asks these checks first."""

from __future__ import annotations

from typing import Any

from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connections
from django.db.migrations.recorder import MigrationRecorder

__all__ = ["database_is_of_this_schema"]

#: First migrations of the times before the schema was written anew; nothing had been released with them.
BEFORE = {("clinic", "0001_initial"), ("clinic", "0001_schema"), ("clinic", "0001_tables")}


@register(Tags.database)
def database_is_of_this_schema(databases: Any = None, **kwargs: Any) -> list[CheckMessage]:
    """Refuse a database of an earlier trial version in words, instead of failing halfway through a
    migration.
    """
    return [
        Error(
            f"The database “{alias}” was made by a trial version from before the first release and cannot be "
            "brought up. "
            "Nothing was changed. For the invented clinic: make clean-demo, then make demo. For any other: "
            "keep a copy "
            "and start from an empty database.",
            id="clinic.E001",
        )
        for alias in databases or []
        if BEFORE & set(MigrationRecorder(connections[alias]).applied_migrations())
    ]
