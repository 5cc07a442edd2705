"""What every page's frame shows."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from clinic import access
from clinic.accounts.reads.breakglass import unseen
from clinic.accounts.reads.checks import faults_standing

#: Argument of a route -> the noun whose history its pages lead to. Plans, named by a code, hand theirs over
#: themselves.
HISTORY_OF = {
    "person": "person",
    "lesion": "lesion",
    "limb": "limb",
    "visit": "visit",
    "prescription": "prescription",
    "referral": "referral",
    "flag": "redflag",
    "photo": "photo",
    "scale": "photoscale",
    "card": "openingcard",
    "look": "look",
    "result": "result",
    "course": "antibioticcourse",
    "judgement": "bonejudgement",
    "non_healing": "nonhealingreview",
    "item": "nonhealingitem",
}


def frame(request: HttpRequest) -> dict[str, Any]:
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    may = access.abilities(user)
    match = request.resolver_match
    shown: dict[str, Any] = {
        "may": may,
        "read_only": access.read_only(user),
        "my_sites": access.sites_of(user),
        "page_name": match.url_name if match else "",
        "request_number": getattr(request, "number", ""),
        # A manager is told that somebody read a record of this clinic from outside: a count beside Settings.
        "glass_unseen": unseen(user.site_ids) if may["watch_glass"] else 0,
        # A check of the record that found something is a stop for managers on their pages.
        "record_faults": faults_standing() if may["run_clinic"] else 0,
    }
    named = next((name for name in match.kwargs if name in HISTORY_OF), None) if match else None
    if match and named:
        shown["history_noun"], shown["history_pk"] = HISTORY_OF[named], match.kwargs[named]
    return shown
