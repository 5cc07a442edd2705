"""What concerns a foot and a lesion, sent filled: registered, corrected, closed, looked at, photographed,
traced.
"""

import io
import json
import uuid
from datetime import timedelta

from django.utils import timezone
from PIL import Image

from clinic.capture.forms.photos import PhotoForm
from clinic.capture.forms.trace import ScaleForm, TraceForm
from clinic.lesions.forms.closure import CloseForm, ConfirmForm, EndForm, ReopenForm
from clinic.lesions.forms.events import EventForm
from clinic.lesions.forms.lesions import LesionEditForm, LesionNewForm
from clinic.lesions.forms.looks import AskForm, LookAnswerForm
from clinic.models import Look, PhotoScale
from clinic.people.forms.limbs import FindingForm, LimbForm
from clinic.week.forms import SeenForm
from clinic.week.reads.review import review_list
from tests import factories, factories_care
from tests.clinic.fields.filled import Kept, Sent, day, filled, same
from tests.clinic.fields.scenes import picture, wound
from tests.offload.core.photo_scenes import scene


def ago(n):
    return timezone.localdate() - timedelta(days=n)


REGISTERED = {
    "place": "mth_5",
    "wound_kind": "blister",
    "cause": "ischaemic",
    "onset_on": day(-20),
    "first_seen_on": day(-6),
}


@filled("lesion_new", LesionNewForm)
def the_first_lesion_of_an_episode(site, by):
    limb = factories.limb(of=factories.person(at=site), side="right")
    data = {
        **REGISTERED,
        "side": "right",
        "first_presented_on": day(-9),
        "referred_by": "family doctor",
        "first_assessed_on": day(-6),
    }
    episode = {name: f"Episode.{name}" for name in LesionNewForm.EPISODE}
    return Sent(
        {"person": limb.person_id},
        data,
        {LesionNewForm: Kept("Lesion", {"side": ("Lesion.limb", limb), **episode})},
    )


@filled("lesion_new", LesionNewForm)
def a_lesion_come_back(site, by):
    limb = factories.limb(of=factories.person(at=site), side="right")
    healed = factories.lesion(
        on=limb,
        place="mth_5",
        state="healed",
        outcome="healed",
        first_seen_on=ago(400),
        closed_on=ago(300),
        confirmed_on=ago(280),
    )
    data = {**REGISTERED, "side": "right", "recurs_of": str(healed.pk)}
    kept = Kept("Lesion", {"side": ("Lesion.limb", limb), "recurs_of": ("Lesion.recurs_of", healed)})
    return Sent({"person": limb.person_id}, data, {LesionNewForm: kept})


@filled("lesion_new", LesionNewForm)
def a_second_wound_at_one_place(site, by):
    limb = factories.limb(of=factories.person(at=site), side="right")
    factories.lesion(on=limb, place="mth_5")
    data = {**REGISTERED, "side": "right", "another_here": "on"}
    kept = Kept("Lesion", {"side": ("Lesion.limb", limb), "another_here": ("Lesion.label", "B")})
    return Sent({"person": limb.person_id}, data, {LesionNewForm: kept})


@filled("lesion_new", LesionNewForm)
def a_part_that_split_off(site, by):
    limb = factories.limb(of=factories.person(at=site), side="right")
    whole = factories.lesion(on=limb, place="mth_5")
    data = {**REGISTERED, "side": "right", "split_from": str(whole.pk)}
    kept = Kept("Lesion", {"side": ("Lesion.limb", limb), "split_from": ("Lesion.split_from", whole)})
    return Sent({"person": limb.person_id}, data, {LesionNewForm: kept})


@filled("lesion_edit", LesionEditForm)
def a_lesion_corrected(site, by):
    lesion = wound(site, state="open")
    other = factories.limb(of=lesion.limb.person, side="right")
    data = {**REGISTERED, "side": "right", "version": "1", "why": "other foot"}
    kept = Kept("Lesion", {"side": ("Lesion.limb", other), "why": "HistoricalLesion.history_change_reason"})
    return Sent({"lesion": lesion.pk}, data, {LesionEditForm: kept})


