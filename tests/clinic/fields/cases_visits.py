"""The weekly visit, sent filled: logged, finished by another person, corrected, missed, taken out."""

import uuid
from datetime import timedelta

from django.utils import timezone

from clinic.models import PhotoConsent
from clinic.visits.forms.finishing import FinishForm
from clinic.visits.forms.measurement import MeasurementForm
from clinic.visits.forms.visits import (
    CorrectionForm,
    MissedCorrectionForm,
    MissedForm,
    VisitForm,
)
from tests import factories
from tests.clinic.fields.filled import Kept, Sent, day, filled
from tests.clinic.fields.scenes import RING, SEALED, picture, traced, watch_point, worn, wound

ONCE = {
    "pain": "worse",
    "fall": "no",
    "other_foot": "problem",
    "other_foot_note": "callus under the heel",
    "skin_under_device": "problem",
    "skin_note": "red at the rim",
    "device_condition": "worn",
    "wear": "few",
    "why_not_worn": "too heavy for the stairs",
    "temperature_c": "38.4",
    "pulse_per_min": "96",
    "breaths_per_min": "22",
    "white_cells_10e9_per_l": "12.5",
    "note": "walks to the shop",
}
SEEN = {
    "depth": "bone",
    "tissue": "slough",
    "edge": "callus",
    "dressing": "foam, weekly",
    "depth_mm": "4",
    "undermining_mm": "2",
    "odour": "yes",
    "surrounding_skin": "macerated",
    "exudate": "heavy",
    "infection": ["redness", "pus"],
    "redness_mm": "7",
    "deep_infection": "no",
    "probe_to_bone": "no",
    "unwell": "yes",
    "cavity": "yes",
    "other_cause": "gout",
}
NEXT = {"next_at": "09:30", "transport": "ambulance car"}
RULER = {"length_mm": "31", "width_mm": "17.5", "debridement": "after"}


def part(lesion, **told):
    return {f"lesion-{lesion.pk}-{name}": value for name, value in told.items()}


ULCER = Kept("Measurement", {"infection": "Measurement.infection_signs"})
NOT_LOOKED_AT = {"infection": ["none"]}


def whole_visit(**elsewhere):
    return Kept(
        "Visit",
        {
            # The measurement of this example raises flags of its own.
            "red_flags": ("RedFlag.flags", lambda flags: FLAGGED["red_flags"][0] in flags),
            "flag_answer": "RedFlag.answer",
            "flag_answer_note": "RedFlag.answer_note",
            "flag_under": "RedFlag.under",
            "flag_until": "RedFlag.until",
            "weight_kg": "Weight.kg",
            "weight_how": "Weight.how",
            **elsewhere,
        },
    )


def opening(**told):
    return {"submission_key": str(uuid.uuid4()), "visited_on": day(0), "red_flags": ["none"], **told}


FLAGGED = {
    "red_flags": ["gangrene"],
    "flag_answer": "known",
    "flag_answer_note": "the ward answered",
    "flag_under": "vascular team",
    "flag_until": day(9),
    "weight_kg": "81.5",
    "weight_how": "estimate",
}


@filled("visit_new", VisitForm, MeasurementForm)
def the_whole_page(site, by):
    lesion = wound(site)
    worn(lesion)
    point = watch_point(lesion)
    PhotoConsent.objects.create(person=lesion.limb.person, given_on=timezone.localdate(), created_by=by)
    data = {**opening(**FLAGGED), **ONCE, "next_on": day(9), **NEXT, f"watch_{point.pk}": "clear"}
    kept = whole_visit(**{f"watch_{point.pk}": "WatchFinding.found"})
    sent = {**data, **part(lesion, **RULER, **SEEN, photo=picture())}
    photo = Kept("Measurement", {**ULCER.elsewhere, "photo": ("Photo.lesion", lesion)})
    return Sent({"person": lesion.limb.person_id}, sent, {VisitForm: kept, MeasurementForm: photo})


