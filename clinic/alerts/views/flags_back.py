"""Taking back the answer to a red flag."""

from functools import partial

from django.http import HttpResponse
from django.urls import reverse

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.alerts.writes.flags_back import flag_answer_take_back as take_back
from clinic.models import RedFlag
from clinic.people.reads.people import person_bar
from clinic.record.views.taking_back import take_back_page

FLAGS = RedFlag.objects.standing().select_related("person__site")


@may("answer_flags")
def flag_answer_take_back(request: ClinicRequest, flag: int) -> HttpResponse:
    found = visible_or_404(FLAGS, request.user, pk=flag)
    return take_back_page(
        request,
        found,
        partial(take_back, flag=found),
        title="Take back the answer to a red flag",
        lead="The red flag is urgent again, from when it was raised, until somebody answers it. The "
        "answer taken "
        "back stays in its history.",
        button="Take the answer back",
        done="The answer is taken back; the red flag awaits an answer.",
        back=reverse("flag_answer", args=[found.pk]),
        bar=person_bar(found.person),
    )
