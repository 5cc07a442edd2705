"""Migration operation: many tables at once, knowing all of them from the start.

After each `CreateModel` the framework makes anew every model that is related to the new one. Here all are
related, so a hundred such operations would make each model a hundred times: two thirds of the processor time
of a new clinic's first `migrate`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.migrations.operations.base import Operation, OperationCategory
from django.db.migrations.operations.models import CreateModel

__all__ = ["CreateTables"]


class CreateTables(Operation):
    """What its `CreateModel` operations do one after another, with the models made once."""

    category = OperationCategory.ADDITION
    reversible = True
    reduces_to_sql = True
    serialization_expand_args = ["operations"]

    def __init__(self, operations: Sequence[CreateModel]) -> None:
        self.operations = list(operations)

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        return self.__class__.__qualname__, [], {"operations": self.operations}

    def state_forwards(self, app_label: str, state: Any) -> None:
        if "apps" in vars(state):
            del state.apps  # a cached property: made anew, once and whole, by the next who asks for it
        for operation in self.operations:
            operation.state_forwards(app_label, state)

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        for operation in self.operations:
            operation.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        for operation in reversed(self.operations):
            operation.database_backwards(app_label, schema_editor, from_state, to_state)

    def describe(self) -> str:
        return f"Create {len(self.operations)} tables"

    @property
    def migration_name_fragment(self) -> str:
        return "tables"