@filled("visit_new", VisitForm, MeasurementForm)
def sealed_and_traced(site, by):
    lesion = wound(site)
    device = worn(lesion, "total_contact_cast", **SEALED)
    factories.weight(of=lesion.limb.person)
    trace = traced(lesion)
    outline = "; ".join(f"{x}, {y}" for x, y in RING)
    data = {
        **opening(next_in="7", device_opened="on", wear="still_sealed"),
        **part(lesion, outline=outline, trace=str(trace.pk), debridement="after", **NOT_LOOKED_AT),
    }
    kept = whole_visit(
        next_in=("Visit.next_on", timezone.localdate() + timedelta(days=7)),
        device_opened=("Prescription.opened_on", timezone.localdate()),
        red_flags=("Visit.visited_on", timezone.localdate()),
    )
    seen = Kept(
        "Measurement",
        {"outline": "Measurement.outline_mm", "infection": ("Measurement.infection_looked", True)},
    )
    assert device.is_non_removable
    return Sent({"person": lesion.limb.person_id}, data, {VisitForm: kept, MeasurementForm: seen})


@filled("visit_new", VisitForm, MeasurementForm)
def covered(site, by):
    lesion = wound(site)
    factories.weight(of=lesion.limb.person)
    data = {**opening(next_in="7"), **part(lesion, covered_dry="on")}
    kept = whole_visit(
        next_in=("Visit.next_on", timezone.localdate() + timedelta(days=7)),
        red_flags=("Visit.visited_on", timezone.localdate()),
    )
    return Sent({"person": lesion.limb.person_id}, data, {VisitForm: kept, MeasurementForm: ULCER})


TOUCHED = {
    "asked_none": ("Visit.pain", "none"),
    "looked_clear": ("Visit.skin_under_device", "clear"),
}


def described(site):
    """An ulcer whose wound bed, edge and dressing a visit of last week tells."""
    lesion = wound(site)
    worn(lesion)
    factories.weight(of=lesion.limb.person)
    before = factories.visit(of=lesion.limb.person, on=timezone.localdate() - timedelta(days=7))
    factories.measurement(at=before, of=lesion, tissue="granulating", edge="sloping", dressing="gauze")
    return lesion


@filled("visit_new", VisitForm, MeasurementForm)
def nothing_found_and_nothing_changed(site, by):
    lesion = described(site)
    touched = part(lesion, **RULER, nothing_found="on", unchanged="on")
    data = {**opening(next_in="7", asked_none="on", looked_clear="on"), **touched}
    kept = whole_visit(
        next_in=("Visit.next_on", timezone.localdate() + timedelta(days=7)),
        red_flags=("Visit.visited_on", timezone.localdate()),
        **TOUCHED,
    )
    seen = Kept(
        "Measurement",
        {"nothing_found": ("Measurement.odour", False), "unchanged": ("Measurement.dressing", "gauze")},
    )
    return Sent({"person": lesion.limb.person_id}, data, {VisitForm: kept, MeasurementForm: seen})


@filled("visit_finish", FinishForm, MeasurementForm)
def the_rest_touched(site, by):
    lesion = described(site)
    visit = factories.visit(of=lesion.limb.person, unfinished=True)
    touched = part(lesion, **RULER, nothing_found="on", unchanged="on")
    data = {
        "version": "1",
        "visited_on": day(0),
        "red_flags": ["none"],
        "no_next_because": "moves away",
        "asked_none": "on",
        "looked_clear": "on",
        **touched,
    }
    kept = whole_visit(red_flags=("Visit.unfinished", False), **TOUCHED)
    seen = Kept(
        "Measurement",
        {"nothing_found": ("Measurement.odour", False), "unchanged": ("Measurement.dressing", "gauze")},
    )
    return Sent({"visit": visit.pk}, data, {FinishForm: kept, MeasurementForm: seen})


