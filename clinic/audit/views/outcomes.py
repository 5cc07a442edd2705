"""What came of lesions, and how well past forecasts have done."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from clinic.access import ClinicRequest, can, may, note_listed, site_or_404, sites_of
from clinic.audit.forms.outcomes import OutcomesForm
from clinic.audit.reads.forecast_record import forecast_record
from clinic.audit.reads.outcomes import (
    GROUPINGS,
    LISTED,
    MARKS,
    MOST,
    Outcomes,
    OutcomesFilter,
    outcomes_of,
)
from clinic.curves.views import chart_answer, content_key
from clinic.healing.alarms import COURSES, TRADE_OFF
from clinic.models import Site

PERIOD_DAYS = 2 * 365
KINDS = ("incidence", "kaplan-meier")
ALL = "all"


@may("review")
def forecasts(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    return render(
        request,
        "audit/forecasts.html",
        {
            "site": site,
            "record": forecast_record(site, timezone.localdate()),
            "alarms": TRADE_OFF,
            "invented": COURSES,
            "here": "review",
        },
    )


def _asked(request: ClinicRequest) -> tuple[Site, OutcomesForm, OutcomesFilter | None, dict[str, Any]]:
    mine, today = tuple(sites_of(request.user)), timezone.localdate()
    everywhere = request.GET.get("site") == ALL and len(mine) > 1
    site = mine[0] if everywhere else site_or_404(request.user, request)
    given = {
        "since": (today - timedelta(days=PERIOD_DAYS)).isoformat(),
        "until": today.isoformat(),
        "by": "severity_site" if everywhere else "severity",
    }
    given |= {name: request.GET[name] for name in OutcomesForm.base_fields if name in request.GET}
    form = OutcomesForm(given)
    sites = mine if everywhere else (site,)
    wanted = OutcomesFilter(sites=sites, **form.cleaned_data) if form.is_valid() else None
    return site, form, wanted, {"site": ALL if everywhere else site.pk, **given}


def _small(words: str) -> str:
    return words[0].lower() + words[1:]


def _kind(request: ClinicRequest) -> str:
    kind = request.GET.get("show", KINDS[0])
    if kind not in KINDS:
        raise Http404("no such chart")
    return kind


@may("see_outcomes")
def outcomes(request: ClinicRequest) -> HttpResponse:
    site, form, wanted, params = _asked(request)
    found = outcomes_of(wanted, timezone.localdate()) if wanted else None
    note_listed(request.user, found)
    return render(
        request,
        "audit/outcomes.html",
        {
            "site": site,
            "everywhere": params["site"] == ALL,
            "scope_words": f"All {len(sites_of(request.user))} clinics"
            if params["site"] == ALL
            else site.name,
            "most": MOST,
            "listed_up_to": LISTED,
            "form": form,
            "found": found,
            "marks": MARKS,
            "by": _small(GROUPINGS[wanted.by]) if wanted else "",
            "show": _kind(request),
            "tested": "test" in request.GET,
            "query": urlencode(params),
            "here": "audit" if can(request.user, "audit") else "review",
        },
        status=200 if wanted else 422,
    )


@may("see_outcomes")
def outcomes_chart(request: ClinicRequest) -> HttpResponse:
    _, form, wanted, _ = _asked(request)
    kind = _kind(request)
    if wanted is None:
        raise Http404(f"no such filter: {form.errors.as_text()}")
    found = outcomes_of(wanted, timezone.localdate())
    if not found.drawn:
        raise Http404("no group has enough ulcers to draw")
    content = [
        (line.chart_name, line.outcome.durations, line.outcome.endings, line.outcome.incidence[0].curve[-1:])
        for line in found.drawn
    ]
    return chart_answer(request, content_key("outcomes", kind, content), lambda: _draw(found, kind))


def _draw(found: Outcomes, kind: str) -> bytes:
    from clinic.charts.incidence import IncidenceGroup, incidence_svg
    from clinic.charts.survival import SurvivalGroup, survival_svg

    lines = found.drawn
    weeks = [tuple(days / 7.0 for days in line.outcome.durations) for line in lines]
    if kind == "kaplan-meier":
        return survival_svg(
            [
                SurvivalGroup(line.chart_name, own, line.outcome.healed_marks, _weeks(line.outcome.until))
                for line, own in zip(lines, weeks, strict=True)
            ]
        )
    groups = []
    for line, own in zip(lines, weeks, strict=True):
        healed, *others = (one.over(7.0) for one in line.outcome.incidence)
        until = _weeks(line.outcome.until)
        groups.append(IncidenceGroup(line.chart_name, own, healed, tuple(others), until))
    return incidence_svg(groups)


def _weeks(days: float | None) -> float | None:
    return None if days is None else days / 7.0
