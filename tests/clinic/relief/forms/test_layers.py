"""Layers and inlays of the bench: of the clinic's foams, kept in the plan, refused with their limit."""

from __future__ import annotations

from dataclasses import replace

import pytest
from django.urls import reverse

from clinic.relief.forms.relief import BenchForm
from clinic.relief.reads.layers import InlayChoice, LayerChoice, worn_roles
from clinic.relief.reads.relief import bench_lesions, start_of
from clinic.relief.reads.relief_record import LesionShape, limb_record, relief_spec, remarks
from clinic.relief.reads.rules_now import changed_since
from clinic.relief.writes import relief
from clinic.relief.writes.relief import plan_draft, plan_sign
from offload.core.shapes.insole import insole_for
from offload.core.shapes.lesion import Ellipse
from offload.plans import keeping
from offload.plans.estimates import Effort
from tests import factories

POINTS = "-12, 60; 12, 60; 12, 90; -12, 90"
RING = {"inlay0-layer": "2", "inlay0-foam": "soft", "inlay0-around": "A", "inlay0-reach_mm": "12"}
DRAWN = {"inlay0-layer": "2", "inlay0-foam": "soft", "inlay0-around": "points", "inlay0-points": POINTS}


@pytest.fixture
def gains_told(monkeypatch):
    """Most tests solve without the range over tissue, beside which gains are told."""
    told = Effort(10.0, ranges=True, others=False)
    monkeypatch.setattr(keeping, "FULL", told)
    monkeypatch.setattr(relief, "FULL", told)


@pytest.fixture
def limb(person):
    factories.weight(of=person, kg=82)
    made = factories.limb(of=person)
    factories.lesion(on=made, place="mth_2")
    return made


def bench(limb, data=None, source=None):
    insole = insole_for(260.0, None)
    return BenchForm([start_of(one, insole) for one in bench_lesions(limb)], limb_record(limb), data, source)


def sent(limb, **changes):
    form = bench(limb)
    data = {}
    for part in (*form.shapes, form.cut, *form.layers, *form.inlays):
        data |= {part.add_prefix(name): part[name].value() or "" for name in part.fields}
    return {**data, **changes}


def spec_of(limb, form):
    assert form.is_valid(), form.sentences
    return relief_spec(limb_record(limb), form.wanted, form.choice)


def drafted(limb, by, form):
    assert form.is_valid(), form.sentences
    return plan_draft(
        by=by, limb=limb, shapes=form.wanted, choice=form.choice, departure_reason="agreed in the team"
    )


def test_an_opened_bench_holds_the_house_stack_and_no_inlay(limb):
    form = bench(limb)
    spec = spec_of(limb, form)
    house = limb.person.site.stack
    assert [(one.role, one.foam, one.thickness) for one in spec.stack] == [
        (one["role"], one["foam"], one["thickness_mm"]) for one in house
    ]
    assert form.choice.inlays == ()
    assert not remarks(limb_record(limb), form.wanted, form.choice).departures


def test_a_form_without_any_layer_is_the_house_stack(limb):
    data = {name: value for name, value in sent(limb).items() if not name.startswith(("layer", "inlay"))}
    assert spec_of(limb, bench(limb, data)) == spec_of(limb, bench(limb))


def test_another_foam_or_thickness_is_computed_and_departs_in_a_sentence(limb):
    form = bench(limb, sent(limb, **{"layer1-foam": "firm", "layer1-thickness_mm": "8"}))
    layer = spec_of(limb, form).stack[1]
    assert (layer.foam, layer.thickness) == ("firm", 8.0)
    assert remarks(limb_record(limb), form.wanted, form.choice).departures == (
        "The middle is 8 mm of firm; the house stack has 6 mm of medium.",
    )


def test_wear_is_taken_from_the_chosen_thickness(limb):
    form = bench(limb, sent(limb, **{"layer1-thickness_mm": "8", "lost_middle_mm": "1.5"}))
    assert spec_of(limb, form).stack[1].thickness == 6.5
    reasons = remarks(limb_record(limb), form.wanted, form.choice).reasons
    assert "The middle has lost 1.5 of its 8 mm with wear." in reasons
    assert worn_roles(reasons) == {"middle"}


def test_a_drawn_inlay_lies_where_its_points_are(limb):
    spec = spec_of(limb, bench(limb, sent(limb, **DRAWN)))
    (inlay,) = spec.stack[2].inlays
    assert inlay.foam == "soft"
    assert inlay.region.bounds == (-12.0, 60.0, 12.0, 90.0)


def test_a_ring_goes_round_the_ulcer_or_round_its_opening(limb):
    base = spec_of(limb, bench(limb, sent(limb, **RING)))
    middle = spec_of(limb, bench(limb, sent(limb, **{**RING, "inlay0-layer": "1", "inlay0-reach_mm": "14"})))
    ulcer = base.lesions[0].outline.polygon
    assert base.stack[2].inlays[0].region.polygon.boundary.distance(ulcer) == pytest.approx(12.0, abs=0.2)
    assert middle.stack[1].inlays[0].region.area > 2 * base.stack[2].inlays[0].region.area


