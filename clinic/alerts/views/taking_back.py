"""Taking back what was just answered: a call, an attempt to reach somebody, a step of a referral or of an
antibiotic, a result marked as seen, a team that has a danger.
"""

from functools import partial

from django.http import HttpResponse
from django.urls import reverse
from django.utils import timezone

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.alerts.reads.antibiotics import course_row
from clinic.alerts.reads.owners import danger_words
from clinic.alerts.writes import taking_back
from clinic.alerts.writes.antibiotics import antibiotic_step_take_back as step_take_back
from clinic.alerts.writes.owners import danger_take_back as owner_take_back
from clinic.models import AntibioticCourse, Contact, DangerOwner, IncomingCall, Referral, Result
from clinic.people.reads.people import person_bar
from clinic.record.dates import day_words
from clinic.record.views.taking_back import take_back_page

CALLS = IncomingCall.objects.select_related("person__site")
CONTACTS = Contact.objects.standing().select_related("person__site")
REFERRALS = Referral.objects.select_related("person__site")
COURSES = AntibioticCourse.objects.select_related("lesion__limb__person__site")
OWNERS = DangerOwner.objects.standing().select_related("limb__person__site")
RESULTS = Result.objects.select_related("person__site", "owner")


@may("log_visits")
def call_answer_take_back(request: ClinicRequest, call: int) -> HttpResponse:
    found = visible_or_404(CALLS, request.user, pk=call)
    return take_back_page(
        request,
        found,
        partial(taking_back.call_answer_take_back, call=found),
        title="Take back the answer to a call",
        lead="The call stands on Today again, from when it came in; the answer stays in its history.",
        button="Take the answer back",
        done="The answer is taken back; the call awaits an answer.",
        back=reverse("call_answer", args=[found.pk]),
        bar=person_bar(found.person),
    )


@may("log_visits")
def contact_take_back(request: ClinicRequest, contact: int) -> HttpResponse:
    found = visible_or_404(CONTACTS, request.user, pk=contact)
    return take_back_page(
        request,
        found,
        partial(taking_back.contact_take_back, contact=found),
        title=f"Take back: {str(found).lower()}",
        lead="The attempt counts no more. A next date agreed in it goes back to the one before, "
        "unless it was changed since.",
        button="Take the attempt back",
        done="The attempt is taken back.",
        back=reverse("contact_new", args=[found.person_id]),
        bar=person_bar(found.person),
    )


@may("log_visits")
def referral_follow_take_back(request: ClinicRequest, referral: int) -> HttpResponse:
    found = visible_or_404(REFERRALS, request.user, pk=referral)
    return take_back_page(
        request,
        found,
        partial(taking_back.referral_follow_take_back, referral=found),
        title=f"Take back the last entry: {str(found).lower()}",
        lead="The referral stands as it stood before that entry; what was entered stays in its history.",
        button="Take the entry back",
        done="The last entry is taken back.",
        back=reverse("referral", args=[found.pk]),
        bar=person_bar(found.person),
    )


@may("log_visits")
def result_seen_take_back(request: ClinicRequest, result: int) -> HttpResponse:
    found = visible_or_404(RESULTS, request.user, pk=result)
    return take_back_page(
        request,
        found,
        partial(taking_back.result_seen_take_back, result=found),
        title=f"Take back: {found.label} was seen",
        lead="The result waits to be seen again; what followed from it stays in its history.",
        button="Take it back",
        done="The result waits to be seen.",
        back=reverse("result", args=[found.pk]),
        bar=person_bar(found.person),
    )


@may("log_visits")
def antibiotic_step_take_back(request: ClinicRequest, course: int) -> HttpResponse:
    found = visible_or_404(COURSES, request.user, pk=course)
    return take_back_page(
        request,
        found,
        partial(step_take_back, course=found),
        title=f"Take back the last entry: {found.drug}",
        lead=f"Now {course_row(found, timezone.localdate()).sentence}. It will stand as before it was last "
        "prolonged, corrected or stopped; what was entered stays in its history.",
        button="Take the entry back",
        done="The last entry is taken back.",
        back=reverse("antibiotic", args=[found.pk]),
        bar=person_bar(found.lesion.limb.person),
    )


@may("log_visits")
def danger_take_back(request: ClinicRequest, owner: int) -> HttpResponse:
    found = visible_or_404(OWNERS, request.user, pk=owner)
    return take_back_page(
        request,
        found,
        partial(owner_take_back, owner=found),
        title=f"Take back: {found.team} has it, next {day_words(found.next_on)}",
        lead=f"{danger_words(found.danger)}, {found.limb.get_side_display().lower()} foot. Who had it before "
        "has it again, with that date; a date that is past stands on Today.",
        button="Take it back",
        done="It is taken back.",
        back=reverse("dangers", args=[found.limb_id]),
        bar=person_bar(found.limb.person),
    )
