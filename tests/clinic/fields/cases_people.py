"""What is registered of a person, sent filled: the record, weights, circumstances, merging, transfers,
rights.
"""

from datetime import timedelta

from django.utils import timezone

from clinic.accounts.forms.trust import BreakGlassForm, EraseForm, GroundForm, ProblemForm
from clinic.alerts.forms.referrals import FollowForm, ReferralForm
from clinic.capture.forms.photos import ConsentForm
from clinic.models import Person, Referral
from clinic.people.forms.merging import MergeForm, UndoForm
from clinic.people.forms.people import (
    CircumstancesForm,
    PersonEditForm,
    PersonNewForm,
    PersonStateForm,
    WeightForm,
)
from clinic.people.forms.transfers import AcceptForm, DeclineForm, SendBackForm, TransferForm
from clinic.people.reads.merging import merge_preview
from clinic.people.writes.merging import person_merge
from clinic.people.writes.transfers import transfer_accept, transfer_ask
from tests import factories
from tests.clinic.fields.filled import Kept, Sent, day, filled

PERSON = {
    "record_number": "N-77",
    "given_name": "Ida",
    "family_name": "Bergholt",
    "birth_date": "1951-02-03",
    "diabetes_type": "type_2",
    "telephone": "000 123",
    "second_contact": "daughter, 000 124",
    "language": "Danish",
    "interpreter": "on",
    "allergies": "tape",
    "dialysis": "no",
}


@filled("person_new", PersonNewForm)
def a_person_registered(site, by):
    data = {**PERSON, "site": str(site.pk), "kg": "91.5", "how": "letter", "measured_on": day(-3)}
    weight = {name: f"Weight.{name}" for name in ("kg", "how", "measured_on")}
    return Sent({}, data, {PersonNewForm: Kept("Person", weight)})


@filled("person_new", PersonNewForm)
def a_person_like_another(site, by):
    factories.person(at=site, given_name="Ida", family_name="Bergholt", birth_date="1951-02-03")
    data = {**PERSON, "site": str(site.pk), "another_person": "on"}
    stored = ("Person.record_number", PERSON["record_number"])
    return Sent({}, data, {PersonNewForm: Kept("Person", {"another_person": stored})})


@filled("person_edit", PersonEditForm)
def a_person_corrected(site, by):
    person = factories.person(at=site)
    data = {**PERSON, "version": "1", "why": "spelt wrongly"}
    kept = Kept("Person", {"why": "HistoricalPerson.history_change_reason"})
    return Sent({"person": person.pk}, data, {PersonEditForm: kept})


@filled("person_state", PersonStateForm)
def a_person_who_moved(site, by):
    person = factories.person(at=site)
    data = {"version": "1", "state": "moved", "state_on": day(-2)}
    return Sent({"person": person.pk}, data, {PersonStateForm: Kept("Person")})


@filled("weight_new", WeightForm)
def a_weight(site, by):
    data = {"kg": "91.5", "how": "estimate", "measured_on": day(-3)}
    return Sent({"person": factories.person(at=site).pk}, data, {WeightForm: Kept("Weight")})


@filled("circumstances_new", CircumstancesForm)
def circumstances(site, by):
    data = {
        "asked_on": day(-3),
        "high_falls_risk": "yes",
        "falls_note": "two falls this year",
        "mobility": "transfers_only",
        "poor_sight": "no",
        "drives_or_job_at_risk": "no",
        "help_at_home": "no",
        "cannot_attend_weekly": "yes",
        "declines_non_removable": "no",
        "nobody_to_notice": "yes",
        "claustrophobia": "no",
        "material_allergy": "yes",
    }
    return Sent({"person": factories.person(at=site).pk}, data, {CircumstancesForm: Kept("Circumstances")})


@filled("photo_consent", ConsentForm)
def a_consent(site, by):
    kept = Kept("PhotoConsent", {"on": "PhotoConsent.given_on"})
    return Sent({"person": factories.person(at=site).pk}, {"on": day(-1)}, {ConsentForm: kept})


@filled("photo_consent", ConsentForm)
def a_consent_withdrawn(site, by):
    person = factories.person(at=site)
    person.photo_consents.create(given_on=timezone.localdate() - timedelta(days=9), created_by=by)
    kept = Kept("PhotoConsent", {"on": "PhotoConsent.withdrawn_on"})
    return Sent({"person": person.pk}, {"on": day(-1)}, {ConsentForm: kept})


def minutes_ago(n):
    return timezone.localtime(timezone.now() - timedelta(minutes=n)).strftime("%Y-%m-%dT%H:%M")


@filled("referral_new", ReferralForm)
def a_referral(site, by):
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    data = {
        "to": "surgery",
        "urgency": "planned",
        "lesion": str(lesion.pk),
        "because": "bone in the wound",
        "made_at": minutes_ago(90),
    }
    return Sent({"person": lesion.limb.person_id}, data, {ReferralForm: Kept("Referral")})


