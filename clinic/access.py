"""Who may do what, and whose records a user may open. Access is decided before anything is rendered.

Two questions, two answers: a page above the role is refused (403); a record of another site is not there (404),
so that its existence is not told.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django_htmx.middleware import HtmxDetails

from clinic.models import ClinicalRecord, Role, Site, User

__all__ = [
    "ABILITIES",
    "ClinicRequest",
    "abilities",
    "can",
    "may",
    "site_or_404",
    "sites_of",
    "visible",
    "visible_or_404",
]


class ClinicRequest(HttpRequest):
    """A request as views get it behind `may`: signed in, and with htmx's details."""

    user: User
    htmx: HtmxDetails


STAFF, PODIATRIST, MANAGER = Role.STAFF, Role.PODIATRIST, Role.MANAGER

#: Ability -> the roles that have it. The one table of role rules.
ABILITIES: dict[str, frozenset[str]] = {
    "see_cases": frozenset({STAFF, PODIATRIST, MANAGER}),
    "see_today": frozenset({STAFF, PODIATRIST}),
    "register": frozenset({STAFF, PODIATRIST}),
    "log_visits": frozenset({STAFF, PODIATRIST}),
    "answer_flags": frozenset({STAFF, PODIATRIST}),
    "close_lesions": frozenset({STAFF, PODIATRIST}),
    "confirm_healed": frozenset({PODIATRIST}),
    "fit_devices": frozenset({STAFF, PODIATRIST}),
    "prescribe": frozenset({PODIATRIST}),
    "plan_relief": frozenset({PODIATRIST}),
    "review": frozenset({PODIATRIST}),
    "audit": frozenset({MANAGER}),
    "house_rules": frozenset({PODIATRIST, MANAGER}),
}

Row = TypeVar("Row", bound=ClinicalRecord)
View = Callable[..., HttpResponseBase]


def can(user: Any, ability: str) -> bool:
    """Whether the user's role has an ability."""
    return user.is_authenticated and user.role in ABILITIES[ability]


def abilities(user: Any) -> dict[str, bool]:
    """All abilities of a user, for templates: `{% if may.prescribe %}`."""
    return {ability: user.role in roles for ability, roles in ABILITIES.items()}


def may(ability: str) -> Callable[[View], View]:
    """Refuse a view (403) to roles without the ability. Goes on every view but signing in."""
    if ability not in ABILITIES:
        raise KeyError(ability)

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not can(request.user, ability):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        guarded.ability = ability  # type: ignore[attr-defined]
        return guarded

    return guard


def visible(model: type[Row], user: Any) -> QuerySet[Row]:
    """Rows of a clinical noun that belong to the user's sites."""
    return model.objects.visible_to(user)


def visible_or_404(source: type[Row] | QuerySet[Row], user: Any, **lookup: Any) -> Row:
    """One row of the user's sites; missing and forbidden look the same."""
    rows = source if isinstance(source, QuerySet) else source.objects.all()
    return get_object_or_404(rows.visible_to(user), **lookup)  # type: ignore[attr-defined]


def sites_of(user: User) -> list[Site]:
    """The user's sites by name, read once per user object."""
    if not hasattr(user, "_sites"):
        user._sites = list(user.sites.order_by("name"))  # type: ignore[attr-defined]
    return user._sites  # type: ignore[attr-defined]


def site_or_404(user: User, request: HttpRequest) -> Site:
    """The site a list page is about: `?site=` if it is one of the user's, else the first."""
    mine = sites_of(user)
    if not mine:
        raise Http404("no site")
    asked = request.GET.get("site", "")
    for site in mine:
        if str(site.pk) == asked:
            return site
    if asked:
        raise Http404("no such site")
    return mine[0]
