"""Contacts, red flags, tests and antibiotics, sent filled."""

from datetime import timedelta

from django.utils import timezone

from clinic.alerts.forms.antibiotics import AntibioticEditForm, AntibioticForm, AntibioticStopForm
from clinic.alerts.forms.calls import CallDoneForm, CallForm
from clinic.alerts.forms.contacts import ContactForm
from clinic.alerts.forms.flags import FlagAnswerForm
from clinic.alerts.forms.owners import DangerOwnerForm
from clinic.alerts.forms.results import (
    ResultEditForm,
    ResultReportForm,
    ResultRequestForm,
    ResultSeenForm,
    ResultWithdrawForm,
)
from clinic.models import Visit
from tests import factories, factories_care
from tests.clinic.fields.filled import Kept, Sent, day, filled
from tests.clinic.fields.scenes import wound


@filled("contact_new", ContactForm)
def an_attempt_to_reach_a_person(site, by):
    person = factories.person(at=site)
    Visit.objects.filter(pk=factories.visit(of=person, on=timezone.localdate() - timedelta(days=9)).pk)
    data = {"how": "letter", "result": "reached", "note": "rang twice", "next_on": day(3)}
    return Sent({"person": person.pk}, data, {ContactForm: Kept("Contact", {"next_on": "Visit.next_on"})})


@filled("flag_answer", FlagAnswerForm)
def a_flag_answered(site, by):
    flag = factories.red_flag(of=factories.person(at=site))
    data = {
        "version": "1",
        "answer": "known",
        "answer_note": "the ward answered",
        "under": "vascular team",
        "until": day(9),
    }
    return Sent({"flag": flag.pk}, data, {FlagAnswerForm: Kept("RedFlag")})


def requested(lesion, by, **changed):
    return {
        "kind": "culture",
        "what": "deep tissue",
        "about": f"lesion-{lesion.pk}",
        "requested_on": day(-2),
        "due_on": day(5),
        "owner": str(by.pk),
        **changed,
    }


@filled("result_new", ResultRequestForm)
def a_test_requested(site, by):
    lesion = wound(site)
    kept = Kept("Result", {"about": ("Result.lesion", lesion)})
    return Sent({"person": lesion.limb.person_id}, requested(lesion, by), {ResultRequestForm: kept})


@filled("result_edit", ResultEditForm)
def a_request_corrected(site, by):
    lesion = wound(site)
    result = factories_care.result(of=lesion.limb.person)
    data = requested(lesion, by, version="1", why="another laboratory")
    told = {
        "about": ("Result.lesion", lesion),
        "why": "HistoricalResult.history_change_reason",
    }
    return Sent({"result": result.pk}, data, {ResultEditForm: Kept("Result", told)})


@filled("result_report", ResultReportForm)
def a_result_entered(site, by):
    result = factories_care.result(of=wound(site).limb.person)
    data = {"version": "1", "result_on": day(-1), "value": "48.5", "words": "raised", "reading": "abnormal"}
    return Sent({"result": result.pk}, data, {ResultReportForm: Kept("Result")})


@filled("result_seen", ResultSeenForm)
def a_result_seen(site, by):
    result = factories_care.result(
        of=wound(site).limb.person, result_on=timezone.localdate(), value=12, reading="unclear"
    )
    data = {"version": "1", "follows": "again in a week"}
    return Sent({"result": result.pk}, data, {ResultSeenForm: Kept("Result")})


@filled("result_withdraw", ResultWithdrawForm)
def a_request_withdrawn(site, by):
    result = factories_care.result(of=wound(site).limb.person)
    data = {"version": "1", "withdrawn_because": "done elsewhere"}
    return Sent({"result": result.pk}, data, {ResultWithdrawForm: Kept("Result")})


COURSE = {
    "drug": "flucloxacillin",
    "dose": "1 g four times a day",
    "route": "iv",
    "started_on": day(-3),
    "planned_end_on": day(4),
    "decided_by": "ward doctor",
    "why": "cellulitis",
}


@filled("antibiotic_new", AntibioticForm)
def an_antibiotic_started(site, by):
    return Sent({"lesion": wound(site).pk}, COURSE, {AntibioticForm: Kept("AntibioticCourse")})


@filled("antibiotic_edit", AntibioticEditForm)
def an_antibiotic_prolonged(site, by):
    course = factories_care.antibiotic(of=wound(site))
    data = {**COURSE, "version": "1", "because": "still red"}
    kept = {"because": "HistoricalAntibioticCourse.history_change_reason"}
    return Sent({"course": course.pk}, data, {AntibioticEditForm: Kept("AntibioticCourse", kept)})


@filled("antibiotic_stop", AntibioticStopForm)
def an_antibiotic_stopped(site, by):
    course = factories_care.antibiotic(of=wound(site))
    data = {"version": "1", "stopped_on": day(-1), "stop_reason": "not_tolerated", "stop_note": "rash"}
    return Sent({"course": course.pk}, data, {AntibioticStopForm: Kept("AntibioticCourse")})


@filled("call_new", CallForm)
def a_call_logged(site, by):
    person = wound(site).limb.person
    data = {
        "about": "wet",
        "words": "the boot stood in the bath",
        "caller": "her daughter",
        "red_flags": ["gangrene"],
        "flag_answer": "known",
        "flag_answer_note": "seen there on Monday",
        "flag_under": "vascular team",
        "flag_until": day(5),
        "done": "comes_today",
        "done_note": "at two o'clock",
    }
    kept = Kept(
        "IncomingCall",
        {
            "red_flags": "RedFlag.flags",
            "flag_answer": "RedFlag.answer",
            "flag_answer_note": "RedFlag.answer_note",
            "flag_under": "RedFlag.under",
            "flag_until": "RedFlag.until",
        },
    )
    return Sent({"person": person.pk}, data, {CallForm: kept})


@filled("call_answer", CallDoneForm)
def a_call_answered(site, by):
    call = factories.call(of=factories.person(at=site))
    data = {"version": "1", "done": "advised", "done_note": "dry it, come tomorrow"}
    return Sent({"call": call.pk}, data, {CallDoneForm: Kept("IncomingCall")})


@filled("dangers", DangerOwnerForm)
def a_danger_given_to_a_team(site, by):
    lesion = wound(site)
    factories.finding(of=lesion.limb, toe_pressure_mmhg=22)
    data = {"danger": "ischaemia", "team": "vascular team", "next_on": day(9), "note": "no bypass possible"}
    return Sent({"limb": lesion.limb_id}, data, {DangerOwnerForm: Kept("DangerOwner")})
