"""The relief bench, the plan it makes, its signature and its sheets."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseNotAllowed, HttpResponseRedirect, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.access import ClinicRequest, can, may, visible_or_404
from clinic.evidence.reads.standing import standing_of
from clinic.models import Lesion, Limb, LimbPlan, WatchPoint
from clinic.people.reads.limbs import drawn_insole
from clinic.people.reads.people import person_bar
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.lifecycle import may_happen
from clinic.record.messages import message_of
from clinic.relief.forms.relief import BenchForm, SignForm
from clinic.relief.reads.device_load import device_remark
from clinic.relief.reads.relief import (
    bench_lesions,
    bias_of,
    devices_with,
    letters_in,
    plan_of_code,
    plan_that_healed,
    plans_of_limb,
    start_of,
)
from clinic.relief.reads.relief_record import WEIGHT_MISSING, LimbRecord, Obstacle, limb_record, obstacle
from clinic.relief.reads.rules_now import outdated
from clinic.relief.reads.watch import flags_standing
from clinic.relief.states import limb_plan_state
from clinic.relief.views import answers as sheets
from clinic.relief.writes.relief import plan_draft, relief_preview
from clinic.relief.writes.relief import plan_sign as sign
from offload.core.errors import ReliefError, faults_of
from offload.core.plan.policy import INLAY_WALL, INLAY_WIDTH
from offload.core.shapes.insole import Insole
from offload.core.shapes.outline import Outline
from offload.models import PlanState, ReliefPlan
from offload.pictures.plan import InsolePicture, PlanPicture, bare_picture, plan_picture
from offload.plans.estimates import LIVE, SURE, Effort
from offload.plans.keeping import PlanRefused, is_intact, redrawn, shut_under, unmet
from offload.plans.steps import Stage, stage_of, standing_steps

#: In the address: begin from no plan.
NO_SOURCE = "none"
STAGE_WORDS = {
    Stage.DRAFT: "Not signed yet.",
    Stage.SIGNED: "Signed. Print a sheet, cut, and record the cut.",
    Stage.CUT: "Cut deep enough. Dress it, then fit it: code and side are typed again.",
    Stage.FITTED: "Fitted. The contact check is next; a non-removable device is sealed only after it.",
    Stage.CHECKED: "Contact check: clean, after a dummy that left its mark.",
    Stage.TOUCHES: "Contact check failed: the ulcer touches its opening. Cut deeper or make a new version.",
    Stage.UNREADABLE: "The contact check could not be read. Repeat it, the dummy first; nothing is sealed "
    "until it is clean.",
    Stage.REPLACED: "Replaced.",
}


@dataclass
class _Bench:
    """What stands on the bench of one limb during one request."""

    record: LimbRecord
    lesions: list[Lesion]
    insole: Insole
    form: BenchForm
    hindrance: Obstacle | None
    effort: Effort | None = None

    def pictures(self) -> tuple[PlanPicture | None, InsolePicture]:
        """Compute what stands there; whatever is wrong is put on the form."""
        valid = self.form.is_valid()
        shapes, others = self.form.wanted, _labelled(self.form.unwanted)
        if valid and self.hindrance is None:
            try:
                estimate, departures = relief_preview(
                    record=self.record, shapes=shapes, choice=self.form.choice, effort=self.effort
                )
            except ReliefError as error:
                for fault in faults_of(error):
                    self.form.refuse_fault(fault)
            except Refused as refused:
                self.form.refuse(refused.field or "", refused.message)
            else:
                picture = plan_picture(
                    estimate.plan,
                    fields=estimate.fields,
                    others=others,
                    departures=departures,
                    cell_by_cell=self.effort is not LIVE,
                )
                return picture, picture.insole
        return None, bare_picture(self.record.limb.side, self.insole, _labelled(shapes), others)


@may("plan_relief")
def bench(request: ClinicRequest, limb: int) -> HttpResponse:
    found = _limb(request, limb)
    set_up = _set_up(request, found)
    if isinstance(set_up, HttpResponse):
        return set_up
    if request.method == "POST" and request.POST.get("action") == "save" and set_up.form.is_valid():
        saved = _save(request, set_up)
        if saved is not None:
            return saved
    if request.POST.get("action") == "sure":
        set_up.effort = SURE
    picture, drawn = set_up.pictures()
    if picture is not None and picture.departures and request.POST.get("use"):
        # Another cut than the policy's was chosen: its reason is what is asked next.
        set_up.form.cut.fields["departure_reason"].widget.attrs["autofocus"] = True
    context = {
        **_common(found),
        "form": set_up.form,
        "picture": picture,
        "insole": drawn,
        "faults": set_up.form.sentences,
        "hindrance": set_up.hindrance,
        "record": set_up.record,
        "off_insole": [lesion for lesion in set_up.lesions if not lesion.foot_site.insole_plan],
        "plans": plans_of_limb(found),
        "source": source.plan if (source := _source(request, found, set_up.lesions)) else None,
        "healed_by_it": bool(source and not request.GET.get("from")),
        "on_bench": True,
        "section_of": _section_of(picture, request.POST.get("section", "")),
        "bias": bias_of(found.person.site),
        "inlay_wall": INLAY_WALL,
        "inlay_width": INLAY_WIDTH,
    }
    refused = request.method == "POST" and set_up.form.errors
    return render(request, "relief/bench.html", context, status=422 if refused else 200)


@may("plan_relief")
def bench_preview(request: ClinicRequest, limb: int) -> HttpResponse:
    found = _limb(request, limb)
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    set_up = _set_up(request, found)
    if isinstance(set_up, HttpResponse):
        return HttpResponse(status=409)
    live = "live" in request.GET
    if live:
        set_up.effort = LIVE
    picture, drawn = set_up.pictures()
    return sheets.preview(
        request,
        live=live,
        picture=picture,
        insole=drawn,
        faults=set_up.form.sentences,
        extra={
            "hindrance": set_up.hindrance,
            "on_bench": True,
            "section_of": _section_of(picture, request.POST.get("section", "")),
            "bias": bias_of(found.person.site),
        },
    )


@may("see_cases")
def plan(request: ClinicRequest, code: str) -> HttpResponse:
    found = _plan(request, code)
    return _plan_page(request, found, SignForm(initial=_signature(found), shut=shut_under(found.plan)))


@may("plan_relief")
def sign_plan(request: ClinicRequest, code: str) -> HttpResponse:
    found = _plan(request, code)
    if request.method != "POST":
        return redirect("plan", code=found.plan.code)
    form = SignForm(request.POST, shut=shut_under(found.plan))
    if form.is_valid():
        try:
            sign(
                by=request.user,
                limb_plan=found,
                expected_version=form.cleaned_data["version"],
                departure_reason=form.cleaned_data["departure_reason"],
                shut_reason=form.cleaned_data["shut_reason"],
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(
                request, f"Plan {found.plan.code} v{found.plan.number} is signed. It can be cut."
            )
            return redirect("plan", code=found.plan.code)
    return _plan_page(request, found, form, status=422)


@may("see_cases")
def plan_pdf(request: ClinicRequest, code: str, paper: str) -> HttpResponse:
    return _sheet(request, code, lambda row, dangers: sheets.sheet_pdf(row, paper, dangers))


@may("see_cases")
def plan_svg(request: ClinicRequest, code: str) -> HttpResponse:
    return _sheet(request, code, sheets.sheet_svg)


@may("see_cases")
def plan_dxf(request: ClinicRequest, code: str) -> HttpResponse:
    return _sheet(request, code, sheets.sheet_dxf)


def _limb(request: ClinicRequest, limb: int) -> Limb:
    return visible_or_404(Limb.objects.select_related("person__site"), request.user, pk=limb)


def _plan(request: ClinicRequest, code: str) -> LimbPlan:
    found = plan_of_code(request.user, code)
    if found is None:
        raise Http404("no such plan")
    return found


def _common(limb: Limb) -> dict[str, Any]:
    return {"limb": limb, "person": limb.person, "bar": person_bar(limb.person), "here": "people"}


def _source(request: ClinicRequest, limb: Limb, lesions: Sequence[Lesion]) -> LimbPlan | None:
    """The plan a new version is copied from: `?from=`, if it is one of this limb; without it the plan that
    healed an ulcer before it came back, `?from=none` for neither.
    """
    code = request.GET.get("from", "")
    if code == NO_SOURCE:
        return None
    if not code:
        return plan_that_healed(lesions)
    found = plan_of_code(request.user, code)
    if found is None or found.limb_id != limb.pk:
        raise Http404("no such plan of this limb")
    return found


def _set_up(request: ClinicRequest, limb: Limb) -> _Bench | HttpResponse:
    """What the bench needs, or the page that says why this limb has none."""
    record = limb_record(limb)
    lesions = bench_lesions(limb)
    hindrance = obstacle(record, lesions)
    if hindrance is not None and hindrance.id != WEIGHT_MISSING:
        return _no_plan(request, limb, lesions, hindrance)
    insole = drawn_insole(limb, record.outline)
    assert insole is not None  # else it stood as the obstacle
    source, letters = _source(request, limb, lesions), {}
    if source is not None:
        letters = letters_in(source)
    data = _with_alternative(request.POST) if request.method == "POST" else None
    form = BenchForm(
        [
            start_of(
                lesion,
                insole,
                source.plan if source else None,
                letters.get(lesion.pk) or letters.get(lesion.recurs_of_id or 0, ""),
            )
            for lesion in lesions
        ],
        record,
        data,
        {
            **source.plan.spec,
            "measured_map": source.measured_map_id,
            "reasons": source.plan.result["reasons"],
        }
        if source
        else None,
    )
    return _Bench(record, lesions, insole, form, hindrance)


def _with_alternative(posted: QueryDict) -> QueryDict:
    """What was posted, with the cut of the alternative whose “use this” was pressed."""
    chosen = re.fullmatch(r"(middle|base|middle\+base):([\d.]+):([\d.]+):([\d.]+)", posted.get("use", ""))
    if chosen is None:
        return posted
    data = posted.copy()
    for name, value in zip(
        ("cut", "margin_mm", "distal_margin_mm", "bevel_deg"), chosen.groups(), strict=True
    ):
        data[name] = value
    return data


def _no_plan(request: ClinicRequest, limb: Limb, lesions: list[Lesion], hindrance: Obstacle) -> HttpResponse:
    link = reverse(hindrance.route, args=[hindrance.argument]) if hindrance.route else ""
    context = {**_common(limb), "hindrance": hindrance, "link": link, "lesions": lesions}
    return render(request, "relief/no_plan.html", context)


def _save(request: ClinicRequest, set_up: _Bench) -> HttpResponseRedirect | None:
    form = set_up.form
    try:
        made = plan_draft(
            by=request.user,
            limb=set_up.record.limb,
            shapes=form.wanted,
            choice=form.choice,
            departure_reason=form.departure_reason,
        )
    except ReliefError as error:
        for fault in faults_of(error):
            form.refuse_fault(fault)
    except Refused as refused:
        form.refuse(refused.field or "", refused.message)
    else:
        return redirect("plan", code=made.plan.code)
    return None


def _labelled(shapes: list[Any]) -> list[tuple[str, Outline]]:
    return [(shape.lesion.label, shape.outline) for shape in shapes]


def _signature(found: LimbPlan) -> dict[str, Any]:
    return {"version": found.plan.version, "departure_reason": found.plan.departure_reason}


def _section_of(picture: PlanPicture | None, chosen: str = "") -> str:
    """The ulcer whose section is shown: the one last chosen, else the first."""
    labels = [label for label, _ in picture.sections] if picture is not None else [""]
    return chosen if chosen in labels else labels[0]


def _plan_page(request: ClinicRequest, found: LimbPlan, form: SignForm, status: int = 200) -> HttpResponse:
    row = found.plan
    picture, trouble = None, ""
    running = found.limb.prescriptions.filter(stopped_on__isnull=True).first()
    try:
        drawn = redrawn(row)
        picture = plan_picture(
            drawn.plan, fields=drawn.fields, departures=row.result["departures"], remark=drawn.remark
        )
    except PlanRefused as fault:
        trouble = str(fault)
    waits = may_happen("plan", limb_plan_state(found), "sign")
    context = {
        **_common(found.limb),
        "found": found,
        "history_noun": "limbplan",
        "history_pk": found.pk,
        "plan": row,
        "picture": picture,
        "section_of": _section_of(picture),
        "trouble": trouble,
        "intact": is_intact(row),
        "form": form,
        "is_draft": row.state == PlanState.DRAFT,
        "blocked": [*unmet(row), *(outdated(limb_record(found.limb), found) if waits else ())],
        "may_sign": waits and can(request.user, "plan_relief"),
        "following": next((f for f in row.replaced_by.all() if f.state != PlanState.DRAFT), None),
        "devices": devices_with(row, request.user),
        "device_remark": device_remark(row, running) if found.ended_on is None else "",
        "stage": stage_of(row),
        "stage_words": STAGE_WORDS[stage_of(row)],
        "watch_points": WatchPoint.objects.filter(limb_plan=found),
        "flags": flags_standing(limb_plan=found),
        "answered": found.flags.standing().exclude(answer="").select_related("answered_by"),
        "last_step": next(reversed(standing_steps(row)), None),
        "taken_back": {step.takes_back_id for step in row.steps.all()},
        "bias": bias_of(found.limb.person.site),
        "papers": [("a4", "A4"), ("a3", "A3"), ("letter", "Letter")],
    }
    return render(request, "relief/plan.html", context, status=status)


def _sheet(
    request: ClinicRequest, code: str, draw: Callable[[ReliefPlan, Sequence[str]], HttpResponse]
) -> HttpResponse:
    """A sheet of a plan; what stands about the foot on the day of the print stands on it."""
    found = _plan(request, code)
    try:
        return draw(found.plan, standing_of(found.limb, timezone.localdate()).strip)
    except PlanRefused as refused:
        messages.error(request, message_of("refused", words=refused).text)
        return redirect("plan", code=found.plan.code)
