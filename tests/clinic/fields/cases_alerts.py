"""Contacts and red flags, sent filled."""

from datetime import timedelta

from django.utils import timezone

from clinic.alerts.forms.calls import CallDoneForm, CallForm
from clinic.alerts.forms.contacts import ContactForm
from clinic.alerts.forms.flags import FlagAnswerForm
from clinic.alerts.forms.owners import DangerOwnerForm
from clinic.models import Visit
from tests import factories
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
