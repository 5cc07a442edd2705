"""What is laid on an insole, sent filled: imprints, and the outline of the real insole."""

import uuid

from django.core.files.uploadedfile import SimpleUploadedFile

from clinic.capture.writes.traces import trace_store
from clinic.models import Photo
from clinic.people.reads.limbs import drawn_insole
from clinic.record.forms.taking_back import TakeBackForm
from clinic.relief.forms.imprints import PlaceForm, TypedImprintForm
from clinic.relief.forms.insole_outlines import OutlineFromPhotoForm, OutlinePointsForm
from clinic.relief.writes.imprints import MARKS, looked_at
from tests import factories_insole
from tests.clinic.fields.filled import Kept, Sent, day, filled
from tests.clinic.fields.scenes import traced, wound


@filled("imprint_new", TypedImprintForm)
def an_imprint_by_numbers(site, by):
    lesion = wound(site)
    data = {
        "taken_on": day(-1),
        "x_mm": "-7",
        "y_mm": "195",
        "length_mm": "12",
        "width_mm": "8",
        "angle_deg": "90",
        "dressing_mm": "2.5",
        "note": "thin dressing",
    }

    def span(axis):
        return lambda ring: (min(one[axis] for one in ring), max(one[axis] for one in ring))

    def lies(axis, low, high):
        return ("Imprint.outline_mm", lambda ring: bool(ring) and same_span(span(axis)(ring), (low, high)))

    def same_span(one, other):
        return all(abs(a - b) < 0.2 for a, b in zip(one, other, strict=True))

    across, along = lies(0, -13, -1), lies(1, 191, 199)
    kept = {"x_mm": across, "length_mm": across, "angle_deg": across, "y_mm": along, "width_mm": along}
    return Sent({"lesion": lesion.pk}, data, {TypedImprintForm: Kept("Imprint", kept)})


@filled("imprint_new", TypedImprintForm)
def an_imprint_on_the_other_half(site, by):
    lesion = wound(site, place="mth_1")
    data = {
        "taken_on": day(-1),
        "x_mm": "20",
        "y_mm": "190",
        "length_mm": "9",
        "width_mm": "8",
        "angle_deg": "0",
        "side_confirmed": "on",
    }
    stored = ("Imprint.lesion", lesion)
    return Sent({"lesion": lesion.pk}, data, {TypedImprintForm: Kept("Imprint", dict.fromkeys(data, stored))})


def token_of(lesion, trace, data):
    """What the page names once the insole was looked at over the photo."""
    marks = [tuple(map(float, line.split(", "))) for line in data["marks"].split("\n")]
    told = {"lesion": lesion, "trace": trace, "placed_by": data["placed_by"]}
    return looked_at(**told, marks=dict(zip(MARKS, marks, strict=True))).token


@filled("imprint_place", PlaceForm)
def an_imprint_by_marks_on_the_other_half(site, by):
    lesion = wound(site, place="mth_1")
    trace = traced(lesion)
    Photo.objects.filter(pk=trace.scale.photo_id).update(subject="insole")
    data = {
        "placed_by": "landmarks",
        "marks": "30, 190\n30, -79\n58, -55",
        "trace": str(trace.pk),
        "side_confirmed": "on",
    }
    data["looked"] = token_of(lesion, trace, data)
    kept = Kept(
        "Imprint",
        {
            "looked": ("Imprint.scale", trace.scale),
            "trace": ("Imprint.scale", trace.scale),
            "marks": ("Imprint.marks_mm.heel", [30, 190]),
            "side_confirmed": ("Imprint.lesion", lesion),
        },
    )
    return Sent({"scale": trace.scale_id}, data, {PlaceForm: kept})


@filled("imprint_place", PlaceForm)
def an_imprint_by_marks(site, by):
    lesion = wound(site)
    trace = traced(lesion)
    Photo.objects.filter(pk=trace.scale.photo_id).update(subject="insole")
    data = {
        "placed_by": "landmarks",
        "marks": "10, 190\n10, -79\n38, -55",
        "trace": str(trace.pk),
        "dressing_mm": "2.5",
        "note": "thin dressing",
    }
    data["looked"] = token_of(lesion, trace, data)
    kept = Kept(
        "Imprint",
        {
            "trace": ("Imprint.scale", trace.scale),
            "marks": ("Imprint.marks_mm.heel", [10, 190]),
            "looked": ("Imprint.scale", trace.scale),
        },
    )
    return Sent({"scale": trace.scale_id}, data, {PlaceForm: kept})


@filled("insole_from_photo", OutlineFromPhotoForm)
def an_outline_from_a_photo(site, by):
    lesion = wound(site)
    trace = traced(lesion)
    Photo.objects.filter(pk=trace.scale.photo_id).update(subject="insole")
    edge = [[[[round(60 - x, 1), round(300 - y, 1)] for x, y in drawn_insole(lesion.limb).outline.exterior]]]
    trace_store(by=by, scale=trace.scale, outline=edge, submission_key=uuid.uuid4())
    return Sent(
        {"scale": trace.scale_id}, {"note": "worn thin"}, {OutlineFromPhotoForm: Kept("InsoleOutline")}
    )


def points_of_an_outline(lesion):
    return "\n".join(f"{x:.1f}, {y:.1f}" for x, y in drawn_insole(lesion.limb).outline.exterior[::4])


@filled("insole_outline", OutlinePointsForm)
def an_outline_by_points(site, by):
    lesion = wound(site)
    data = {"points": points_of_an_outline(lesion), "taken_on": day(-1), "note": "read off twice"}
    kept = {"points": ("InsoleOutline.outline_mm", lambda ring: len(ring) > 12)}
    return Sent({"limb": lesion.limb_id}, data, {OutlinePointsForm: Kept("InsoleOutline", kept)})


@filled("insole_outline", OutlinePointsForm)
def an_outline_in_a_file(site, by):
    lesion = wound(site)
    data = {
        "file": SimpleUploadedFile("points.txt", points_of_an_outline(lesion).encode()),
        "taken_on": day(-1),
    }
    kept = {"file": ("InsoleOutline.outline_mm", lambda ring: len(ring) > 12)}
    return Sent({"limb": lesion.limb_id}, data, {OutlinePointsForm: Kept("InsoleOutline", kept)})


@filled("insole_outline_withdraw", TakeBackForm)
def an_outline_withdrawn(site, by):
    row = factories_insole.insole_outline(of=wound(site).limb)
    kept = Kept("InsoleOutline", {"reason": "InsoleOutline.withdrawn_because"})
    return Sent({"insole_outline": row.pk}, {"version": "1", "reason": "wrong insole"}, {TakeBackForm: kept})
