"""The bench's numbers: one shape for each lesion, one cut for all; and the signature."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from clinic.models import ImprintHow, MapKind, MeasuredMap
from clinic.record.dates import day_words
from clinic.relief.forms.layers import inlay_data, inlay_forms, layer_data, layer_forms
from clinic.relief.forms.numbers import CutForm, ShapeForm
from clinic.relief.reads.relief import BenchLesion
from clinic.relief.reads.relief_record import CutChoice, LesionShape, LimbRecord
from offload.core.errors import Fault

__all__ = ["BenchForm", "SignForm"]

CUT_FIELDS = ("margin_mm", "distal_margin_mm", "bevel_deg", "margin_face", "cut", "rigid_deformity")
WORN_FIELDS = ("lost_cover_mm", "lost_middle_mm", "lost_base_mm")


class LesionShapeForm(ShapeForm):
    """A shape, and how its place was found."""

    how = forms.ChoiceField(label="Place and size", choices=ImprintHow.choices)

    def __init__(self, bench_lesion: BenchLesion, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.bench_lesion = bench_lesion
        self.fields["include"].label = f"Ulcer {bench_lesion.lesion.label} in this plan"

    @property
    def is_wanted(self) -> bool:
        return bool(self.cleaned_data.get("include"))

    @property
    def shape(self) -> LesionShape:
        data = self.cleaned_data
        at_site = data["how"] == ImprintHow.PLACED and self.bench_lesion.is_at_site_name(
            data["x_mm"], data["y_mm"]
        )
        return LesionShape(self.bench_lesion.lesion, data["how"], self.drawn, at_site)


REFERENCE = "reference"


class BenchCutForm(CutForm):
    baseline = forms.TypedChoiceField(
        label="Before the cut",
        required=False,
        choices=[(REFERENCE, "Reference map")],
        coerce=lambda choice: None if choice == REFERENCE else int(choice),
        empty_value=None,
    )
    departure_reason = forms.CharField(
        label="Why, if it departs from the house rules",
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, maps: Sequence[MeasuredMap] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = {MapKind.PEAK: "Peaks", MapKind.INSTANT: "Moment"}
        measured = [
            (str(row.pk), f"{words[MapKind(row.kind)]} of {day_words(row.measured_on)}") for row in maps
        ]
        field = self.fields["baseline"]
        field.choices = [*measured, *field.choices]  # type: ignore[attr-defined]


class BenchForm:
    """Several forms that are filled, checked and refused together."""

    def __init__(
        self,
        lesions: Sequence[BenchLesion],
        record: LimbRecord,
        data: Mapping[str, Any] | None = None,
        source: Mapping[str, Any] | None = None,
    ) -> None:
        on_insole = [one for one in lesions if one.on_insole]
        if data is None:
            data = _first_data(on_insole, record, source or {})
        self.shapes = [LesionShapeForm(one, data, prefix=f"l{one.lesion.pk}") for one in on_insole]
        self.cut = BenchCutForm(data, maps=record.maps)
        self.layers = layer_forms(record, data)
        self.inlays = inlay_forms(record, [one.lesion.label for one in on_insole], data)
        self.refusals: list[str] = []

    def is_valid(self) -> bool:
        # Every form is checked, so that all errors show at once.
        valid = [form.is_valid() for form in self._forms]
        return all(valid)

    @property
    def _forms(self) -> list[forms.Form]:
        return [*self.shapes, self.cut, *self.layers, *self.inlays]

    @property
    def inlays_open(self) -> bool:
        """Whether an inlay stands in the fields, or something is wrong with one."""
        return any(form.errors or form["layer"].value() for form in self.inlays)

    @property
    def wanted(self) -> list[LesionShape]:
        return [form.shape for form in self.shapes if form.is_valid() and form.is_wanted]

    @property
    def unwanted(self) -> list[LesionShape]:
        return [form.shape for form in self.shapes if form.is_valid() and not form.is_wanted]

    @property
    def choice(self) -> CutChoice:
        data = self.cut.cleaned_data
        chosen: dict[str, Any] = {name: data[name] for name in CUT_FIELDS}
        chosen |= {name: data.get(name) or 0.0 for name in WORN_FIELDS}
        inlays = tuple(one for form in self.inlays if (one := form.choice) is not None)
        layers = tuple(form.choice for form in self.layers)
        return CutChoice(**chosen, measured_map=data["baseline"], layers=layers, inlays=inlays)

    @property
    def departure_reason(self) -> str:
        return str(self.cut.cleaned_data.get("departure_reason", ""))

    def refuse(self, field: str, message: str) -> None:
        """Put a refusal on its field of the cut, or above the form."""
        if field in self.cut.fields:
            self.cut.add_error(field, message)
        else:
            self.refusals.append(message)

    def refuse_fault(self, fault: Fault) -> None:
        """Put a fault of the specification on the field that its path names, or above the form."""
        shapes = [form for form in self.shapes if form.is_wanted]
        match fault.path:
            case ("lesions", int(place), *within) if place < len(shapes):
                name = str(within[0]) if within else ""
                name = {"centre_mm": "x_mm", "outline_mm": "outline"}.get(name, name)
                shapes[place].add_error(name if name in shapes[place].fields else None, str(fault))
            case ("stack", int(place), "inlays", *_):
                chosen = [form for form in self.inlays if form.cleaned_data.get("layer") == place]
                for form in chosen[:1]:
                    form.add_error("layer", str(fault))
            case ("stack", int(place), str(field)) if place < len(self.layers):
                self.layers[place].add_error(
                    field if field in self.layers[place].fields else None, str(fault)
                )
            case ("pressure_map", *_):
                self.refuse("baseline", str(fault))
            case (str(field),):
                self.refuse(field, str(fault))
            case _:
                self.refusals.append(str(fault))

    @property
    def errors(self) -> bool:
        """Whether anything is wrong; named as on a form, so that the shared error box shows."""
        return bool(self.refusals) or any(form.errors for form in self._forms)

    @property
    def non_field_errors(self) -> list[str]:
        return self.refusals

    @property
    def sentences(self) -> list[str]:
        """Every error as one sentence, for the preview."""
        found = list(self.refusals)
        for form in self.shapes:
            for messages in form.errors.values():
                found += [f"Ulcer {form.bench_lesion.lesion.label}: {message}" for message in messages]
        for part in (self.cut, *self.layers, *self.inlays):
            for messages in part.errors.values():
                found += [str(message) for message in messages]
        return found


class SignForm(forms.Form):
    """The signature under one version of a plan."""

    departure_reason = forms.CharField(
        label="Why it departs from the house rules",
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    shut_reason = forms.CharField(
        label="Why it is cut although the space under all of the ulcer is predicted to close",
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, shut: Sequence[str] = (), **kwargs: Any) -> None:
        """`shut` are labels of the ulcers under all of which the space is predicted to close."""
        super().__init__(*args, **kwargs)
        self.shut = shut
        if shut:
            self.fields["shut_reason"].label = (
                f"Why it is cut although the space is predicted closed under all of ulcer {', '.join(shut)}, "
                "an estimate"
            )


def _first_data(
    lesions: Sequence[BenchLesion], record: LimbRecord, source: Mapping[str, Any]
) -> dict[str, Any]:
    """What the bench holds when it is opened: each lesion's start, and the house rules or an earlier
    plan's cut.
    """
    house = record.house_choice
    data = {name: source.get(name, getattr(house, name)) for name in CUT_FIELDS}
    if not data["rigid_deformity"]:
        del data["rigid_deformity"]
    data["baseline"] = str(_first_map(record, source) or REFERENCE)
    data |= layer_data(record, source) | inlay_data(record, source)
    for one in lesions:
        data.update(
            {f"l{one.lesion.pk}-{name}": value for name, value in one.start.items() if value is not False}
        )
    return {name: f"{value:g}" if isinstance(value, float) else value for name, value in data.items()}


def _first_map(record: LimbRecord, source: Mapping[str, Any]) -> int | None:
    """What an earlier plan started from, while that stands; else the newest map that was measured."""
    earlier: int | None = source.get("measured_map")
    if source and (earlier is None or any(row.pk == earlier for row in record.maps)):
        return earlier
    return record.house_choice.measured_map
