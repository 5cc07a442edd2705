"""Taking back a step of a plan, or the answer to a question over one."""

from functools import partial

from django.http import Http404, HttpResponse
from django.urls import reverse

from clinic.access import ClinicRequest, may, note_listed, visible_or_404
from clinic.models import PlanFlag
from clinic.people.reads.people import person_bar
from clinic.record.forms.taking_back import TakeBackForm
from clinic.record.views.taking_back import entry_page, take_back_page
from clinic.relief.reads.relief import plan_of_code
from clinic.relief.writes.plan_flags_back import plan_flag_answer_take_back as take_answer_back
from clinic.relief.writes.plan_life import plan_step_take_back as take_step_back

FLAGS = PlanFlag.objects.standing().select_related("limb_plan__plan", "limb_plan__limb__person__site")


@may("fit_devices")
def plan_step_take_back(request: ClinicRequest, code: str, step: int) -> HttpResponse:
    found = plan_of_code(request.user, code)
    row = None if found is None else found.plan.steps.filter(pk=step).first()
    if found is None or row is None:
        raise Http404("no such step")
    note_listed(request.user, {found.limb.person_id})
    return entry_page(
        request,
        form=TakeBackForm(request.POST or None, initial={"version": found.plan.version}),
        do=lambda data: take_step_back(by=request.user, limb_plan=found, step=row, reason=data["reason"]),
        title=f"Take back: {row.get_kind_display().lower()} of {row.done_on:%-d %b %Y}",
        lead="It stays to be read on the plan and counts no more; record the step again as it was.",
        button="Take the step back",
        done="The step is taken back.",
        back=reverse("plan", args=[found.plan.code]),
        bar=person_bar(found.limb.person),
    )


@may("plan_relief")
def plan_flag_answer_take_back(request: ClinicRequest, plan_flag: int) -> HttpResponse:
    found = visible_or_404(FLAGS, request.user, pk=plan_flag)
    return take_back_page(
        request,
        found,
        partial(take_answer_back, flag=found),
        title="Take back the answer to a question over the plan",
        lead=f"{found.words} The question then stands on Today again.",
        button="Take the answer back",
        done="The answer is taken back; the question stands again.",
        back=reverse("plan", args=[found.limb_plan.plan.code]),
        bar=person_bar(found.limb_plan.limb.person),
    )
