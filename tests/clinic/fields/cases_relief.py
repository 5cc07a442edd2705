"""Relief plans, sent filled: drawn, signed, cut, checked, measured."""

from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from clinic.models import PlanFlag
from clinic.relief.forms.layers import InlayForm, LayerForm
from clinic.relief.forms.measured_maps import BaselineMapForm, MapForm, WithdrawForm
from clinic.relief.forms.plan_life import ContactCheckForm, CutStepForm, MeasuredForm
from clinic.relief.forms.plan_life import FitStepForm as PlanFitForm
from clinic.relief.forms.relief import BenchCutForm, LesionShapeForm, SignForm
from clinic.relief.forms.watch import PlanFlagAnswerForm
from clinic.relief.reads.relief_record import LesionShape
from clinic.relief.writes import plan_life, relief
from offload.core.shapes.lesion import Ellipse
from tests import factories
from tests.clinic.fields.filled import Kept, Sent, day, filled
from tests.clinic.fields.scenes import wound


def on_insole(site):
    lesion = wound(site)
    factories.weight(of=lesion.limb.person, kg=82)
    return lesion


def drafted(site, by, lesion=None):
    lesion = lesion or on_insole(site)
    place = Ellipse((0.0, 180.0), 14.0, 10.0)
    return lesion, relief.plan_draft(by=by, limb=lesion.limb, shapes=[LesionShape(lesion, "traced", place)])


def signed(site, by):
    lesion, made = drafted(site, by)
    return lesion, relief.plan_sign(
        by=by, limb_plan=made, expected_version=made.plan.version, shut_reason="Measured next in the shoe."
    )


@filled("bench", LesionShapeForm, BenchCutForm)
def a_plan_by_numbers(site, by):
    lesion = on_insole(site)
    measured = factories.measured_map(of=lesion.limb)
    head = f"l{lesion.pk}-"
    shape = {
        "include": "on",
        "x_mm": "1",
        "y_mm": "181",
        "length_mm": "22",
        "width_mm": "18",
        "angle_deg": "7",
        "how": "typed",
    }
    cut = {
        "margin_mm": "6",
        "distal_margin_mm": "11",
        "bevel_deg": "50",
        "margin_face": "opening",
        "cut": "middle",
        "lost_cover_mm": "0.4",
        "lost_middle_mm": "0.5",
        "lost_base_mm": "0.6",
        "rigid_deformity": "on",
        "baseline": str(measured.pk),
        "departure_reason": "soft skin all round",
    }
    spec = "ReliefPlan.spec.lesions.0"
    at = {
        "include": ("ReliefPlan.spec.lesions.0.label", lesion.label),
        "x_mm": (f"{spec}.centre_mm.0", 1),
        "y_mm": (f"{spec}.centre_mm.1", 181),
        "how": "Imprint.how",
        **{name: f"{spec}.{name}" for name in ("length_mm", "width_mm", "angle_deg")},
    }
    plan = {name: f"ReliefPlan.spec.{name}" for name in cut}
    plan |= {
        "departure_reason": "ReliefPlan.departure_reason",
        "baseline": ("LimbPlan.measured_map", measured),
        **{
            f"lost_{layer['role']}_mm": (
                f"ReliefPlan.spec.stack.{n}.thickness_mm",
                layer["thickness_mm"] - lost,
            )
            for n, (layer, lost) in enumerate(zip(site.stack, (0.4, 0.5, 0.6), strict=True))
        },
    }
    data = {**{head + name: value for name, value in shape.items()}, **cut}
    return Sent(
        {"limb": lesion.limb_id},
        data,
        {LesionShapeForm: Kept("", at), BenchCutForm: Kept("", plan)},
        {"action": "save"},
    )


