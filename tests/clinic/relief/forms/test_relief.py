"""The bench's forms are filled, checked and refused together."""

from __future__ import annotations

import pytest

from clinic.relief.forms.relief import BenchForm
from clinic.relief.reads.relief import bench_lesions, start_of
from clinic.relief.reads.relief_record import limb_record
from offload.core.errors import Fault
from offload.core.shapes.insole import insole_for
from tests import factories


@pytest.fixture
def limb(person):
    factories.weight(of=person)
    made = factories.limb(of=person)
    factories.lesion(on=made, place="mth_1")
    factories.lesion(on=made, place="heel_central")
    return made


def bench(limb, data=None, source=None):
    insole = insole_for(260.0, None)
    return BenchForm([start_of(one, insole) for one in bench_lesions(limb)], limb_record(limb), data, source)


def sent(limb, **changes):
    """What the browser sends back of a bench as it was opened."""
    form = bench(limb)
    data = {
        f"{shape.prefix}-{name}": shape[name].value() or "" for shape in form.shapes for name in shape.fields
    }
    data.update({name: form.cut[name].value() or "" for name in form.cut.fields})
    return {**data, **changes}


def test_an_opened_bench_is_valid_and_holds_the_house_rules(limb):
    limb.person.site.margin_mm = 7
    form = bench(limb)
    assert form.is_valid(), form.sentences
    assert form.choice.margin_mm == 7.0
    assert [shape.lesion.label for shape in form.wanted] == ["A", "B"]
    assert all(shape.from_site_name for shape in form.wanted)


def test_a_copied_plan_brings_its_cut(limb):
    form = bench(limb, source={"cut": "base", "margin_mm": 8.0, "distal_margin_mm": 12.0})
    assert form.is_valid()
    assert (form.choice.cut, form.choice.margin_mm, form.choice.bevel_deg) == ("base", 8.0, 45.0)


def test_a_moved_lesion_no_longer_stands_at_its_site_name(limb):
    first = bench(limb).shapes[0]
    form = bench(limb, sent(limb, **{f"{first.prefix}-x_mm": "-20"}))
    assert form.is_valid()
    assert [shape.from_site_name for shape in form.wanted] == [False, True]


def test_a_traced_place_is_never_called_a_site_name(limb):
    first = bench(limb).shapes[0]
    form = bench(limb, sent(limb, **{f"{first.prefix}-how": "traced"}))
    assert form.is_valid()
    assert form.wanted[0].from_site_name is False


def test_an_unticked_lesion_is_shown_but_not_planned(limb):
    first = bench(limb).shapes[0]
    form = bench(limb, sent(limb, **{f"{first.prefix}-include": ""}))
    assert form.is_valid()
    assert [shape.lesion.label for shape in form.wanted] == ["B"]
    assert [shape.lesion.label for shape in form.unwanted] == ["A"]


def test_faults_of_the_core_stand_at_the_field_they_name(limb):
    form = bench(limb)
    assert form.is_valid()
    form.refuse_fault(Fault(("lesions", 1, "width_mm"), 9, "8"))
    form.refuse_fault(
        Fault(("lesions", 0, "centre_mm"), 3.0, "0", "lesion A lies off the insole", "lesions:")
    )
    form.refuse_fault(Fault(("bevel_deg",), 95, "20 to 90"))
    form.refuse_fault(Fault(("pressure_map", "kpa"), 0.0, "some load", "carries 0 N"))
    form.refuse_fault(Fault(("stack",), 0, "2 layers", "has 0 layers"))
    form.refuse_fault(Fault(("lesions",), 0, "1 to 12", "has 0 lesions"))
    assert form.shapes[1].errors["width_mm"] == ["lesions[1].width_mm is 9; the limit is 8"]
    assert form.shapes[0].errors["x_mm"] == ["lesions: lesion A lies off the insole; the limit is 0"]
    assert set(form.cut.errors) == {"bevel_deg", "baseline"}
    assert form.refusals == [
        "stack has 0 layers; the limit is 2 layers",
        "lesions has 0 lesions; the limit is 1 to 12",
    ]
    assert len(form.sentences) == 6


def test_numbering_of_faults_follows_the_lesions_in_the_plan(limb):
    first = bench(limb).shapes[0]
    form = bench(limb, sent(limb, **{f"{first.prefix}-include": ""}))
    assert form.is_valid()
    form.refuse_fault(Fault(("lesions", 0, "length_mm"), 0, "1"))
    assert "length_mm" in form.shapes[1].errors
    assert not form.shapes[0].errors
