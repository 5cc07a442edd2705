"""Devices, sent filled: chosen, fitted, opened, stopped."""

import re
from datetime import timedelta

from django.test import Client
from django.urls import reverse
from django.utils import timezone

from clinic.devices.forms.fittings import FitForm
from clinic.devices.forms.opening_cards import CardForm
from clinic.devices.forms.overriding import ConfirmSecondForm, TelephoneSecondForm
from clinic.devices.forms.prescriptions import AnswersForm, ChoiceForm, OpenForm, SecondForm, StopForm
from clinic.devices.writes.fittings import steps_of
from tests import factories, factories_care, feet
from tests.clinic.fields.cases_lesions import ago
from tests.clinic.fields.filled import Kept, Sent, day, filled
from tests.clinic.fields.scenes import SEALED, watch_point, worn, wound


@filled("prescription_new", AnswersForm, ChoiceForm)
def a_choice_with_every_answer(site, by):
    lesion = wound(site)
    client = Client()
    client.force_login(by)
    url = reverse("prescription_new", args=[lesion.limb_id])
    answers = dict.fromkeys(client.get(url).context["answers"].fields, "yes")
    page = client.post(url, {**answers, "work_out": "yes"}).content.decode()
    seen = re.search(r'name="seen" value="([0-9a-f]{64})"', page).group(1)
    data = {
        **answers,
        "device_class": "footwear_modification",
        "departure_reason": "not_available",
        "reason": "None of the others is here.",
        "device_label": "lot 7",
        "seen": seen,
    }
    told = {name: ("Prescription.facts", _says(re.sub(r"_\d+$", "", name), True)) for name in answers}
    return Sent(
        {"limb": lesion.limb_id}, data, {AnswersForm: Kept("", told), ChoiceForm: Kept("Prescription")}
    )


@filled("prescription_new", AnswersForm, ChoiceForm)
def a_choice_that_takes_over_from_another(site, by):
    lesion = wound(site)
    plan = watch_point(lesion).limb_plan.plan
    worn(lesion, relief_plan=plan)
    other = factories.lesion(on=lesion.limb, place="web_3")
    factories_care.bone(of=lesion)
    factories_care.bone(of=other)
    known = {"toe_pressure_mmhg": 75, "deformity": "small", "rigid_deformity": False, "charcot": "none"}
    factories.finding(of=lesion.limb, flexible_toe_deformity=False, **known)
    looked = {"infection_looked": True, "infection_grade": 1, "exudate": "light"}
    factories.measurement(at=factories.visit(of=lesion.limb.person), of=other, **looked)
    client = Client()
    client.force_login(by)
    url = reverse("prescription_new", args=[lesion.limb_id])
    told = {"needs_frequent_dressing": "no", "device_available": "yes"}
    page = client.post(url, {**told, "work_out": "yes"}).content.decode()
    seen = re.search(r'name="seen" value="([0-9a-f]{64})"', page).group(1)
    data = {
        **told,
        "device_class": "ankle_high_removable",
        "beside": ["toe_spacer"],
        "reason": "The walker broke.",
        "stop_reason": "broken",
        "carry_plan": "on",
        "seen": seen,
    }
    kept = Kept("Prescription", {"carry_plan": ("Prescription.relief_plan", plan)})
    places = {name: ("Prescription.facts", _says(name, said == "yes")) for name, said in told.items()}
    answers = Kept("", places)
    return Sent({"limb": lesion.limb_id}, data, {AnswersForm: answers, ChoiceForm: kept})


def _says(fact, value):
    """A test of the facts kept with a decision."""
    return lambda facts: any(
        row["name"] == fact and row["value"] is value for lesion in facts.values() for row in lesion["rows"]
    )


@filled("prescription_fit", FitForm)
def a_fitting(site, by):
    device = worn(wound(site))
    type(device).objects.filter(pk=device.pk).update(fitted_on=None)
    steps = steps_of(device)
    data = {
        "version": "1",
        "fitted_on": day(-1),
        "watch_points": "shin edge",
        "review_on": day(5),
        "note": "no aid",
        **{f"step_{n}": "done" for n in range(len(steps))},
    }
    kept = {
        f"step_{n}": (f"Fitting.steps.{n}", {"step": step, "answer": "done"}) for n, step in enumerate(steps)
    }
    return Sent({"prescription": device.pk}, data, {FitForm: Kept("Fitting", kept)})


@filled("prescription_fit", FitForm)
def a_sealing(site, by):
    lesion = wound(site)
    feet.clean_foot(lesion)
    device = factories.prescription(
        of=lesion.limb, lesions=[lesion], device_class="total_contact_cast", prescribed_on=ago(3)
    )
    factories.opening_card(of=device, open_by=timezone.localdate() + timedelta(days=2))
    steps = steps_of(device)
    data = {
        "version": "1",
        "fitted_on": day(0),
        "sealed": "on",
        "open_by": day(2),
        "bandage_below_knee_cm": "4.5",
        "watch_points": "shin edge",
        "review_on": day(2),
        "note": "no aid",
        **{f"step_{n}": "done" for n in range(len(steps))},
    }
    kept = {
        f"step_{n}": (f"Fitting.steps.{n}", {"step": step, "answer": "done"}) for n, step in enumerate(steps)
    }
    return Sent({"prescription": device.pk}, data, {FitForm: Kept("Fitting", kept)})


@filled("card_new", CardForm)
def an_opening_card(site, by):
    device = factories.prescription(of=wound(site).limb, device_class="total_contact_cast")
    data = {"sealed_on": day(0), "open_by": day(2)}
    return Sent({"prescription": device.pk}, data, {CardForm: Kept("OpeningCard")})


@filled("prescription_open", OpenForm)
def an_opening(site, by):
    device = worn(wound(site), "total_contact_cast", **SEALED)
    data = {"version": "1", "opened_on": day(-1)}
    return Sent({"prescription": device.pk}, data, {OpenForm: Kept("Prescription")})


@filled("prescription_stop", StopForm)
def a_stop(site, by):
    data = {"version": "1", "stopped_on": day(-1), "stop_reason": "broken"}
    return Sent({"prescription": worn(wound(site)).pk}, data, {StopForm: Kept("Prescription")})


@filled("prescription_second", SecondForm)
def a_second_signature(site, by):
    device = factories.prescription(of=wound(site).limb, second_needed=True)
    return Sent({"prescription": device.pk}, {"version": "1"}, {SecondForm: Kept("Prescription")})


@filled("second_telephone", TelephoneSecondForm)
def a_second_signature_by_telephone(site, by):
    device = factories.prescription(of=wound(site).limb, second_needed=True, overriding=True)
    now = timezone.localtime().replace(second=0, microsecond=0)
    data = {
        "version": "1",
        "second_name": "Dr Ines Falk",
        "second_role": "vascular surgeon on call",
        "second_telephone": "000 4455",
        "spoken_at": now.strftime("%Y-%m-%dT%H:%M"),
    }
    kept = Kept("Prescription", {"spoken_at": ("Prescription.second_at", now)})
    return Sent({"prescription": device.pk}, data, {TelephoneSecondForm: kept})


@filled("second_confirm", ConfirmSecondForm)
def a_second_signature_confirmed(site, by):
    device = factories.prescription(
        of=wound(site).limb,
        second_needed=True,
        overriding=True,
        second_at=timezone.now(),
        second_name="Dr Ines Falk",
        second_role="vascular surgeon on call",
        second_telephone="000 4455",
    )
    data = {"version": "1", "second_confirmed_how": "letter of today"}
    return Sent({"prescription": device.pk}, data, {ConfirmSecondForm: Kept("Prescription")})
