"""Entries corrected and taken back, sent filled."""

from django.utils import timezone

from clinic.alerts.writes.antibiotics import antibiotic_stop
from clinic.alerts.writes.referrals import referral_follow
from clinic.alerts.writes.results import result_see
from clinic.capture.forms.photo_corrections import PhotoCorrectionForm
from clinic.devices.forms.wear_back import OpeningCorrectionForm
from clinic.lesions.writes.looks import look_read
from clinic.models import Contact, Photo, PlanFlag
from clinic.people.forms.weights import WeightCorrectionForm
from clinic.record.forms.taking_back import TakeBackForm
from clinic.relief.forms.plan_life import SetAsideForm
from clinic.relief.writes import plan_life
from tests import factories, factories_care
from tests.clinic.fields.cases_relief import signed
from tests.clinic.fields.filled import Kept, Sent, day, filled
from tests.clinic.fields.scenes import SEALED, worn, wound

TODAY = timezone.localdate


def taken(model):
    return {TakeBackForm: Kept(model, {"reason": f"{model}.withdrawn_because"})}


def told(model):
    return {TakeBackForm: Kept(model, {"reason": f"Historical{model}.history_change_reason"})}


GONE = {"version": "1", "reason": "of somebody else"}


@filled("weight_correct", WeightCorrectionForm)
def a_weight_corrected(site, by):
    weight = factories.weight(of=factories.person(at=site), kg=128)
    data = {"version": "1", "kg": "82.4", "how": "told", "measured_on": day(-1), "reason": "typed wrongly"}
    kept = Kept("Weight", {"reason": "HistoricalWeight.history_change_reason"})
    return Sent({"weight": weight.pk}, data, {WeightCorrectionForm: kept})


@filled("weight_withdraw", TakeBackForm)
def a_weight_withdrawn(site, by):
    return Sent({"weight": factories.weight(of=factories.person(at=site)).pk}, GONE, taken("Weight"))


def photo(site, by):
    return Photo.objects.create(
        lesion=wound(site),
        taken_on=TODAY(),
        file="photos/none.jpg",
        sha256="0" * 64,
        width_px=20,
        height_px=20,
        created_by=by,
    )


@filled("photo_correct", PhotoCorrectionForm)
def a_photo_corrected(site, by):
    data = {"version": "1", "taken_on": day(-1), "note": "from the side", "reason": "typed wrongly"}
    kept = Kept("Photo", {"reason": "HistoricalPhoto.history_change_reason"})
    return Sent({"photo": photo(site, by).pk}, data, {PhotoCorrectionForm: kept})


@filled("photo_withdraw", TakeBackForm)
def a_photo_withdrawn(site, by):
    return Sent({"photo": photo(site, by).pk}, GONE, taken("Photo"))


@filled("flag_answer_take_back", TakeBackForm)
def an_answer_taken_back(site, by):
    answered = {"answer": "called", "answer_note": "x", "answered_at": timezone.now(), "answered_by": by}
    flag = factories.red_flag(of=factories.person(at=site), **answered)
    return Sent({"flag": flag.pk}, GONE, told("RedFlag"))


def opened(site):
    return worn(wound(site), "walker_non_removable", **SEALED, opened_on=TODAY())


@filled("opening_correct", OpeningCorrectionForm)
def an_opening_corrected(site, by):
    device = opened(site)
    data = {"version": "1", "opened_on": device.sealed_on.isoformat(), "reason": "a day earlier"}
    kept = Kept("Prescription", {"reason": "HistoricalPrescription.history_change_reason"})
    return Sent({"prescription": device.pk}, data, {OpeningCorrectionForm: kept})


def words_of(model):
    """The reason stands in the copy's reason, after what was taken back."""
    place = (f"Historical{model}.history_change_reason", lambda said: GONE["reason"] in said)
    return {TakeBackForm: Kept(model, {"reason": place})}


@filled("opening_take_back", TakeBackForm)
def an_opening_taken_back(site, by):
    return Sent({"prescription": opened(site).pk}, GONE, words_of("Prescription"))