@filled("visit_new", VisitForm, MeasurementForm)
def not_measurable(site, by):
    lesion = wound(site)
    factories.weight(of=lesion.limb.person)
    data = {**opening(no_next_because="moves away"), **part(lesion, not_measured_because="dressing stays on")}
    kept = whole_visit(red_flags=("Visit.visited_on", timezone.localdate()))
    return Sent({"person": lesion.limb.person_id}, data, {VisitForm: kept, MeasurementForm: ULCER})


def begun(site, **fields):
    lesion = wound(site)
    visit = factories.visit(of=lesion.limb.person, unfinished=True, **fields)
    return lesion, visit


@filled("visit_finish", FinishForm, MeasurementForm)
def the_rest_of_a_begun_visit(site, by):
    lesion, visit = begun(site)
    worn(lesion)
    point = watch_point(lesion)
    PhotoConsent.objects.create(person=lesion.limb.person, given_on=timezone.localdate(), created_by=by)
    data = {
        "version": "1",
        "visited_on": day(0),
        **FLAGGED,
        **ONCE,
        "next_on": day(9),
        **NEXT,
        f"watch_{point.pk}": "clear",
    }
    kept = whole_visit(**{f"watch_{point.pk}": "WatchFinding.found"})
    photo = Kept("Measurement", {**ULCER.elsewhere, "photo": ("Photo.lesion", lesion)})
    sent = {**data, **part(lesion, **RULER, **SEEN, photo=picture())}
    return Sent({"visit": visit.pk}, sent, {FinishForm: kept, MeasurementForm: photo})


@filled("visit_finish", FinishForm, MeasurementForm)
def the_rest_of_a_visit_with_a_sealed_device(site, by):
    lesion, visit = begun(site)
    worn(lesion, "total_contact_cast", **SEALED)
    factories.weight(of=lesion.limb.person)
    trace = traced(lesion)
    outline = "; ".join(f"{x}, {y}" for x, y in RING)
    data = {
        "version": "1",
        "visited_on": day(0),
        "red_flags": ["none"],
        "next_in": "7",
        "device_opened": "on",
        **part(lesion, outline=outline, trace=str(trace.pk), debridement="after", **NOT_LOOKED_AT),
    }
    kept = whole_visit(
        next_in=("Visit.next_on", timezone.localdate() + timedelta(days=7)),
        device_opened=("Prescription.opened_on", timezone.localdate()),
        red_flags=("Visit.unfinished", False),
    )
    seen = Kept(
        "Measurement",
        {"outline": "Measurement.outline_mm", "infection": ("Measurement.infection_looked", True)},
    )
    return Sent({"visit": visit.pk}, data, {FinishForm: kept, MeasurementForm: seen})


@filled("visit_finish", FinishForm, MeasurementForm)
def the_rest_is_covered(site, by):
    lesion, visit = begun(site)
    factories.weight(of=lesion.limb.person)
    data = {
        "version": "1",
        "visited_on": day(0),
        "red_flags": ["none"],
        "next_on": day(8),
        **part(lesion, covered_dry="on"),
    }
    kept = whole_visit(red_flags=("Visit.unfinished", False))
    return Sent({"visit": visit.pk}, data, {FinishForm: kept, MeasurementForm: ULCER})


@filled("visit_finish", FinishForm, MeasurementForm)
def the_rest_is_not_measurable(site, by):
    lesion, visit = begun(site)
    factories.weight(of=lesion.limb.person)
    data = {
        "version": "1",
        "visited_on": day(0),
        "red_flags": ["none"],
        "next_on": day(8),
        **part(lesion, not_measured_because="dressing stays on"),
    }
    kept = whole_visit(red_flags=("Visit.unfinished", False))
    return Sent({"visit": visit.pk}, data, {FinishForm: kept, MeasurementForm: ULCER})


