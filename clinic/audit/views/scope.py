"""What an audit page was asked about: one clinic or all of the user's, a period, a class, a prescriber."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

from django.utils import timezone

from clinic.access import ClinicRequest, site_or_404, sites_of
from clinic.audit.forms.audit import AuditForm
from clinic.audit.forms.periods import usual_periods
from clinic.audit.reads.cases import AuditFilter, prescribers
from clinic.models import Site

__all__ = ["ALL", "Scope", "scope_of"]

ALL = "all"
YEAR = 365


@dataclass(frozen=True)
class Scope:
    """The sites, the filter and the values as the links carry them. `site` is the one a chain row is
    written to.
    """

    site: Site
    sites: tuple[Site, ...]
    form: AuditForm
    wanted: AuditFilter | None
    params: dict[str, Any]

    @property
    def network(self) -> bool:
        return self.params["site"] == ALL

    @property
    def words(self) -> str:
        return f"All {len(self.sites)} clinics" if self.network else self.site.name

    @property
    def query(self) -> str:
        return urlencode(self.params)

    @property
    def periods(self) -> list[tuple[str, str, bool]]:
        """Links to the usual periods with everything else kept, and which of them is shown."""
        kept, found = self.params, []
        for words, since, until in usual_periods(timezone.localdate()):
            ends = {"since": since.isoformat(), "until": until.isoformat()}
            found.append((words, urlencode(kept | ends), kept | ends == kept))
        return found

    def context(self) -> dict[str, Any]:
        return {"scope": self, "site": self.site, "form": self.form, "query": self.query, "here": "audit"}


def scope_of(request: ClinicRequest) -> Scope:
    mine = tuple(sites_of(request.user))
    everywhere = request.GET.get("site") == ALL and len(mine) > 1
    site = mine[0] if everywhere else site_or_404(request.user, request)
    sites = mine if everywhere else (site,)
    today = timezone.localdate()
    given = {"since": (today - timedelta(days=YEAR)).isoformat(), "until": today.isoformat()}
    given |= {name: request.GET[name] for name in AuditForm.base_fields if name in request.GET}
    form = AuditForm(given, prescribers=prescribers(sites))
    every = everywhere and Site.objects.count() == len(sites)
    wanted = AuditFilter(sites=sites, everywhere=every, **form.cleaned_data) if form.is_valid() else None
    params = {
        "site": ALL if everywhere else site.pk,
        **{name: value for name, value in given.items() if value},
    }
    return Scope(site, sites, form, wanted, params)