@filled("bench", LesionShapeForm, BenchCutForm)
def a_plan_by_a_drawn_outline(site, by):
    lesion = on_insole(site)
    ring = "[[-8, -10], [8, -10], [8, 10], [0, 14], [-8, 10]]"
    head = f"l{lesion.pk}-"
    shape = {
        "include": "on",
        "x_mm": "1",
        "y_mm": "181",
        "length_mm": "24",
        "width_mm": "16",
        "angle_deg": "0",
        "how": "typed",
        "outline": ring,
    }
    cut = {
        "margin_mm": "6",
        "distal_margin_mm": "11",
        "bevel_deg": "50",
        "margin_face": "floor",
        "cut": "auto",
        "baseline": "reference",
    }
    data = {**{head + name: value for name, value in shape.items()}, **cut}
    drawn = ("ReliefPlan.spec.lesions.0.outline_mm", lambda ring: len(ring) == 5)
    plan = {name: ("ReliefPlan.spec.margin_mm", 6) for name in cut}
    kept = {LesionShapeForm: Kept("", dict.fromkeys(shape, drawn)), BenchCutForm: Kept("", plan)}
    return Sent({"limb": lesion.limb_id}, data, kept, {"action": "save"})


@filled("bench", LayerForm, InlayForm)
def a_plan_of_other_layers_with_a_drawn_inlay(site, by):
    lesion = on_insole(site)
    head = f"l{lesion.pk}-"
    shape = {"include": "on", "x_mm": "1", "y_mm": "181", "length_mm": "14", "width_mm": "10", "how": "typed"}
    layer = {"foam": "medium", "thickness_mm": "7.5"}
    points = "-12, 60; 12, 60; 12, 90; -12, 90"
    inlay = {"layer": "2", "foam": "soft", "around": "points", "reach_mm": "", "points": points}
    data = {
        **{head + name: value for name, value in {**shape, "angle_deg": "0"}.items()},
        "margin_mm": "5",
        "distal_margin_mm": "10",
        "bevel_deg": "45",
        "margin_face": "floor",
        "cut": "auto",
        "baseline": "reference",
        **{f"layer1-{name}": value for name, value in layer.items()},
        **{f"inlay0-{name}": value for name, value in inlay.items()},
    }
    at = "ReliefPlan.spec.stack.1"
    ring = [[-12, 60], [12, 60], [12, 90], [-12, 90]]
    drawn = ("ReliefPlan.spec.stack.2.inlays.0.region_mm", ring)
    kept = {
        LayerForm: Kept("", {name: f"{at}.{name}" for name in layer}),
        InlayForm: Kept(
            "",
            {
                "layer": ("ReliefPlan.spec.stack.2.role", "base"),
                "foam": "ReliefPlan.spec.stack.2.inlays.0.foam",
                **dict.fromkeys(("around", "reach_mm", "points"), drawn),
            },
        ),
    }
    return Sent({"limb": lesion.limb_id}, data, kept, {"action": "save"})


@filled("bench", LayerForm, InlayForm)
def a_plan_with_a_ring_about_the_ulcer(site, by):
    lesion = on_insole(site)
    head = f"l{lesion.pk}-"
    shape = {"include": "on", "x_mm": "1", "y_mm": "181", "length_mm": "14", "width_mm": "10", "how": "typed"}
    layer = {"foam": "soft", "thickness_mm": "3"}
    inlay = {"layer": "2", "foam": "medium", "around": lesion.label, "reach_mm": "12", "points": ""}
    data = {
        **{head + name: value for name, value in {**shape, "angle_deg": "0"}.items()},
        "margin_mm": "5",
        "distal_margin_mm": "10",
        "bevel_deg": "45",
        "margin_face": "floor",
        "cut": "middle",
        "baseline": "reference",
        **{f"layer0-{name}": value for name, value in layer.items()},
        **{f"inlay0-{name}": value for name, value in inlay.items()},
    }
    at = "ReliefPlan.spec.stack.0"
    ringed = (
        "ReliefPlan.spec.stack.2.inlays.0.region_mm",
        lambda ring: round(max(y for _, y in ring)) == 200,
    )
    kept = {
        LayerForm: Kept("", {name: f"{at}.{name}" for name in layer}),
        InlayForm: Kept(
            "",
            {
                "layer": ("ReliefPlan.spec.stack.2.role", "base"),
                "foam": "ReliefPlan.spec.stack.2.inlays.0.foam",
                **dict.fromkeys(("around", "reach_mm", "points"), ringed),
            },
        ),
    }
    return Sent({"limb": lesion.limb_id}, data, kept, {"action": "save"})