CORRECTED = Kept(
    "Visit",
    {
        "reason": "HistoricalVisit.history_change_reason",
        "weight_kg": "Weight.kg",
        "weight_how": "Weight.how",
    },
)


def stored(site, **fields):
    lesion = wound(site)
    visit = factories.visit(
        of=lesion.limb.person, on=timezone.localdate() - timedelta(days=3), next_on=timezone.localdate()
    )
    row = factories.measurement(at=visit, of=lesion, **fields)
    return (
        lesion,
        visit,
        {"version": "1", "reason": "typed wrongly", "visited_on": day(-2), "next_on": day(6), **NEXT, **ONCE},
        row,
    )


@filled("visit_correct", CorrectionForm, MeasurementForm)
def every_answer_of_a_visit_corrected(site, by):
    lesion, visit, data, _ = stored(site)
    weighed = {"weight_kg": "84.3", "weight_how": "told"}
    sent = {**data, **weighed, **part(lesion, version="1", **RULER, **SEEN)}
    return Sent({"visit": visit.pk}, sent, {CorrectionForm: CORRECTED, MeasurementForm: ULCER})


@filled("visit_correct", CorrectionForm, MeasurementForm)
def an_area_corrected_to_a_trace(site, by):
    lesion, visit, data, _ = stored(site)
    trace = traced(lesion)
    outline = "; ".join(f"{x}, {y}" for x, y in RING)
    told = part(
        lesion, version="1", outline=outline, trace=str(trace.pk), debridement="after", **NOT_LOOKED_AT
    )
    seen = Kept(
        "Measurement",
        {"outline": "Measurement.outline_mm", "infection": ("Measurement.infection_looked", True)},
    )
    return Sent({"visit": visit.pk}, {**data, **told}, {CorrectionForm: CORRECTED, MeasurementForm: seen})


@filled("visit_correct", CorrectionForm, MeasurementForm)
def an_area_corrected_to_covered(site, by):
    lesion, visit, data, _ = stored(site)
    data |= {"next_on": "", "next_at": "", "transport": "", "no_next_because": "moves away"}
    sent = {**data, **part(lesion, version="1", covered_dry="on")}
    return Sent({"visit": visit.pk}, sent, {CorrectionForm: CORRECTED, MeasurementForm: ULCER})


@filled("visit_correct", CorrectionForm, MeasurementForm)
def an_area_corrected_to_none(site, by):
    lesion, visit, data, _ = stored(site)
    sent = {**data, **part(lesion, version="1", not_measured_because="dressing stays on")}
    return Sent({"visit": visit.pk}, sent, {CorrectionForm: CORRECTED, MeasurementForm: ULCER})


MISSED = {
    "attendance": "in_hospital",
    "visited_on": day(-1),
    "why_not": "admitted on Sunday",
    "next_on": day(6),
    **NEXT,
}


@filled("visit_missed", MissedForm)
def a_missed_visit(site, by):
    person = factories.person(at=site)
    return Sent(
        {"person": person.pk}, {"submission_key": str(uuid.uuid4()), **MISSED}, {MissedForm: Kept("Visit")}
    )


@filled("visit_missed", MissedForm)
def a_missed_visit_a_week_on(site, by):
    person = factories.person(at=site)
    data = {"submission_key": str(uuid.uuid4()), **MISSED, "next_on": "", "next_in": "7"}
    week = ("Visit.next_on", timezone.localdate() + timedelta(days=6))
    return Sent({"person": person.pk}, data, {MissedForm: Kept("Visit", {"next_in": week})})


@filled("visit_correct", MissedCorrectionForm)
def a_missed_visit_corrected(site, by):
    visit = factories.visit(of=factories.person(at=site), attendance="did_not_come")
    data = {"version": "1", "reason": "typed wrongly", **MISSED}
    return Sent({"visit": visit.pk}, data, {MissedCorrectionForm: CORRECTED})
