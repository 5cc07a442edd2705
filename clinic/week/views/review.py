"""The podiatrist's review: open lesions by concern, and marking one as seen."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html_join
from django.utils.safestring import SafeString

from clinic.access import ClinicRequest, may, note_listed, site_or_404, visible_or_404
from clinic.guidelines.due import SEEN_DAYS
from clinic.models import Lesion
from clinic.people.reads.peer_waiting import peer_waiting
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.week.forms import ReviewFilterForm, SeenForm
from clinic.week.reads.review import ReviewFilter, review_list
from clinic.week.writes import review_seen


def _kept(request: ClinicRequest, filter_: ReviewFilter) -> SafeString:
    """What the form of each row sends along, the same for all: the token, and the filter to come back to."""
    fields = [("csrfmiddlewaretoken", get_token(request))]
    fields += [(f"kept_{name}", getattr(filter_, name)) for name in ReviewFilterForm.base_fields]
    return format_html_join("", '<input type="hidden" name="{}" value="{}">', fields)


@may("review")
def review(request: ClinicRequest) -> HttpResponse:
    site = site_or_404(request.user, request)
    form = ReviewFilterForm({name: request.GET.get(name, "") for name in ReviewFilterForm.base_fields})
    filter_ = ReviewFilter(**form.cleaned_data) if form.is_valid() else ReviewFilter()
    found = review_list(site, timezone.localdate(), filter_)
    form.count(found)
    note_listed(request.user, found)
    return render(
        request,
        "week/review/list.html",
        {
            "site": site,
            "peer_waiting": peer_waiting(site, request.user),
            "form": form,
            "asked": filter_,
            "kept": _kept(request, filter_),
            "found": found,
            "seen_days": SEEN_DAYS,
            "here": "review",
        },
        status=422 if form.errors else 200,
    )


@may("review")
def review_note(request: ClinicRequest, lesion: int) -> HttpResponse:
    found = visible_or_404(Lesion.objects.select_related("limb__person__site"), request.user, pk=lesion)
    site, today = found.limb.person.site, timezone.localdate()
    row = review_list(site, today).row_of(found)
    form = SeenForm(request.POST or None, initial={"concern": row.concern if row else ""})
    if request.method == "POST" and form.is_valid():
        try:
            review_seen(
                by=request.user,
                lesion=found,
                concern=row.concern if row else "",
                shown=form.cleaned_data["concern"],
                may_be_seen=row.may_be_seen if row else True,
                note=form.cleaned_data["note"],
                seen_on=today,
            )
        except Refused as refused:
            show(form, refused)
            # The page now shows the concern as it stands; the next note is on that.
            again = request.POST.copy()
            again["concern"] = row.concern if row else ""
            form.data = again  # type: ignore[assignment]
        else:
            messages.success(request, f"Seen: ulcer {found.label} of {found.limb.person.full_name}.")
            query = {
                name: request.POST[f"kept_{name}"]
                for name in ReviewFilterForm.base_fields
                if request.POST.get(f"kept_{name}")
            }
            return redirect(f"{reverse('review')}?{urlencode({'site': site.pk, **query})}")
    return render(
        request,
        "week/review/note.html",
        {
            "lesion": found,
            "row": row,
            "form": form,
            "notes": found.review_notes.select_related("created_by")[:10],
            "seen_days": SEEN_DAYS,
            "bar": person_bar(found.limb.person),
            "here": "review",
        },
        status=422 if form.errors else 200,
    )
