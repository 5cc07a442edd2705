"""The podiatrist's review: open lesions by concern."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from clinic.access import ClinicRequest, may, site_or_404
from clinic.selectors.review import review_groups


@may("review")
def review(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)  # type: ignore[arg-type]
    groups = review_groups(site, timezone.localdate())
    return render(
        request,
        "clinic/review/list.html",
        {
            "site": site,
            "groups": groups,
            "count": sum(len(group.rows) for group in groups),
            "here": "review",
        },
    )