@pytest.mark.parametrize(
    ("typed", "name", "words"),
    [
        ({**DRAWN, "inlay0-points": ""}, "points", "3 or more"),
        ({**DRAWN, "inlay0-points": "1, 2; 3"}, "points", "point 2"),
        ({**DRAWN, "inlay0-points": "0, 0; 9, 9; 9, 0; 0, 9"}, "points", "inlay"),
        ({**DRAWN, "inlay0-foam": ""}, "foam", "missing"),
        ({**RING, "inlay0-reach_mm": ""}, "reach_mm", "1 to 60 mm"),
        ({**RING, "inlay0-reach_mm": "400"}, "reach_mm", "60"),
        ({**RING, "inlay0-around": "Z"}, "around", "Z"),
    ],
)
def test_an_inlay_in_error_is_named_at_its_field_and_loses_nothing_typed(limb, typed, name, words):
    form = bench(limb, sent(limb, **typed))
    assert not form.is_valid()
    (row, *_) = form.inlays
    assert words in " ".join(row.errors[name])
    for field in ("points", "reach_mm", "layer", "foam", "around"):
        assert row[field].value() == sent(limb, **typed)[f"inlay0-{field}"]


@pytest.mark.parametrize("typed", ["", "0.1", "31", "thick"])
def test_a_thickness_that_no_sheet_has_is_refused(limb, typed):
    form = bench(limb, sent(limb, **{"layer2-thickness_mm": typed}))
    assert not form.is_valid()
    assert "30" in form.layers[2].errors["thickness_mm"][0]
    assert form.layers[2]["thickness_mm"].value() == typed


def test_a_foam_the_clinic_does_not_have_is_refused(limb):
    assert not bench(limb, sent(limb, **{"layer0-foam": "cork"})).is_valid()
    assert not bench(limb, sent(limb, **{**DRAWN, "inlay0-foam": "cork"})).is_valid()


def test_a_plan_keeps_layers_and_inlay_and_a_new_version_begins_with_them(gains_told, limb, podiatrist):
    made = drafted(limb, podiatrist, bench(limb, sent(limb, **{**DRAWN, "layer2-thickness_mm": "8"})))
    stack = made.plan.spec["stack"]
    assert stack[2]["thickness_mm"] == 8
    assert stack[2]["inlays"][0]["foam"] == "soft"
    assert made.plan.result["inlay_gains"][0]["role"] == "base"
    assert any("inlay in the base (soft)" in words for words in made.plan.result["departures"])
    source = {**made.plan.spec, "reasons": made.plan.result["reasons"]}
    again = bench(limb, source=source)
    assert spec_of(limb, again).stack[2].inlays[0].region.area == pytest.approx(720.0)
    assert again.choice.layers[2] == LayerChoice("firm", 8.0)


def test_a_plan_with_an_inlay_is_signed_with_a_reason_only(limb, podiatrist, as_podiatrist):
    form = bench(limb, sent(limb, **DRAWN))
    made = plan_draft(
        by=podiatrist, limb=limb, shapes=form.wanted if form.is_valid() else [], choice=form.choice
    )
    page = as_podiatrist.post(
        reverse("plan_sign", args=[made.plan.code]),
        {"version": made.plan.version, "departure_reason": "", "shut_reason": "measured next in the shoe"},
    )
    assert page.status_code == 422
    assert "inlay in the base (soft)" in page.content.decode()
    signed = plan_sign(
        by=podiatrist,
        limb_plan=made,
        expected_version=made.plan.version,
        departure_reason="softer under the heel",
        shut_reason="Measured next in the shoe.",
    )
    assert signed.plan.departure_reason == "softer under the heel"


def test_an_inlay_off_the_insole_stops_the_signature(limb, podiatrist):
    wide = {**DRAWN, "inlay0-points": "-60, 60; 60, 60; 60, 90; -60, 90"}
    made = drafted(limb, podiatrist, bench(limb, sent(limb, **wide)))
    checks = [one for one in made.plan.result["checks"] if one["id"] == "inlay_wall"]
    assert [(one["severity"], one["passed"]) for one in checks] == [("error", False)]


def test_a_house_stack_changed_since_is_told_before_signing_but_not_what_was_chosen(limb, podiatrist):
    chosen = drafted(limb, podiatrist, bench(limb, sent(limb, **{"layer1-foam": "firm"})))
    plain = drafted(limb, podiatrist, bench(limb, sent(limb)))
    assert not changed_since(limb_record(limb), chosen)
    assert not changed_since(limb_record(limb), plain)
    site = limb.person.site
    site.stack = [{**one, "foam": "soft"} if one["role"] == "middle" else one for one in site.stack]
    site.save()
    now = limb_record(type(limb).objects.get(pk=limb.pk))
    assert "6 mm of soft as middle" in " ".join(changed_since(now, plain))
    assert not changed_since(now, chosen)


def test_a_ring_round_an_ulcer_that_is_not_in_the_plan_is_refused(limb):
    form = bench(limb)
    assert form.is_valid()
    choice = replace(form.choice, inlays=(InlayChoice(2, "soft", around="Z", reach_mm=9.0),))
    with pytest.raises(Exception, match="not in this plan"):
        relief_spec(
            limb_record(limb),
            [LesionShape(form.wanted[0].lesion, "typed", Ellipse((0.0, 180.0), 14.0, 10.0))],
            choice,
        )


def test_the_bench_shows_what_an_inlay_gains_and_its_row_in_the_layers(gains_told, limb, as_podiatrist):
    page = as_podiatrist.post(reverse("bench", args=[limb.pk]), {**sent(limb, **RING), "action": "compute"})
    text = page.content.decode()
    assert "Estimated, inlay in the base (soft)" in text
    assert "over the stiffness of tissue" in text
    assert "Inlay in the base (soft)" in text
