"""One limit for files and for specifications made in the program, and a specification is written as it is
read.
"""

from dataclasses import fields, replace

import pytest

from offload.core.errors import SpecError
from offload.core.foam.stack import Layer
from offload.core.plan.bounds import faults_of_values
from offload.core.plan.spec import ReliefSpec
from offload.core.plan.specfile import spec_from, spec_json
from offload.core.pressure.device_load import DEVICES
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.lesion import Ellipse, LesionSpec
from offload.core.shapes.outline import Outline

ROUND = LesionSpec.of_shape("A", Ellipse((0.0, 180.0), 14.0, 10.0, 30.0))
TRACED = LesionSpec.of_shape("B", Outline(((-20.0, 200.0), (-10.0, 200.0), (-10.0, 208.0))))
MAP = PressureMap(((100.0, 200.0), (150.0, 50.0)), (5.0, 6.0), (-10.0, 170.0))
PLAIN = ReliefSpec("left", 260.0, 82.0, (ROUND,))
THIN = (Layer("cover", "soft", 2.5), Layer("base", "firm", 9.0))

#: Another value of every field that a file may hold.
OTHER = {
    "side": "right",
    "foot_length": 231.5,
    "body_weight": 93.2,
    "lesions": (ROUND, TRACED),
    "foot_width": 98.0,
    "insole_outline": Outline(((-45.0, 0.0), (45.0, 0.0), (45.0, 270.0), (-45.0, 270.0))),
    "stack": THIN,
    "margin": 4.5,
    "distal_margin": 12.0,
    "bevel": 60.0,
    "margin_face": "opening",
    "cut": "base",
    "rigid_deformity": True,
    "pressure_map": replace(MAP, kind="instant", taken="barefoot"),
    "device": DEVICES[0],
}


def values_of(spec):
    """All fields; an outline is its ring, whatever it was called."""
    return [
        replace(value, name="") if isinstance(value := getattr(spec, field.name), Outline) else value
        for field in fields(spec)
        if field.name != "lesions"
    ] + [(one.label, one.outline.exterior, one.ellipse) for one in spec.lesions]


@pytest.mark.parametrize("name", [field.name for field in fields(ReliefSpec)])
def test_every_field_is_read_as_it_was_written(name):
    spec = replace(PLAIN, **{name: OTHER[name]})
    assert spec != PLAIN
    assert values_of(spec_from(spec_json(spec))) == values_of(spec)
    assert faults_of_values(spec) == []


def sized(**changes):
    return {"lesions": (replace(ROUND, ellipse=replace(ROUND.ellipse, **changes)),)}


@pytest.mark.parametrize(
    "changes",
    [
        {"foot_length": 119.0},
        {"foot_length": float("nan")},
        {"foot_width": 161.0},
        {"body_weight": 301.0},
        {"margin": -1.0},
        {"margin": 31.0, "distal_margin": 31.0},
        {"distal_margin": 4.0},
        {"bevel": 19.0},
        {"cut": "middle", "stack": THIN},
        {"stack": (THIN[0], Layer("base", "firm", 31.0))},
        {"stack": THIN[::-1]},
        {"lesions": ()},
        {"lesions": (ROUND, ROUND)},
        {"lesions": (replace(ROUND, label=" "),)},
        {"lesions": tuple(replace(ROUND, label=f"L{i}") for i in range(13))},
        sized(length=0.5, width=0.5),
        sized(length=201.0),
        sized(width=15.0),
        sized(angle=361.0),
        {"pressure_map": replace(MAP, cell=(0.5, 5.0))},
        {"pressure_map": replace(MAP, kpa=((0.0, 0.0),))},
        {"pressure_map": replace(MAP, taken="slipper")},
        {"pressure_map": replace(MAP, taken="device")},
        {"device": "slipper"},
        {"device": "slipper", "pressure_map": replace(MAP, taken="device")},
    ],
    ids=str,
)
def test_what_no_file_may_hold_no_specification_may(changes):
    spec = replace(PLAIN, **changes)
    with pytest.raises(SpecError) as refused:
        spec_from(spec_json(spec))
    # Of a margin off its bounds a file cannot say what the margin towards the toes has to be.
    found = faults_of_values(spec)
    assert found
    assert {(fault.path, fault.limit) for fault in found} == {
        (fault.path, fault.limit) for fault in refused.value.faults
    }


@pytest.mark.parametrize("value", [-1.0, 3001.0, float("inf")])
def test_a_cell_off_its_bounds_is_told_of_the_map(value):
    (fault,) = faults_of_values(replace(PLAIN, pressure_map=replace(MAP, kpa=((1.0, value),))))
    assert (fault.path, fault.limit) == (("pressure_map", "kpa"), "a number from 0 to 3000 kPa")
