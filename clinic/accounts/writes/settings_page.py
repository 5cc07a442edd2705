"""How a site's people sign in."""

from __future__ import annotations

from django.db import transaction

from clinic.models import Site, User
from clinic.record.errors import Refused
from clinic.record.writes import audit

__all__ = ["second_factor_rule"]


@transaction.atomic
def second_factor_rule(*, by: User, site: Site, required: bool) -> Site:
    """Whether podiatrists and managers of this site sign in with a second factor."""
    row = Site.objects.select_for_update().get(pk=site.pk)
    if row.second_factor == required:
        raise Refused("Nothing was changed.")
    if required and not by.second_factor:
        raise Refused("Turn on your own second factor first, so that you cannot lock yourself out.")
    before, row.second_factor = row.second_factor, required
    row._history_user = by  # type: ignore[attr-defined]
    row.save()
    audit.record(
        by=by, site=row, verb="changed", target=row, changes={"second_factor": [str(before), str(required)]}
    )
    return row