@filled("plan_sign", SignForm)
def a_signature(site, by):
    _, made = drafted(site, by)
    told = {"departure_reason": "agreed in the team", "shut_reason": "measured in the shoe next"}
    data = {"version": str(made.plan.version), **told}
    return Sent({"code": made.plan.code}, data, {SignForm: Kept("ReliefPlan")})


def sheet(made):
    return {"code": made.plan.code, "side": "left", "done_on": day(0), "note": "clean edge"}


@filled("plan_cut", CutStepForm)
def a_cut(site, by):
    _, made = signed(site, by)
    data = {**sheet(made), "bar_mm": "100.1", "depth_mm": "6.2"}
    kept = Kept("PlanStep", dict.fromkeys(("code", "side"), ("PlanStep.plan", made.plan)))
    return Sent({"code": made.plan.code}, data, {CutStepForm: kept})


def cut(by, made):
    plan_life.plan_cut(
        by=by,
        limb_plan=made,
        code=made.plan.code,
        side="left",
        bar_mm=100,
        depth_mm=6,
        done_on=timezone.localdate(),
    )


@filled("plan_fit", PlanFitForm)
def a_plan_fitted(site, by):
    _, made = signed(site, by)
    cut(by, made)
    kept = Kept("PlanStep", dict.fromkeys(("code", "side"), ("PlanStep.kind", "fitted")))
    return Sent({"code": made.plan.code}, sheet(made), {PlanFitForm: kept})


@filled("plan_contact", ContactCheckForm)
def a_contact_check(site, by):
    _, made = signed(site, by)
    cut(by, made)
    plan_life.plan_fit(by=by, limb_plan=made, code=made.plan.code, side="left", done_on=timezone.localdate())
    label = made.plan.spec["lesions"][0]["label"]
    data = {
        "method": "film",
        "dummy_marked": "yes",
        "found": "touched",
        "where": [f"{label}:base"],
        "done_on": day(0),
        "note": "ink on the base",
    }
    return Sent({"code": made.plan.code}, data, {ContactCheckForm: Kept("PlanStep")})


GRID = {
    "unit": "kPa",
    "cell_across": "5",
    "cell_along": "5",
    "first_mark": "heel",
    "first_across": "45",
    "first_along": "36",
    "second_mark": "metatarsal_head_2",
    "second_across": "45",
    "second_along": "195",
}


def csv(peak=300.0):
    return "\n".join(",".join(map(str, line)) for line in factories.heel_and_forefoot(peak))


@filled("plan_measured", MeasuredForm)
def peaks_typed(site, by):
    lesion, made = signed(site, by)
    data = {
        "label": lesion.label,
        "measured_on": day(0),
        "without_kpa": "311.5",
        "with_kpa": "97.5",
        "target_kind": "peak",
        "target": "150.5",
        "note": "third step",
    }
    return Sent({"code": made.plan.code}, data, {MeasuredForm: Kept("PlanMeasurement")})


@filled("plan_measured", MapForm, MeasuredForm)
def peaks_of_two_grids(site, by):
    lesion, made = signed(site, by)
    data = {
        "label": lesion.label,
        "measured_on": day(0),
        **GRID,
        "target_kind": "less",
        "target": "35",
        "without_map": csv(300),
        "with_map": csv(120),
    }
    peaks = {
        "without_map": ("PlanMeasurement.without_kpa", lambda kpa: 200 < kpa <= 300),
        "with_map": ("PlanMeasurement.with_kpa", lambda kpa: 80 < kpa <= 120),
    }
    read = dict.fromkeys(GRID, ("PlanMeasurement.from_map", True))
    kept = {MapForm: Kept("", {**read, **peaks}), MeasuredForm: Kept("PlanMeasurement")}
    return Sent({"code": made.plan.code}, data, kept)


