"""Who may do what, and whose records a user may open. Access is decided before anything is rendered.

Two questions, two answers: a page above the role is refused (403); a record of another site is not there
(404), so that its existence is not told.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

from django.core.exceptions import PermissionDenied
from django.db.models import Q, QuerySet
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django_htmx.middleware import HtmxDetails

from clinic.models import BreakGlass, ClinicalRecord, Person, Role, Site, Transfer, TransferState, User
from clinic.record.reads.people_in import people_in

__all__ = [
    "ABILITIES",
    "ClinicRequest",
    "abilities",
    "can",
    "listed_people",
    "may",
    "note_listed",
    "read_only",
    "second_factor_asked",
    "seen_people",
    "site_named",
    "site_or_404",
    "sites_of",
    "take_glass",
    "transfer_or_404",
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
    "settle": frozenset({STAFF, PODIATRIST, MANAGER}),
    "confirm_healed": frozenset({PODIATRIST}),
    "fit_devices": frozenset({STAFF, PODIATRIST}),
    "prescribe": frozenset({PODIATRIST}),
    "sign_second": frozenset({STAFF, PODIATRIST}),
    "plan_relief": frozenset({PODIATRIST}),
    "review": frozenset({PODIATRIST}),
    "see_outcomes": frozenset({PODIATRIST, MANAGER}),
    "audit": frozenset({MANAGER}),
    "see_completeness": frozenset({STAFF, PODIATRIST, MANAGER}),
    "house_rules": frozenset({PODIATRIST, MANAGER}),
    "own_account": frozenset({STAFF, PODIATRIST, MANAGER}),
    "accounts": frozenset({MANAGER}),
    "run_clinic": frozenset({MANAGER}),
    "settings": frozenset({PODIATRIST, MANAGER}),
    "reasons": frozenset({MANAGER}),
    "see_history": frozenset({STAFF, PODIATRIST, MANAGER}),
    "break_glass": frozenset({PODIATRIST, MANAGER}),
    "watch_glass": frozenset({MANAGER}),
    "person_rights": frozenset({MANAGER}),
    "tell_problem": frozenset({STAFF, PODIATRIST, MANAGER}),
    "find_duplicates": frozenset({STAFF, PODIATRIST, MANAGER}),
    "merge_people": frozenset({PODIATRIST, MANAGER}),
    "see_transfers": frozenset({STAFF, PODIATRIST, MANAGER}),
    "ask_transfers": frozenset({STAFF, PODIATRIST}),
    "answer_transfers": frozenset({PODIATRIST, MANAGER}),
}

#: Abilities that write into one person's record: off where that record is for reading only.
WRITING = frozenset(
    {
        "register",
        "log_visits",
        "answer_flags",
        "close_lesions",
        "settle",
        "confirm_healed",
        "fit_devices",
        "prescribe",
        "sign_second",
        "plan_relief",
        "ask_transfers",
    }
)

Row = TypeVar("Row", bound=ClinicalRecord)
View = Callable[..., HttpResponseBase]


def can(user: Any, ability: str) -> bool:
    """Whether the user's role has an ability."""
    return user.is_authenticated and user.role in ABILITIES[ability]


def abilities(user: Any) -> dict[str, bool]:
    """All abilities of a user, for templates: `{% if may.prescribe %}`. On a page of a record that is for
    reading only, none that writes into it.
    """
    off = WRITING if read_only(user) else frozenset()
    return {ability: user.role in roles and ability not in off for ability, roles in ABILITIES.items()}


def read_only(user: Any) -> bool:
    """Whether this request shows a record that is restricted by law or opened in an emergency."""
    return getattr(user, "_read_only", False)


def may(ability: str) -> Callable[[View], View]:
    """Refuse a view (403) to roles without the ability. Goes on every view but signing in."""
    if ability not in ABILITIES:
        raise KeyError(ability)

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not can(request.user, ability):
                raise PermissionDenied
            user: Any = request.user
            user._asks_to_write = ability in WRITING and request.method == "GET"
            return view(request, *args, **kwargs)

        guarded.ability = ability  # type: ignore[attr-defined]
        return guarded

    return guard


def visible(model: type[Row], user: Any) -> QuerySet[Row]:
    """Rows of a clinical noun that belong to the user's sites."""
    return model.objects.visible_to(user)


