"""A measured pressure grid with what nobody may guess: its unit, its cells, how it lies, which points lie
where.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from django import forms
from django.utils import timezone

from clinic.models import MapKind, MapTaken, MapUnit
from clinic.record.forms.entries import NumberField, PastDayField
from offload.core.errors import ReliefError
from offload.core.intake import IntakeError, text_of
from offload.core.pressure.grid import PressureMap
from offload.core.pressure.measured import (
    CELL_LIMITS,
    GRID,
    LARGEST_GRID,
    GridPoint,
    MeasuredGrid,
    place_on_landmarks,
    read_grid,
    well_placed,
)
from offload.core.shapes.insole import Insole

__all__ = ["BaselineMapForm", "MapForm", "WithdrawForm"]


def _grid_field(label: str) -> forms.CharField:
    return forms.CharField(
        label=label,
        required=False,
        max_length=LARGEST_GRID,
        widget=forms.Textarea(attrs={"rows": 3, "spellcheck": "false"}),
    )


def _point_fields(name: str) -> tuple[NumberField, NumberField]:
    return (
        NumberField(
            label=f"{name}, across from the big-toe side",
            low=0,
            high=400,
            places=1,
            unit="mm",
            required=False,
        ),
        NumberField(
            label=f"{name}, along from the heel end", low=0, high=500, places=1, unit="mm", required=False
        ),
    )


class GridForm(forms.Form):
    """How a grid is to be read and where it lies. Cell size and unit are asked for, never guessed."""

    unit = forms.ChoiceField(label="Unit", choices=[("", "Choose"), *MapUnit.choices], required=False)
    cell_across = NumberField(
        label="Cell across", low=CELL_LIMITS[0], high=CELL_LIMITS[1], places=2, unit="mm", required=False
    )
    cell_along = NumberField(
        label="Cell along", low=CELL_LIMITS[0], high=CELL_LIMITS[1], places=2, unit="mm", required=False
    )
    toes_first = forms.BooleanField(label="The first row lies at the toes", required=False)
    lateral_first = forms.BooleanField(label="The first column lies at the little toe side", required=False)
    first_mark = forms.ChoiceField(label="First landmark", required=False)
    first_across, first_along = _point_fields("First point")
    second_mark = forms.ChoiceField(label="Second landmark", required=False)
    second_across, second_along = _point_fields("Second point")
    READING = ("unit", "cell_across", "cell_along")
    PLACING = ("first_mark", "first_across", "first_along", "second_mark", "second_across", "second_along")
    FILES: Mapping[str, str] = {}
    """A file's field and the field that its numbers stand in from then on: a chosen file cannot be chosen
    again for the person.
    """

    def __init__(self, data: Any = None, files: Any = None, *, insole: Insole, **kwargs: Any) -> None:
        self.unread: dict[str, str] = {}
        if data is not None and files:
            data = data.copy()
            for name, grid in self.FILES.items():
                sent = files.get(name)
                if sent is not None and sent.size <= LARGEST_GRID:
                    try:
                        data[grid] = text_of(sent.read(), GRID)
                    except IntakeError as fault:
                        self.unread[name] = str(fault)
        super().__init__(data, files, **kwargs)
        self.insole = insole
        marks = [
            ("", "Choose"),
            *((mark.name, mark.name.replace("_", " ").capitalize()) for mark in insole.landmarks),
        ]
        for name in ("first_mark", "second_mark"):
            self.fields[name].choices = marks  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for name in self.FILES:
            sent = data.get(name)
            if name in self.unread:
                self.add_error(name, f"{self.fields[name].label}: {self.unread[name]}.")
            elif sent is not None and sent.size > LARGEST_GRID:
                what = f"{sent.size} bytes; the limit is {LARGEST_GRID} (a grid of numbers)."
                self.add_error(name, f"{self.fields[name].label}: {what}")
        return data

    def need(self, names: tuple[str, ...]) -> bool:
        """Whether these were all given; what is missing is said at its field."""
        for name in names:
            if self.cleaned_data.get(name) in (None, "") and name not in self.errors:
                self.add_error(
                    name,
                    f"{self.fields[name].label}: missing; it is needed to read a grid and is never guessed.",
                )
        return not any(name in self.errors for name in names)

    def read(self, name: str, kind: str) -> MeasuredGrid | None:
        """The grid in one field; what is wrong with it is said there."""
        data = self.cleaned_data
        try:
            return read_grid(
                data[name],
                cell=(float(data["cell_across"]), float(data["cell_along"])),
                unit=data["unit"],
                kind=kind,
                toes_first=data["toes_first"],
                lateral_first=data["lateral_first"],
            )
        except ReliefError as fault:
            self.add_error(name, f"{self.fields[name].label}: {fault}")
        return None

    @property
    def points(self) -> tuple[GridPoint, GridPoint]:
        """The two landmarks and the points of the grid under them [mm]: name, across, along."""
        data = self.cleaned_data
        first, second = (
            (data[f"{which}_mark"], float(data[f"{which}_across"]), float(data[f"{which}_along"]))
            for which in ("first", "second")
        )
        return first, second


class MapForm(GridForm):
    """Two grids, without and with the cut, instead of typed peaks."""

    without_file = forms.FileField(label="File without the cut", required=False)
    without_map = _grid_field("Grid without the cut")
    with_file = forms.FileField(label="File with the cut", required=False)
    with_map = _grid_field("Grid with the cut")
    field_order = ("without_file", "without_map", "with_file", "with_map")
    FILES = MappingProxyType({"without_file": "without_map", "with_file": "with_map"})

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.maps: tuple[PressureMap, PressureMap] | None = None

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if not any(data.get(name) for name in (*self.FILES, *self.FILES.values())):
            return data
        if self.need(("without_map", "with_map", *self.READING, *self.PLACING)):
            without, with_cut = self._laid("without_map"), self._laid("with_map")
            if without is not None and with_cut is not None:
                self.maps = without, with_cut
        return data

    def _laid(self, name: str) -> PressureMap | None:
        grid = self.read(name, "peak")
        if grid is None:
            return None
        try:
            return well_placed(place_on_landmarks(grid, self.points, self.insole)).map
        except ReliefError as fault:
            self.add_error(name, f"{self.fields[name].label}: {fault}")
        return None


class BaselineMapForm(GridForm):
    """One grid under the uncut insole. Looking at it first shows where its points lie; only keeping asks
    for them.
    """

    measured_on = PastDayField(label="Measured on", initial=timezone.localdate)
    worn = forms.CharField(
        label="Worn while measuring",
        max_length=120,
        help_text="Shoe and insole in general words; no maker's name is needed.",
    )
    taken = forms.ChoiceField(
        label="Measured",
        choices=[("", "Choose"), *MapTaken.choices],
        help_text="The device's relief is counted once.",
    )
    uncut = forms.BooleanField(
        label="The insole had no cut under this foot",
        error_messages={"required": "Only a map without any cut can stand for the pressure before one."},
    )
    kind = forms.ChoiceField(label="A cell holds", choices=[("", "Choose"), *MapKind.choices])
    file = forms.FileField(label="File of the grid", required=False)
    grid = _grid_field("Or its numbers")

    FILES = MappingProxyType({"file": "grid"})

    def __init__(self, data: Any = None, files: Any = None, **kwargs: Any) -> None:
        self.looking = data is not None and data.get("action") == "look"
        self.measured: MeasuredGrid | None = None
        super().__init__(data, files, **kwargs)

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if self.looking:
            # What a look does not need is not held against it.
            for name in (*self.PLACING, "measured_on", "worn", "taken", "uncut"):
                self.errors.pop(name, None)
        if self.need(("grid", "kind", *self.READING)):
            self.measured = self.read("grid", data["kind"])
        if not self.looking:
            self.need(self.PLACING)
        return data


class WithdrawForm(forms.Form):
    because = forms.CharField(label="What is wrong with it", max_length=300)
    version = forms.IntegerField(widget=forms.HiddenInput)
