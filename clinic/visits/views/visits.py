"""The weekly visit: logged, read, corrected, taken out, or missed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.utils import timezone
from django.utils.dateparse import parse_date
from django_htmx.http import HttpResponseClientRedirect

from clinic.access import ClinicRequest, may, visible_or_404
from clinic.alerts.reads.flags import flags_open, travelling_sheet
from clinic.alerts.reads.known import feet_standing, known_beside
from clinic.capture.reads.traces import trace_at_visit, trace_for_visit
from clinic.curves.reads.healing import healings_of
from clinic.models import Attendance, Lesion, LesionState, Person, Trace, Visit
from clinic.people.reads.people import person_bar
from clinic.record.dates import day_words
from clinic.record.errors import Conflict, Refused
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of
from clinic.record.questions import answers_of, unanswered
from clinic.visits.forms.conflict import visit_differences
from clinic.visits.forms.measurement import MeasurementForm
from clinic.visits.forms.visits import (
    CorrectionForm,
    MissedCorrectionForm,
    MissedForm,
    VisitForm,
    lesion_forms,
)
from clinic.visits.questions import correction_questions, visit_questions
from clinic.visits.reads import (
    VisitSheet,
    change_words,
    correction_sheet,
    latest_visit,
    visit_of_day,
    visit_page,
    visit_sheet,
)
from clinic.visits.writes import corrections
from clinic.visits.writes.visits import visit_log
from clinic.visits.writes.visits import visit_missed as log_missed

PEOPLE = Person.objects.select_related("site")
VISITS = Visit.objects.select_related("person__site", "created_by")


@may("log_visits")
def visit_new(request: ClinicRequest, person: int) -> HttpResponse:
    who = visible_or_404(PEOPLE, request.user, pk=person)
    sheet = visit_sheet(who, timezone.localdate())
    sent = request.method == "POST"
    paper = _paper_day(request)
    form = VisitForm(
        request.POST if sent else None, sheet=sheet, initial={"visited_on": paper} if paper else {}
    )
    form.known_beside(known_beside(feet_standing(who, timezone.localdate())))
    parts = lesion_forms(
        sheet,
        request.POST if sent else None,
        request.FILES if sent else None,
        traced=_traced(request, who) if not sent else None,
    )
    stored = None
    later = "later" in request.POST
    shown = parts
    if later:
        # Left for somebody else: an untouched lesion is not looked at yet, and the next date may wait.
        blank = lesion_forms(sheet)
        shown = [part if part.touched else left for part, left in zip(parts, blank, strict=True)]
        parts = [part for part in parts if part.touched]
        form.needs_next = False
    valid = sent and all_valid(form, parts)
    questions = visit_questions(sheet, form.findings(), [one.findings() for one in parts]) if valid else []
    waits = unanswered(questions, request.POST)
    if valid and not waits:
        before, day = _verdicts([one.lesion for one in sheet.lesions]), form.cleaned_data["visited_on"]
        try:
            logged = visit_log(
                by=request.user,
                person=who,
                submission_key=form.cleaned_data["submission_key"],
                found=replace(
                    form.findings(), unfinished=later, confirmed=tuple(one.words for one in questions)
                ),
                lesions=[part.findings() for part in parts],
                from_paper=paper is not None,
            )
        except Refused as refused:
            show_on(refused, form, parts)
            stored = visit_of_day(who, day)
        else:
            if not logged.new:
                messages.warning(request, message_of("stored_already").text)
                return _go(request, resolve_url("visit", visit=logged.visit.pk))
            if later:
                messages.success(
                    request, "Saved so far. The visit stands on Today until somebody finishes it."
                )
                return _go(request, resolve_url("today"))
            messages.success(request, _saved_words(logged.visit, sheet, before))
            if paper and not flags_open(who).filter(visit=logged.visit).exists():
                # On to the next sheet of the pile; a red flag comes first.
                return _go(request, f"{resolve_url('paper_entry')}?site={who.site_id}&day={paper}")
            return _go(request, after_visit(sheet, logged.visit))
    context = {
        "form": form,
        "parts": shown,
        "sheet": sheet,
        "paper": paper,
        "red": travelling_sheet(who, sheet.sealed, timezone.now()),
        "faults": faults_of(form, parts),
        "questions": questions if waits else (),
        "answers": answers_of(questions, request.POST),
        **_both_versions(form, parts, stored),
        "bar": person_bar(who),
        "here": "today",
    }
    return render(request, "visits/new.html", context, status=422 if waits or context["faults"] else 200)


def _paper_day(request: ClinicRequest) -> date | None:
    """The day of the sheet that is being entered from paper: `?paper=`, not after today."""
    try:
        day = parse_date(request.GET.get("paper", ""))
    except ValueError:
        return None
    return day if day and day <= timezone.localdate() else None


def _both_versions(form: VisitForm, parts: list[MeasurementForm], stored: Visit | None) -> dict[str, Any]:
    """The visit that another page stored first, and where it differs from what is typed on this one."""
    if stored is None:
        return {}
    rows = visit_page(stored).measurements
    return {"stored": stored, "unlike": visit_differences(form, parts, stored, rows)}


def _traced(request: ClinicRequest, who: Person) -> Trace | None:
    """The trace that the person has just drawn for this visit: `?trace=`, on a photo of today."""
    number = request.GET.get("trace", "")
    if not number.isdigit():
        return None
    return trace_for_visit(who, int(number), timezone.localdate())


def all_valid(form: BaseForm, parts: list[MeasurementForm]) -> bool:
    """Check every part, so that all faults show at once."""
    return all([form.is_valid(), *(part.is_valid() for part in parts)])


def show_on(refused: Refused, form: BaseForm, parts: list[MeasurementForm]) -> None:
    """The write's refusal, on the lesion's part of the page it names."""
    for part in parts:
        head = f"{part.prefix}-"
        if refused.field and refused.field.startswith(head):
            show(part, Refused(refused.message, field=refused.field.removeprefix(head)))
            return
    show(form, refused)


def faults_of(form: BaseForm, parts: list[MeasurementForm]) -> list[dict[str, str]]:
    """All faults in the order of the page, each with the field it leads to; the first one takes the focus."""
    faults = []
    for one in (form, *parts):
        lesion = f"Ulcer {one.sheet.lesion.label}. " if isinstance(one, MeasurementForm) else ""
        for name in one.errors:
            if name not in one.fields:
                faults += [{"id": "", "words": f"{lesion}{words}"} for words in one.errors[name]]
                continue
            field = one[name]
            if not faults:
                field.field.widget.attrs["autofocus"] = True
            faults += [{"id": field.auto_id, "words": f"{lesion}{words}"} for words in field.errors]
    return faults


def _verdicts(lesions: list[Lesion]) -> dict[int, str]:
    return {pk: healing.words for pk, healing in healings_of(lesions).items()}


def _saved_words(visit: Visit, sheet: VisitSheet, before: dict[int, str]) -> str:
    # Read anew: a visit that found an ulcer open again has reopened it.
    stand = Lesion.objects.select_related("limb__person__site").in_bulk(
        [one.lesion.pk for one in sheet.lesions]
    )
    after = _verdicts(list(stand.values()))
    words = [f"Visit of {day_words(visit.visited_on)} saved."]
    for one in sheet.lesions:
        was, now = before[one.lesion.pk], after[one.lesion.pk]
        if one.lesion.state == LesionState.TO_CONFIRM and stand[one.lesion.pk].is_open:
            words.append(
                f"Ulcer {one.lesion.label} was noted as closed and has an area again: it is reopened."
            )
        elif was != now:
            words.append(f"Ulcer {one.lesion.label} is now “{now}”; it was “{was}”.")
    for row in visit.measurements.select_related("lesion"):
        if row.covered_dry and row.lesion.state == LesionState.OPEN:
            words.append(f"Ulcer {row.lesion.label} is covered and dry: record the closure on its page.")
    return " ".join(words)


def after_visit(sheet: VisitSheet, visit: Visit) -> str:
    """A raised flag first; then the lesion's page, or the person's when there are several."""
    flag = flags_open(sheet.person).filter(visit=visit).first()
    if flag is not None:
        return resolve_url("flag_answer", flag=flag.pk)
    if len(sheet.lesions) == 1:
        return resolve_url("lesion", lesion=sheet.lesions[0].lesion.pk)
    return resolve_url("person", person=sheet.person.pk)


def _go(request: ClinicRequest, url: str) -> HttpResponse:
    """Leave the page, also when htmx sent the form."""
    return HttpResponseClientRedirect(url) if request.headers.get("HX-Request") else redirect(url)


@may("log_visits")
def visit_check(request: ClinicRequest, person: int) -> HttpResponse:
    """Area and change of what is typed so far; nothing is stored."""
    who = visible_or_404(PEOPLE, request.user, pk=person)
    day = _day_typed(request.POST.get("visited_on", ""))
    sheet = visit_sheet(who, day)
    wanted = request.GET.get("lesion", "")
    live = []
    for part in lesion_forms(sheet, request.POST):
        if wanted in ("", str(part.sheet.lesion.pk)):
            area, fault = part.preview()
            words, kind = change_words(
                part.sheet.lesion, day, area, bool(part.data.get(part.add_prefix("debridement")))
            )
            live.append({"sheet": part.sheet, "area": area, "fault": fault, "change": words, "kind": kind})
    return render(request, "visits/_live.html", {"live": live})


def _day_typed(text: str) -> date:
    try:
        return parse_date(text) or timezone.localdate()
    except ValueError:
        return timezone.localdate()


@may("log_visits")
def visit_missed(request: ClinicRequest, person: int) -> HttpResponse:
    who = visible_or_404(PEOPLE, request.user, pk=person)
    latest = latest_visit(who)
    booked = latest.next_on if latest is not None else None
    today = timezone.localdate()
    day = booked if booked is not None and booked <= today else today
    form = MissedForm(request.POST if request.method == "POST" else None, initial={"visited_on": day})
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            logged = log_missed(
                by=request.user,
                person=who,
                submission_key=data["submission_key"],
                day=data["visited_on"],
                attendance=data["attendance"],
                why_not=data["why_not"],
                next_on=data["next_on"],
                next_at=data["next_at"],
                transport=data["transport"],
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "Recorded that the visit did not happen.")
            if logged.visit.attendance == Attendance.DID_NOT_COME:
                return redirect("contact_new", person=who.pk)
            return redirect("person", person=who.pk)
    context = {"form": form, "bar": person_bar(who), "here": "today"}
    return render(request, "visits/missed.html", context, status=422 if form.errors else 200)


@may("see_cases")
def visit(request: ClinicRequest, visit: int) -> HttpResponse:
    found = visible_or_404(VISITS, request.user, pk=visit)
    context = {"page": visit_page(found), "bar": person_bar(found.person), "here": "people"}
    return render(request, "visits/visit.html", context)


@may("log_visits")
def visit_correct(request: ClinicRequest, visit: int) -> HttpResponse:
    found = visible_or_404(VISITS, request.user, pk=visit)
    if found.attendance != Attendance.CAME:
        return _missed_correct(request, found)
    rows = {row.lesion_id: row for row in visit_page(found).measurements}
    sheet = correction_sheet(found, rows.values())
    data = request.POST if request.method == "POST" else None
    form = CorrectionForm(data, sheet=sheet, visit=found, prefix=None)
    number = request.GET.get("trace", "")
    traced = trace_at_visit(found, int(number)) if data is None and number.isdigit() else None
    parts = lesion_forms(sheet, data, stored=rows, traced=traced)
    stored = None
    valid = request.method == "POST" and all_valid(form, parts)
    questions = (
        correction_questions(found, sheet, form.findings(), [p.findings() for p in parts]) if valid else []
    )
    waits = unanswered(questions, request.POST)
    if valid and not waits:
        try:
            corrections.visit_correct(
                by=request.user,
                visit=found,
                found=replace(form.findings(), confirmed=tuple(one.words for one in questions)),
                lesions=[part.findings() for part in parts],
                reason=form.cleaned_data["reason"],
                expected_version=form.cleaned_data["version"],
            )
        except Conflict as conflict:
            show_on(conflict, form, parts)
            stored = VISITS.get(pk=found.pk)
        except Refused as refused:
            show_on(refused, form, parts)
        else:
            messages.success(request, "The visit is corrected; what stood before is kept in its history.")
            return redirect("visit", visit=found.pk)
    context: dict[str, Any] = {
        "form": form,
        "parts": parts,
        "sheet": sheet,
        "visit": found,
        "faults": faults_of(form, parts),
        **_both_versions(form, parts, stored),
        "again": True,
        "questions": questions if waits else (),
        "answers": answers_of(questions, request.POST),
        "photos": found.photos.standing().filter(drawn=False).select_related("lesion"),
        "bar": person_bar(found.person),
        "here": "people",
    }
    return render(request, "visits/correct.html", context, status=422 if waits or context["faults"] else 200)


def _missed_correct(request: ClinicRequest, found: Visit) -> HttpResponse:
    stored = {
        "attendance": found.attendance,
        "visited_on": found.visited_on,
        "why_not": found.why_not,
        "next_on": found.next_on,
        "next_at": found.next_at,
        "transport": found.transport,
        "version": found.version,
    }
    form = MissedCorrectionForm(request.POST if request.method == "POST" else None, initial=stored)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            corrections.missed_correct(
                by=request.user,
                visit=found,
                day=data["visited_on"],
                attendance=data["attendance"],
                why_not=data["why_not"],
                next_on=data["next_on"],
                next_at=data["next_at"],
                transport=data["transport"],
                reason=data["reason"],
                expected_version=data["version"],
            )
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "The entry is corrected; what stood before is kept in its history.")
            return redirect("visit", visit=found.pk)
    context = {"form": form, "visit": found, "bar": person_bar(found.person), "here": "people"}
    return render(request, "visits/missed_correct.html", context, status=422 if form.errors else 200)
