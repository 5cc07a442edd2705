"""What every page's frame shows."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from clinic import access
from clinic.selectors.breakglass import unseen

#: Route argument of a record's own page -> the noun of its history.
HISTORY_OF = {
    "person": "person",
    "lesion": "lesion",
    "visit": "visit",
    "prescription": "prescription",
    "referral": "referral",
    "flag_answer": "redflag",
    "limb_edit": "limb",
}


def frame(request: HttpRequest) -> dict[str, Any]:
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    may = access.abilities(user)
    match = request.resolver_match
    shown: dict[str, Any] = {
        "may": may,
        "my_sites": access.sites_of(user),
        "page_name": match.url_name if match else "",
        "request_number": getattr(request, "number", ""),
        # A manager is told that somebody read a record of this clinic from outside: a count beside Settings.
        "glass_unseen": unseen(user.site_ids) if may["watch_glass"] else 0,
    }
    if match and match.url_name in HISTORY_OF and match.kwargs:
        shown["history_noun"] = HISTORY_OF[match.url_name]
        shown["history_pk"] = next(iter(match.kwargs.values()))
    return shown
