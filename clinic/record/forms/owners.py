"""Who of the clinic owns a thing with a due date."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import QuerySet

from clinic.models import Site, User

__all__ = ["OwnerField", "owners_of"]


def owners_of(site: Site) -> QuerySet[User]:
    """Active users of the clinic, by name."""
    return User.objects.filter(sites=site, is_active=True).order_by("last_name", "first_name", "username")


class OwnerField(forms.ModelChoiceField):
    """One of the clinic's active users; nobody is chosen beforehand."""

    def __init__(self, *, site: Site, label: str = "Owner", **kwargs: Any) -> None:
        super().__init__(
            queryset=owners_of(site),
            label=label,
            empty_label="Choose",
            error_messages={"required": f"{label}: choose who waits for it."},
            **kwargs,
        )
