"""The check of the whole record that ends a sequence."""

from __future__ import annotations

from django.db.models import Q

from clinic.accounts.writes.verification import verify
from clinic.models import AuditEvent, Person

from .world import World

#: What the tests made without a write, and what belongs to the machine the clinic runs on.
MADE_BY_HAND = ("clinic_user", "clinic_site", "heads.jsonl", "trigger ")


def at_the_end(w: World, *, whole: bool) -> None:
    """Chain, copies, rows and digests agree: the clinic's own check finds nothing. No name of an erased
    person."""
    found = (
        []
        if not whole
        else [one.words for one in verify(full=True) if not one.words.startswith(MADE_BY_HAND)]
    )
    assert not found, found[:5]
    for _, name in w.erased:
        for model in (Person.history.model, AuditEvent):
            fields = [
                field.name
                for field in model._meta.concrete_fields
                if field.get_internal_type() in ("CharField", "TextField")
            ]
            said = Q()
            for field in fields:
                said |= Q(**{f"{field}__contains": name})
            assert not model._base_manager.filter(said).exists(), f"{name} in {model.__name__}"
