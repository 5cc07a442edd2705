"""How cases end, sent filled: what somebody who left had open, an ulcer registered in error."""

from django.utils import timezone

from clinic.case.forms.in_error import LesionErrorForm
from clinic.case.forms.settling import SettleForm
from clinic.models import LimbPlan, Look, Referral
from offload.models import ReliefPlan
from tests import factories, factories_care
from tests.clinic.fields.filled import Kept, Sent, day, filled


@filled("settle", SettleForm)
def what_somebody_who_moved_left_open(site, by):
    person = factories.person(at=site, state="moved", state_on=day(-2))
    limb = factories.limb(of=person)
    lesion = factories.lesion(on=limb)
    device = factories.prescription(of=limb, lesions=[lesion], prescribed_on=day(-9))
    others = {
        "plan": ("LimbPlan.ended_because", a_limb_plan(limb, lesion)),
        "referral": ("Referral.result", a_referral_made(person)),
        "result": ("Result.withdrawn_because", factories_care.result(of=person, owner=by)),
        "course": ("AntibioticCourse.stop_note", factories_care.antibiotic(of=lesion)),
        "look": ("Look.answer", a_look(lesion)),
        "item": ("NonHealingItem.words", a_review_item(lesion)),
    }
    names = {f"words_{kind}_{row.pk}": place for kind, (place, row) in others.items()}
    own = {
        f"choice_device_{device.pk}": "Prescription.left_how",
        f"words_device_{device.pk}": "Prescription.left_with",
        f"informed_device_{device.pk}": "Prescription.left_told",
        f"choice_lesion_{lesion.pk}": "Lesion.outcome",
    }
    data = {
        "on": day(-1),
        **{name: f"ended there: {name}" for name in names},
        f"choice_device_{device.pk}": "handed_over",
        f"words_device_{device.pk}": "district nurse Tove",
        f"informed_device_{device.pk}": "general practice",
        f"choice_lesion_{lesion.pk}": "moved",
    }
    kept = Kept("", {**names, **own, "on": "Prescription.stopped_on"})
    return Sent({"person": person.pk}, data, {SettleForm: kept})


def a_limb_plan(limb, lesion):
    plan = ReliefPlan.objects.create(
        code="S00001",
        side=limb.side,
        spec={},
        result={},
        sha256="0" * 64,
        core_version="test",
        created_at=timezone.now(),
        made_by="test",
    )
    link = LimbPlan.objects.create(limb=limb, plan=plan, created_by=factories.author())
    link.lesions.set([lesion])
    return link


def a_referral_made(person):
    return Referral.objects.create(
        person=person,
        to="vascular",
        urgency="planned",
        because="test",
        made_at=timezone.now(),
        created_by=factories.author(),
    )


def a_look(lesion):
    return Look.objects.create(
        lesion=lesion, asked_at=timezone.now(), question="Deeper?", created_by=factories.author()
    )


def a_review_item(lesion):
    review = factories_care.non_healing(of=lesion, due={"perfusion": timezone.localdate()})
    return review.items.get(state="due")


@filled("lesion_in_error", LesionErrorForm)
def a_lesion_registered_on_the_wrong_foot(site, by):
    person = factories.person(at=site)
    limb = factories.limb(of=person)
    right = factories.limb(of=person, side="right")
    lesion = factories.lesion(on=limb)
    factories.measurement(at=factories.visit(of=person), of=lesion)
    factories.prescription(of=limb, lesions=[lesion], prescribed_on=day(-9))
    data = {
        "because": "left and right changed",
        "side": "right",
        "place": "mth_3",
        "findings": "move",
        "device": "taken_off",
        "device_by": "Nora",
        "version": "1",
    }
    places = {
        "because": "Lesion.error_because",
        "side": ("Lesion.limb", right.pk),
        "findings": ("Measurement.lesion", lambda stored: stored.pk != lesion.pk),
        "place": "Lesion.place",
        "device": "Prescription.left_how",
        "device_by": "Prescription.left_with",
    }
    return Sent({"lesion": lesion.pk}, data, {LesionErrorForm: Kept("", places)})


@filled("lesion_in_error", LesionErrorForm)
def a_lesion_registered_twice(site, by):
    person = factories.person(at=site)
    limb = factories.limb(of=person)
    lesion, other = factories.lesion(on=limb), factories.lesion(on=limb, place="mth_4")
    data = {"because": "registered twice", "instead": str(other.pk), "version": "1"}
    places = {"because": "Lesion.error_because", "instead": ("Lesion.instead", other.pk)}
    return Sent({"lesion": lesion.pk}, data, {LesionErrorForm: Kept("", places)})
