"""What every page's frame shows."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from clinic import access


def frame(request: HttpRequest) -> dict[str, Any]:
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    return {"may": access.abilities(user), "my_sites": access.sites_of(user)}
