"""Correcting a weight, and withdrawing one."""

from collections.abc import Sequence
from functools import partial
from typing import Any

from django.http import HttpResponse
from django.urls import reverse

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.models import Weight
from clinic.people.forms.weights import WeightCorrectionForm
from clinic.people.reads.people import person_bar
from clinic.people.writes.weights import weight_correct as correct
from clinic.people.writes.weights import weight_withdraw as withdraw
from clinic.record.dates import day_words
from clinic.record.questions import Question, weight_question
from clinic.record.views.taking_back import entry_page, take_back_page

WEIGHTS = Weight.objects.standing().select_related("person__site", "visit")


def _asked(weight: Weight, data: dict[str, Any]) -> Sequence[Question]:
    """A weight that is changed, against the one before it."""
    earlier = weight.person.weights.newest_first().filter(measured_on__lte=data["measured_on"])
    last = earlier.exclude(pk=weight.pk).first()
    if last is None or data["kg"] == weight.kg:
        return ()
    limit = weight.person.site.question_weight_percent
    return weight_question("kg", last.kg, data["kg"], last.measured_on, limit)


@may("register")
def weight_correct(request: ClinicRequest, weight: int) -> HttpResponse:
    found = visible_or_404(WEIGHTS, request.user, pk=weight)
    stored = {name: getattr(found, name) for name in ("kg", "how", "measured_on", "version")}
    form = WeightCorrectionForm(request.POST or None, initial=stored)
    return entry_page(
        request,
        form=form,
        do=lambda data: correct(by=request.user, weight=found, expected_version=data.pop("version"), **data),
        title=f"Correct the weight of {day_words(found.measured_on)}",
        lead="What stood before is kept in its history. Plans are asked about again with the new weight.",
        button="Save the correction",
        done="The weight is corrected.",
        back=reverse("person", args=[found.person_id]),
        bar=person_bar(found.person),
        ask=lambda data: _asked(found, data),
        other=("Withdraw it", reverse("weight_withdraw", args=[found.pk])),
    )


@may("register")
def weight_withdraw(request: ClinicRequest, weight: int) -> HttpResponse:
    found = visible_or_404(WEIGHTS, request.user, pk=weight)
    return take_back_page(
        request,
        found,
        partial(withdraw, weight=found),
        title=f"Withdraw the weight of {day_words(found.measured_on)}, {found.kg} kg",
        lead="It then steers no plan; the weight before it is the newest again. It stays in the history.",
        button="Withdraw this weight",
        done="The weight is withdrawn.",
        back=reverse("person", args=[found.person_id]),
        bar=person_bar(found.person),
    )
