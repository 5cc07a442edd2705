"""The load of the device a plan sits in: read from the running prescription, said on pages, counted once."""

from copy import copy

import pytest
from django.utils import timezone

from clinic.guidelines.devices import DEVICES
from clinic.record.errors import Refused
from clinic.relief.reads.device_load import (
    device_remark,
    load_reasons,
    loaded_device,
    refuse_other_device,
)
from clinic.relief.reads.relief_record import LesionShape, limb_record, relief_spec
from offload.core.pressure.device_load import DEVICES as LOADS
from offload.core.pressure.device_load import FLAT_SHOE, factor_at, label_of
from offload.core.shapes.lesion import Ellipse
from offload.models import ReliefPlan
from tests import factories


@pytest.fixture
def limb(person):
    factories.weight(of=person, kg=82)
    made = factories.limb(of=person, side="right", foot_breadth_mm=98)
    factories.lesion(on=made, place="mth_2")
    return made


def replaced(prescription, **changes):
    made = copy(prescription)
    for name, value in changes.items():
        setattr(made, name, value)
    return made


def spec_of(limb):
    record = limb_record(limb)
    shape = LesionShape(limb.lesions.get(), "traced", Ellipse((0.0, 180.0), 20.0, 20.0))
    return relief_spec(record, [shape], record.house_choice)


def test_every_class_with_a_load_is_a_class_of_the_clinic_under_a_name_of_its_own():
    assert set(LOADS) <= set(DEVICES)
    assert len({label_of(device) for device in LOADS}) == len(LOADS)


def test_a_plan_takes_the_class_of_the_running_device_where_a_load_is_in_print(limb):
    assert spec_of(limb).device is None
    running = factories.prescription(of=limb)
    for device in DEVICES:
        running.device_class = device
        running.save(update_fields=["device_class"])
        wanted = device if device in LOADS else None
        assert loaded_device(running) == spec_of(limb).device == wanted
        assert bool(load_reasons(running)) == (wanted is None)


def test_a_hole_that_is_in_the_figures_already_is_counted_once_and_a_heel_gains_nothing():
    assert factor_at("forefoot", "felted_foam_with_footwear").central == 1.0
    assert all(factor_at("heel", device).central >= 1.0 for device in LOADS)
    assert all(factor_at("forefoot", device, "device") is FLAT_SHOE for device in LOADS)


def test_a_map_measured_in_a_device_stands_for_that_device_alone(limb):
    row = factories.measured_map(of=limb, taken="device")
    today = timezone.localdate()
    loaded = factories.prescription(of=limb, prescribed_on=row.measured_on)
    refuse_other_device(row, loaded)
    later, unloaded = replaced(loaded, prescribed_on=today), replaced(loaded, device_class="toe_spacer")
    for running in (None, later, unloaded):
        with pytest.raises(Refused, match="that device is not running now") as told:
            refuse_other_device(row, running)
        assert told.value.field == "baseline"
    for taken in ("shoe", "barefoot"):
        row.taken = taken
        refuse_other_device(row, None)
    refuse_other_device(None, None)


def test_a_plan_for_another_device_says_so_until_it_is_made_anew(limb):
    running = factories.prescription(of=limb)
    flat = ReliefPlan(spec={})
    assert "those of a flat shoe" in device_remark(flat, running)
    assert device_remark(ReliefPlan(spec={"device": running.device_class}), running) == ""
    assert device_remark(flat, None) == ""