@filled("plan_measured", MapForm, MeasuredForm)
def peaks_of_two_grids_that_begin_at_the_little_toe(site, by):
    lesion, made = signed(site, by)
    without, with_cut = (
        "\n".join(",".join(map(str, line[::-1])) for line in factories.heel_and_forefoot(peak)[::-1])
        for peak in (300, 120)
    )
    data = {
        "label": lesion.label,
        "measured_on": day(0),
        **GRID,
        "target_kind": "less",
        "target": "35",
        "without_file": SimpleUploadedFile("without.csv", without.encode()),
        "with_file": SimpleUploadedFile("with.csv", with_cut.encode()),
        "toes_first": "on",
        "lateral_first": "on",
    }
    peaks = ("PlanMeasurement.without_kpa", lambda kpa: 200 < kpa <= 300)
    return Sent(
        {"code": made.plan.code},
        data,
        {
            MapForm: Kept("", dict.fromkeys([*data, "without_map", "with_map"], peaks)),
            MeasuredForm: Kept("PlanMeasurement"),
        },
    )


@filled("measured_maps", BaselineMapForm)
def a_map_of_the_uncut_insole(site, by):
    limb = on_insole(site).limb
    data = {**GRID, "grid": csv(), "kind": "peak", "measured_on": day(-2), "worn": "flat shoe", "uncut": "on"}
    data["taken"] = "barefoot"
    points = {
        f"{which}_{part}": (f"MeasuredMap.points.{n}.{place}", GRID[f"{which}_{part}"])
        for n, which in enumerate(("first", "second"))
        for place, part in enumerate(("mark", "across", "along"))
    }
    kept = {
        **points,
        "cell_across": "MeasuredMap.cell_across_mm",
        "cell_along": "MeasuredMap.cell_along_mm",
        "grid": ("MeasuredMap.kpa", factories.heel_and_forefoot()),
        "uncut": ("MeasuredMap.limb", limb),
    }
    return Sent({"limb": limb.pk}, data, {BaselineMapForm: Kept("MeasuredMap", kept)}, {"action": "keep"})


@filled("measured_maps", BaselineMapForm)
def a_map_from_a_file_that_begins_at_the_little_toe(site, by):
    limb = on_insole(site).limb
    turned = "\n".join(",".join(map(str, line[::-1])) for line in factories.heel_and_forefoot()[::-1])
    data = {
        **GRID,
        "kind": "peak",
        "measured_on": day(-2),
        "worn": "flat shoe",
        "taken": "shoe",
        "uncut": "on",
        "toes_first": "on",
        "lateral_first": "on",
        "file": SimpleUploadedFile("grid.csv", turned.encode()),
    }
    kpa = ("MeasuredMap.kpa", factories.heel_and_forefoot())
    kept = Kept("MeasuredMap", dict.fromkeys([*data, "grid"], kpa))
    return Sent({"limb": limb.pk}, data, {BaselineMapForm: kept}, {"action": "keep"})


@filled("map_withdraw", WithdrawForm)
def a_map_withdrawn(site, by):
    row = factories.measured_map(of=wound(site).limb)
    kept = Kept("MeasuredMap", {"because": "MeasuredMap.withdrawn_because"})
    return Sent({"measured_map": row.pk}, {"version": "1", "because": "wrong foot"}, {WithdrawForm: kept})


@filled("plan_flag_answer", PlanFlagAnswerForm)
def a_flagged_plan_answered(site, by):
    _, made = signed(site, by)
    flag = PlanFlag.objects.create(
        limb_plan=made, cause="contact", words="test", raised_on=timezone.localdate(), created_by=by
    )
    data = {"version": "1", "answer": "cut again today"}
    return Sent({"plan_flag": flag.pk}, data, {PlanFlagAnswerForm: Kept("PlanFlag")})