@filled("referral", FollowForm)
def a_referral_followed(site, by):
    made = Referral.objects.create(
        person=factories.person(at=site),
        to="vascular",
        urgency="planned",
        because="test",
        created_by=by,
        made_at=timezone.now() - timedelta(days=3),
    )
    data = {
        "version": "1",
        "tried_at": minutes_ago(120),
        "reached_at": minutes_ago(90),
        "accepted_at": minutes_ago(60),
        "seen_on": day(0),
        "result": "angiography booked",
    }
    return Sent({"referral": made.pk}, data, {FollowForm: Kept("Referral")})


@filled("referral", FollowForm)
def a_referral_cancelled(site, by):
    made = Referral.objects.create(
        person=factories.person(at=site),
        to="vascular",
        urgency="planned",
        because="test",
        created_by=by,
        made_at=timezone.now() - timedelta(days=3),
    )
    data = {"version": "1", "cancelled_because": "seen by them already"}
    return Sent({"referral": made.pk}, data, {FollowForm: Kept("Referral")})


@filled("merge_do", MergeForm, by="manager")
def a_merge(site, by):
    kept, emptied = (factories.person(at=site) for _ in range(2))
    data = {"because": "same identity card", "mark": merge_preview(kept, emptied).mark}
    return Sent({"person": kept.pk, "other": emptied.pk}, data, {MergeForm: Kept("Merge")})


@filled("merge_undo", UndoForm, by="manager")
def a_merge_undone(site, by):
    kept, emptied = (factories.person(at=site) for _ in range(2))
    mark = merge_preview(kept, emptied).mark
    made = person_merge(by=by, kept=kept, emptied=emptied, because="same card", mark=mark)
    kept = Kept("Merge", {"because": "Merge.undone_because"})
    return Sent({"merge": made.pk}, {"because": "two cousins"}, {UndoForm: kept})


@filled("transfer_new", TransferForm)
def a_transfer_asked(site, by):
    data = {"to_site": str(factories.site().pk), "because": "moved house"}
    return Sent({"person": factories.person(at=site).pk}, data, {TransferForm: Kept("Transfer")})


def asked_of(site, by):
    """A person of another clinic whom this clinic is asked to take over."""
    person = factories.person()
    there = factories.user("podiatrist", at=person.site)
    return transfer_ask(by=there, person=person, to_site=site, because="moved house")


@filled("transfer_answer", AcceptForm)
def a_transfer_accepted(site, by):
    kept = Kept("Person")
    sent = {"record_number": "N-78"}
    return Sent({"transfer": asked_of(site, by).pk}, sent, {AcceptForm: kept}, pressed={"act": "accept"})


@filled("transfer_answer", DeclineForm)
def a_transfer_declined(site, by):
    kept = Kept("Transfer", {"note": "Transfer.answer_note"})
    sent = {"note": "no room this month"}
    return Sent({"transfer": asked_of(site, by).pk}, sent, {DeclineForm: kept}, pressed={"act": "decline"})


@filled("transfer_undo", SendBackForm)
def a_transfer_sent_back(site, by):
    done = transfer_accept(by=by, transfer=asked_of(site, by), record_number="N-79")
    kept = Kept("Transfer", {"because": "Transfer.undone_because"})
    return Sent({"transfer": done.pk}, {"because": "wrong person"}, {SendBackForm: kept})


@filled("break_glass", BreakGlassForm)
def a_glass_broken(site, by):
    person = factories.person()
    data = {
        "site": str(person.site_id),
        "record_number": person.record_number,
        "birth_date": "1960-05-17",
        "reason": "came to the ward at night",
    }
    kept = Kept(
        "BreakGlass", dict.fromkeys(("record_number", "birth_date"), ("BreakGlass.person_id", person.pk))
    )
    return Sent({}, data, {BreakGlassForm: kept})


@filled("person_rights", GroundForm, by="manager")
def a_restriction(site, by):
    person = factories.person(at=site)
    kept = Kept("Person", {"ground": "Person.restricted_because"})
    sent = {"restrict-ground": "asked in writing"}
    return Sent({"person": person.pk}, sent, {GroundForm: kept}, pressed={"act": "restrict"})


@filled("person_rights", EraseForm, by="manager")
def an_erasure(site, by):
    person = factories.person(at=site)
    Person.objects.filter(pk=person.pk).update(state="moved", state_on=timezone.localdate())
    kept = Kept("Erasure", {"typed_number": ("Erasure.person_id", person.pk)})
    sent = {"erase-ground": "asked in writing", "erase-typed_number": person.record_number}
    return Sent({"person": person.pk}, sent, {EraseForm: kept}, pressed={"act": "erase"})


@filled("problem_new", ProblemForm)
def a_problem(site, by):
    data = {"kind": "slow", "page": "today", "number": "a1b2c3"}
    return Sent({}, data, {ProblemForm: Kept("Problem", {"number": "Problem.request_id"})})
