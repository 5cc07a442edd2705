"""What is done with a signed plan: cut, fitted, contact check, measured in the shoe."""

from __future__ import annotations

from typing import Any

from django import forms

from offload.core.errors import ReliefError
from offload.core.insole import Insole
from offload.core.measured import CELL_LIMITS, HIGHEST_KPA, KPA_PER, MeasuredGrid, place_grid, read_grid
from offload.core.spec import PressureMap

from .dates import DayField
from .entries import NumberField

__all__ = ["ContactForm", "CutForm", "FitForm", "MapForm", "MeasuredForm"]

SIDES = [("", "Choose"), ("left", "Left"), ("right", "Right")]


class DoneForm(forms.Form):
    done_on = DayField(label="Done on")
    note = forms.CharField(label="Note", max_length=200, required=False)


class SheetForm(DoneForm):
    """Code and side are typed from what is in the hand, never shown beside their fields."""

    code = forms.CharField(
        label="Code, read from the sheet or insole",
        max_length=12,
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )
    side = forms.ChoiceField(label="Side, read from the sheet or insole", choices=SIDES)
    field_order: tuple[str, ...] = ("code", "side")


class CutForm(SheetForm):
    bar_mm = NumberField(label="Measured 100 mm bar of this sheet", low=50, high=150, places=1, unit="mm")
    depth_mm = NumberField(label="Depth measured at its shallowest", low=0, high=60, places=1, unit="mm")
    field_order = ("code", "side", "bar_mm", "depth_mm")


class FitForm(SheetForm):
    pass


class ContactForm(DoneForm):
    touches = forms.TypedChoiceField(
        label="After a few steps on the marked lesion",
        choices=[
            ("no", "No contact: the floor of the opening is clean"),
            ("yes", "Contact: the mark is on the floor"),
        ],
        coerce=lambda told: told == "yes",
        widget=forms.RadioSelect,
    )
    field_order = ("touches",)


class MeasuredForm(forms.Form):
    """Peaks at one lesion, typed."""

    label = forms.ChoiceField(label="Lesion")
    measured_on = DayField(label="Measured on")
    without_kpa = NumberField(
        label="Peak at the lesion without the cut",
        low=1,
        high=HIGHEST_KPA,
        places=1,
        unit="kPa",
        required=False,
    )
    with_kpa = NumberField(
        label="Peak at the lesion with the cut", low=0, high=HIGHEST_KPA, places=1, unit="kPa", required=False
    )
    note = forms.CharField(label="Note", max_length=200, required=False)

    def __init__(self, *args: Any, labels: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["label"].choices = [(label, f"Lesion {label}") for label in labels]  # type: ignore[attr-defined]


class MapForm(forms.Form):
    """Two exported grids instead of typed peaks. Cell size and unit are asked for, never guessed."""

    without_map = forms.CharField(
        label="Grid without the cut",
        required=False,
        max_length=400_000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    with_map = forms.CharField(
        label="Grid with the cut",
        required=False,
        max_length=400_000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    unit = forms.ChoiceField(
        label="Unit", choices=[("", "Choose"), *((u, u) for u in KPA_PER)], required=False
    )
    cell_across = NumberField(
        label="Cell across", low=CELL_LIMITS[0], high=CELL_LIMITS[1], places=2, unit="mm", required=False
    )
    cell_along = NumberField(
        label="Cell along", low=CELL_LIMITS[0], high=CELL_LIMITS[1], places=2, unit="mm", required=False
    )
    toes_first = forms.BooleanField(label="The first row lies at the toes", required=False)
    lateral_first = forms.BooleanField(label="The first column lies at the little toe side", required=False)
    first_mark = forms.ChoiceField(label="First landmark", required=False)
    first_across = NumberField(
        label="First point, across the grid", low=0, high=400, places=1, unit="mm", required=False
    )
    first_along = NumberField(
        label="First point, along from the heel end", low=0, high=500, places=1, unit="mm", required=False
    )
    second_mark = forms.ChoiceField(label="Second landmark", required=False)
    second_across = NumberField(
        label="Second point, across the grid", low=0, high=400, places=1, unit="mm", required=False
    )
    second_along = NumberField(
        label="Second point, along from the heel end", low=0, high=500, places=1, unit="mm", required=False
    )

    def __init__(self, *args: Any, insole: Insole, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.insole = insole
        marks = [
            ("", "Choose"),
            *((mark.name, mark.name.replace("_", " ").capitalize()) for mark in insole.landmarks),
        ]
        for name in ("first_mark", "second_mark"):
            self.fields[name].choices = marks  # type: ignore[attr-defined]
        self.maps: tuple[PressureMap, PressureMap] | None = None

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not (data.get("without_map") or data.get("with_map")):
            return data
        for name in self.fields:
            if (
                name not in ("toes_first", "lateral_first")
                and data.get(name) in (None, "")
                and name not in self.errors
            ):
                self.add_error(
                    name,
                    f"{self.fields[name].label}: missing; it is needed to read a grid and is never guessed.",
                )
        if not self.errors:
            self.maps = self._placed(data)
        return data

    def _placed(self, data: dict[str, Any]) -> tuple[PressureMap, PressureMap] | None:
        marks = {mark.name: mark.at for mark in self.insole.landmarks}
        on_insole = (marks[data["first_mark"]], marks[data["second_mark"]])
        on_grid = (
            (float(data["first_across"]), float(data["first_along"])),
            (float(data["second_across"]), float(data["second_along"])),
        )
        found = []
        for name in ("without_map", "with_map"):
            try:
                grid: MeasuredGrid = read_grid(
                    data[name],
                    cell=(float(data["cell_across"]), float(data["cell_along"])),
                    unit=data["unit"],
                    kind="peak",
                    toes_first=data["toes_first"],
                    lateral_first=data["lateral_first"],
                )
                found.append(place_grid(grid, on_grid, on_insole).map)
            except ReliefError as fault:
                self.add_error(name, f"{self.fields[name].label}: {fault}")
        return (found[0], found[1]) if len(found) == 2 else None
