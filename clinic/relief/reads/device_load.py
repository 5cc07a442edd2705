"""In which device a plan's insole is worn, as far as its load is in print."""

from __future__ import annotations

from clinic.models import MapTaken, MeasuredMap, Prescription
from clinic.record.dates import day_words
from clinic.record.errors import Refused
from offload.core.pressure.device_load import DEVICES, label_of
from offload.models import ReliefPlan

__all__ = ["device_remark", "load_reasons", "loaded_device", "refuse_other_device"]


def loaded_device(running: Prescription | None) -> str | None:
    """Class of the running device, where a factor of its load is in print; None for a flat shoe."""
    return running.device_class if running is not None and running.device_class in DEVICES else None


def load_reasons(running: Prescription | None) -> list[str]:
    """Why nothing scales the load of a plan."""
    if running is None:
        return ["No device is running on this limb, so the load is that of a flat shoe."]
    if loaded_device(running) is None:
        words = running.get_device_class_display()
        return [f"{words}: no factor of its load is in print, so the load is that of a flat shoe."]
    return []


def refuse_other_device(measured: MeasuredMap | None, running: Prescription | None) -> None:
    """A map measured in a device stands for that device alone."""
    if measured is None or measured.taken != MapTaken.DEVICE:
        return
    if running is None or loaded_device(running) is None or measured.measured_on < running.prescribed_on:
        raise Refused(
            f"Pressure before the cut: the map of {day_words(measured.measured_on)} was measured in a "
            "device, and that device is not running now; choose another map or the reference map.",
            field="baseline",
        )


def device_remark(plan: ReliefPlan, running: Prescription | None) -> str:
    """What is to say where the running device is not the one a plan was computed for; else empty."""
    then, now = plan.spec.get("device"), loaded_device(running)
    if running is None or then == now:
        return ""
    return (
        f"The pressures of this plan are those of {_words(then)}; the running device is now "
        f"{running.get_device_class_display().lower()}, with the load of {_words(now)}. The cut is the same; "
        "for its figures make a new version."
    )


def _words(device: str | None) -> str:
    return "a flat shoe" if device is None else f"the class {label_of(device)}"
