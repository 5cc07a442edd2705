"""Contacts and red flags, sent filled."""

from datetime import timedelta

from django.utils import timezone

from clinic.alerts.forms.contacts import ContactForm
from clinic.alerts.forms.flags import FlagAnswerForm
from clinic.models import Visit
from tests import factories
from tests.clinic.fields.filled import Kept, Sent, day, filled


@filled("contact_new", ContactForm)
def an_attempt_to_reach_a_person(site, by):
    person = factories.person(at=site)
    Visit.objects.filter(pk=factories.visit(of=person, on=timezone.localdate() - timedelta(days=9)).pk)
    data = {"how": "letter", "result": "reached", "note": "rang twice", "next_on": day(3)}
    return Sent({"person": person.pk}, data, {ContactForm: Kept("Contact", {"next_on": "Visit.next_on"})})


@filled("flag_answer", FlagAnswerForm)
def a_flag_answered(site, by):
    flag = factories.red_flag(of=factories.person(at=site))
    data = {"version": "1", "answer": "sent", "answer_note": "the ward answered"}
    return Sent({"flag": flag.pk}, data, {FlagAnswerForm: Kept("RedFlag")})