@filled("limb_edit", LimbForm)
def a_foot_measured(site, by):
    limb = factories.limb(of=factories.person(at=site))
    data = {"version": "1", "foot_length_mm": "251.5", "foot_breadth_mm": "99", "amputation": "ray"}
    return Sent({"limb": limb.pk}, data, {LimbForm: Kept("Limb")})


@filled("finding_new", FindingForm)
def findings_on_a_foot(site, by):
    limb = factories.limb(of=factories.person(at=site))
    data = {
        "found_on": day(-3),
        "monofilament_tested": "9",
        "monofilament_felt": "4",
        "dorsalis_pedis": "absent",
        "posterior_tibial": "present",
        "ankle_pressure_mmhg": "118",
        "ankle_index": "0.81",
        "toe_pressure_mmhg": "44",
        "toe_index": "0.41",
        "tcpo2_mmhg": "31",
        "toe_unmeasurable_because": "toe amputated",
        "waveform": "monophasic",
        "newly_lost_pulse": "yes",
        "newly_cold": "no",
        "rest_pain": "yes",
        "dead_tissue": "no",
        "dvt_suspected": "no",
        "ulcer_on_same_leg": "yes",
        "deformity": "large",
        "rigid_deformity": "yes",
        "flexible_toe_deformity": "no",
        "charcot": "inactive",
        "oedema": "changing",
        "fragile_skin": "no",
        "calf_girth_mm": "402",
        "bulky_calf": "yes",
        "previous_ulcer": "no",
        "note": "callus",
    }
    return Sent({"limb": limb.pk}, data, {FindingForm: Kept("LimbFinding")})


@filled("event_new", EventForm)
def an_event(site, by):
    lesion = wound(site)
    factories.finding(of=lesion.limb, toe_pressure_mmhg=22, found_on=ago(5))
    data = {
        "kind": "debrided",
        "happened_on": day(-4),
        "note": "rim and base",
        "sharp": "yes",
        "anticoagulant": "yes",
        "anticoagulant_done": "pressed for ten minutes",
        "despite": "vascular ward, by telephone",
    }
    return Sent({"lesion": lesion.pk}, data, {EventForm: Kept("Event")})


@filled("lesion_close", CloseForm)
def a_closure(site, by):
    lesion = wound(site)
    factories_care.found_covered(lesion, ago(1))
    data = {"version": "1", "closed_on": day(-1), "device_stays": "on"}
    return Sent({"lesion": lesion.pk}, data, {CloseForm: Kept("Lesion")})


@filled("lesion_confirm", ConfirmForm)
def a_closure_confirmed(site, by):
    lesion = wound(site, state="to_confirm", closed_on=ago(30))
    factories_care.found_covered(lesion, ago(1))
    factories.prescription(of=lesion.limb, lesions=[lesion], prescribed_on=ago(40), fitted_on=ago(40))
    data = {
        "version": "1",
        "confirmed_on": day(-1),
        "footwear": "deep shoe",
        "next_on": day(50),
        "device": "taken_off",
        "device_words": "Nora",
    }
    elsewhere = {"device": "Prescription.left_how", "device_words": "Prescription.left_with"}
    elsewhere["next_on"] = "Visit.next_on"
    return Sent({"lesion": lesion.pk}, data, {ConfirmForm: Kept("Lesion", elsewhere)})


@filled("lesion_reopen", ReopenForm)
def a_lesion_opened_again(site, by):
    lesion = wound(site, state="to_confirm", closed_on=ago(9))
    data = {"version": "1", "reopened_on": day(-1)}
    return Sent({"lesion": lesion.pk}, data, {ReopenForm: Kept("Lesion")})


@filled("lesion_end", EndForm)
def a_lesion_ended(site, by):
    lesion = wound(site)
    other = factories.lesion(on=lesion.limb, label="B", place="heel_central")
    data = {"version": "1", "outcome": "joined", "joined_into": str(other.pk), "ended_on": day(-1)}
    return Sent({"lesion": lesion.pk}, data, {EndForm: Kept("Lesion")})


@filled("look_ask", AskForm)
def a_look_asked(site, by):
    return Sent({"lesion": wound(site).pk}, {"question": "is this slough?"}, {AskForm: Kept("Look")})