@filled("sealing_take_back", TakeBackForm)
def a_sealing_taken_back(site, by):
    device = worn(wound(site), "walker_non_removable", **SEALED)
    return Sent({"prescription": device.pk}, GONE, words_of("Prescription"))


@filled("plan_step_take_back", TakeBackForm)
def a_step_taken_back(site, by):
    _, made = signed(site, by)
    step = plan_life.plan_cut(
        by=by, limb_plan=made, code=made.plan.code, side="left", bar_mm=100, depth_mm=6, done_on=TODAY()
    )
    to = {"code": made.plan.code, "step": step.pk}
    return Sent(to, GONE, {TakeBackForm: Kept("PlanStep", {"reason": "PlanStep.note"})})


@filled("plan_set_aside", SetAsideForm)
def a_plan_set_aside(site, by):
    _, made = signed(site, by)
    data = {"ended_on": day(-1), "because": "the other record has the plan of this foot"}
    return Sent(
        {"code": made.plan.code},
        data,
        {SetAsideForm: Kept("LimbPlan", {"because": "LimbPlan.ended_because"})},
    )


@filled("plan_flag_answer_take_back", TakeBackForm)
def an_answer_over_a_plan_taken_back(site, by):
    _, made = signed(site, by)
    answered = {"answer": "stands", "answered_at": timezone.now(), "answered_by": by}
    flag = PlanFlag.objects.create(
        limb_plan=made, cause="contact", words="test", raised_on=TODAY(), created_by=by, **answered
    )
    return Sent({"plan_flag": flag.pk}, GONE, told("PlanFlag"))


@filled("call_answer_take_back", TakeBackForm)
def an_answer_to_a_call_taken_back(site, by):
    call = factories.call(of=factories.person(at=site))
    type(call).objects.filter(pk=call.pk).update(done="advised", done_at=timezone.now(), done_by=by)
    return Sent({"call": call.pk}, GONE, words_of("IncomingCall"))


@filled("contact_take_back", TakeBackForm)
def an_attempt_to_reach_taken_back(site, by):
    person = factories.person(at=site)
    made = Contact.objects.create(
        person=person, tried_at=timezone.now(), how="telephone", result="not_reached", created_by=by
    )
    return Sent({"contact": made.pk}, GONE, taken("Contact"))


@filled("referral_follow_take_back", TakeBackForm)
def a_step_of_a_referral_taken_back(site, by):
    person = factories.person(at=site)
    row = person.referrals.create(
        to="vascular", urgency="immediate", because="test", made_at=timezone.now(), created_by=by
    )
    referral_follow(
        by=by,
        referral=row,
        reached_at=timezone.now(),
        accepted_at=None,
        seen_on=None,
        result="",
        expected_version=1,
    )
    return Sent({"referral": row.pk}, {**GONE, "version": "2"}, words_of("Referral"))


@filled("result_seen_take_back", TakeBackForm)
def a_result_seen_taken_back(site, by):
    row = factories_care.result(of=factories.person(at=site), result_on=TODAY(), value=12, reading="unclear")
    result_see(by=by, result=row, follows="again", expected_version=1)
    return Sent({"result": row.pk}, {**GONE, "version": "2"}, words_of("Result"))


@filled("look_unread", TakeBackForm)
def a_read_answer_unread(site, by):
    look = wound(site).looks.create(
        asked_at=timezone.now(),
        question="deeper?",
        answer="no",
        answered_at=timezone.now(),
        answered_by=by,
        created_by=by,
    )
    look_read(by=by, look=look)
    return Sent({"look": look.pk}, {**GONE, "version": str(look.version)}, words_of("Look"))


@filled("antibiotic_step_take_back", TakeBackForm)
def a_step_of_an_antibiotic_taken_back(site, by):
    course = factories_care.antibiotic(of=wound(site))
    antibiotic_stop(by=by, course=course, stopped_on=TODAY(), stop_reason="completed", expected_version=1)
    return Sent({"course": course.pk}, {**GONE, "version": "2"}, words_of("AntibioticCourse"))


@filled("danger_take_back", TakeBackForm)
def a_team_taken_back(site, by):
    owner = factories.danger_owner(of=wound(site).limb)
    return Sent({"owner": owner.pk}, GONE, taken("DangerOwner"))