def visible_or_404(source: type[Row] | QuerySet[Row], user: Any, **lookup: Any) -> Row:
    """One row of the user's sites; missing and forbidden look the same.

    The person it is about goes into the log of reads when the page is shown. Under a broken glass, which only
    the middleware of reading requests hands over, a person of another site is found as well.
    """
    rows = source if isinstance(source, QuerySet) else source.objects.all()
    glass = getattr(user, "glass", None)
    try:
        row = get_object_or_404(rows.visible_to(user), **lookup)  # type: ignore[attr-defined]
    except Http404:
        if not glass:
            raise
        to_site = getattr(rows.model, "SITE_PATH", "")
        path = "pk" if rows.model is Person else to_site.removesuffix("__site")
        if path == "site":
            # What belongs to a clinic and to no person is behind no glass.
            raise
        row = get_object_or_404(rows.filter(**{f"{path}__in": list(glass)}), **lookup)
    _note_seen(user, row, glass or {})
    return row


def _note_seen(user: Any, row: Any, glass: dict[int, int], *, reads_only: bool = True) -> None:
    person = row
    for step in row.SITE_PATH.split("__")[:-1]:
        person = getattr(person, step)
    if not isinstance(person, Person):
        return
    if not hasattr(user, "_seen"):
        user._seen = {}
    mine = person.site_id in user.site_ids
    if reads_only and (person.restricted_on or not mine):
        user._read_only = True
        if getattr(user, "_asks_to_write", False):
            # What would be typed there is refused on saving.
            raise PermissionDenied
    user._seen[person.pk] = (person.pk, person.site_id, None if mine else glass.get(person.pk))


def transfer_or_404(user: Any, pk: int) -> Transfer:
    """A transfer from or to one of the user's sites: both may see it, the record only the one it is at."""
    rows = Transfer.objects.select_related(
        "person__site", "from_site", "to_site", "created_by", "answered_by"
    )
    mine = Q(from_site__in=user.site_ids) | Q(to_site__in=user.site_ids)
    row = get_object_or_404(rows.filter(mine), pk=pk)
    if row.person.site_id in user.site_ids or row.state == TransferState.ASKED:
        _note_seen(user, row, {}, reads_only=False)
    return row


def seen_people(user: Any) -> list[tuple[int, int, int | None]]:
    """Whose records this request has fetched: person, site, and the broken glass it was under."""
    return list(getattr(user, "_seen", {}).values())


def note_listed(user: Any, shown: Any) -> None:
    """Say what a list or an export of this request holds: whoever is in it becomes one row of the log of
    reads. People by number are taken as they are.
    """
    if not hasattr(user, "_listed"):
        user._listed = set()
    numbers = isinstance(shown, set) and all(isinstance(one, int) for one in shown)
    user._listed |= shown if numbers else set(people_in(shown))


def listed_people(user: Any) -> set[int]:
    """Who is on the list this request shows."""
    return getattr(user, "_listed", set())


def take_glass(user: Any, glass: list[int]) -> None:
    """Let this reading request see the people of broken glasses that are still open: person -> number."""
    open_now = BreakGlass.objects.filter(pk__in=glass, user=user, until__gt=timezone.now())
    user.glass = dict(open_now.values_list("person_id", "pk"))


def second_factor_asked(user: Any) -> bool:
    """Whether this user signs in with a second factor: it is on, or a site asks for it of this role."""
    return user.second_factor or (
        user.role in (PODIATRIST, MANAGER) and any(site.second_factor for site in sites_of(user))
    )


def sites_of(user: User) -> list[Site]:
    """The user's sites by name."""
    return user.my_sites


def site_named(user: User, wanted: str) -> Site | None:
    """One of the user's sites, whole, by its number as a page sends it; None if it is none of theirs."""
    for site in sites_of(user):
        if str(site.pk) == wanted:
            return Site.objects.get(pk=site.pk)
    return None


def site_or_404(user: User, request: HttpRequest) -> Site:
    """The site a list page is about: `?site=` if it is one of the user's, else the first."""
    mine = sites_of(user)
    if not mine:
        raise Http404("no site")
    site = site_named(user, request.GET.get("site") or str(mine[0].pk))
    if site is None:
        raise Http404("no such site")
    return site