@filled("look_answer", LookAnswerForm)
def a_look_answered(site, by):
    look = Look.objects.create(lesion=wound(site), asked_at=timezone.now(), question="test", created_by=by)
    data = {"version": "1", "answer": "fibrin, leave it"}
    return Sent({"look": look.pk}, data, {LookAnswerForm: Kept("Look")})


@filled("review_note", SeenForm)
def a_lesion_seen(site, by):
    lesion = wound(site)
    factories.series(lesion, [2.0, 3.0, 4.0, 5.0])
    row = review_list(site, timezone.localdate()).row_of(lesion)
    data = {"concern": row.concern, "note": "seen with the ward"}
    return Sent({"lesion": lesion.pk}, data, {SeenForm: Kept("ReviewNote")})


def consented(site, by):
    lesion = wound(site)
    lesion.limb.person.photo_consents.create(given_on=ago(90), created_by=by)
    return lesion


@filled("photo_new", PhotoForm)
def a_photo(site, by):
    lesion = consented(site, by)
    data = {"photo": picture(), "taken_on": day(-2), "note": "before debridement"}
    return Sent({"lesion": lesion.pk}, data, {PhotoForm: Kept("Photo", {"photo": ("Photo.lesion", lesion)})})


@filled("photo_new", PhotoForm)
def a_photo_with_its_own_date(site, by):
    lesion = consented(site, by)
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = ago(5).strftime("%Y:%m:%d 09:00:00")
    out = io.BytesIO()
    Image.new("RGB", (60, 40), "#b06050").save(out, "JPEG", exif=exif)
    out.name = "IMG.jpg"
    out.seek(0)
    kept = Kept("Photo", {"photo": ("Photo.lesion", lesion), "own_date": ("Photo.taken_on", ago(5))})
    return Sent({"lesion": lesion.pk}, {"photo": out, "own_date": "on"}, {PhotoForm: kept})


SHOT = scene(7, 20)


def shot():
    out = io.BytesIO()
    SHOT.picture.save(out, "JPEG", quality=92)
    out.name = "IMG.jpg"
    out.seek(0)
    return out


def photographed(site, by):
    from clinic.capture.writes.photos import photo_store

    return photo_store(by=by, lesion=consented(site, by), taken_on=timezone.localdate(), upload=shot())


@filled("photo_scale", ScaleForm)
def a_scale_by_the_card(site, by):
    marks = [[round(x, 1) + 2, round(y, 1) + 2] for x, y in SHOT.card_px]
    data = {"reference": "card", "snap": "on", "marks": "\n".join(f"{x}, {y}" for x, y in marks)}

    def near(stored):
        return all(
            abs(a - b) < 9
            for one, two in zip(stored, marks, strict=True)
            for a, b in zip(one, two, strict=True)
        )

    kept = {
        "marks": ("PhotoScale.marks_px", near),
        "snap": ("PhotoScale.marks_px", lambda stored: not same(stored, marks)),
    }
    return Sent({"photo": photographed(site, by).pk}, data, {ScaleForm: Kept("PhotoScale", kept)})


@filled("photo_scale", ScaleForm)
def a_scale_by_a_ruler(site, by):
    data = {"reference": "ruler", "marks": "100, 100\n200, 100", "distance_mm": "25.5"}
    kept = Kept("PhotoScale", {"marks": "PhotoScale.marks_px"})
    return Sent({"photo": photographed(site, by).pk}, data, {ScaleForm: kept})


def scale_of(photo, by, **fields):
    return PhotoScale.objects.create(
        photo=photo,
        reference="ruler",
        marks_px=[[0, 0], [1, 1]],
        matrix=[[1, 0, 0], [0, 1, 0], [0, 0, 1]],
        error_percent=5,
        created_by=by,
        **fields,
    )


@filled("trace_new", TraceForm)
def a_trace(site, by):
    """Blind is the default of the row: what proves the field is a trace that was not."""
    square = [[[[0, 0], [10, 0], [10, 10], [0, 10]]]]
    data = {"outline": json.dumps(square), "submission_key": str(uuid.uuid4())}
    scale = scale_of(photographed(site, by), by)
    kept = Kept("Trace", {"outline": "Trace.outline_mm", "blind": ("Trace.blind", False)})
    return Sent({"scale": scale.pk}, data, {TraceForm: kept})
