"""Foam and thickness of each layer on the bench, and its inlays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from clinic.record.forms.numbers import NumberField
from clinic.relief.reads.layers import InlayChoice, LayerChoice, layer_names_of, worn_roles
from clinic.relief.reads.relief_record import LimbRecord
from offload.core.errors import OutlineError
from offload.core.foam.stack import THICKNESS_LIMITS
from offload.core.intake import IntakeError, points_of
from offload.core.plan.bounds import MARGIN, Span
from offload.core.shapes.outline import Outline

__all__ = ["INLAYS", "InlayForm", "LayerForm", "inlay_data", "inlay_forms", "layer_data", "layer_forms"]

INLAYS = 3  # that the bench has room for; design choice
MOST_POINTS = 200
DRAWN = "points"
REACH = Span(1, 2 * MARGIN.high, "mm")


class LayerForm(forms.Form):
    """One layer; left out of what is sent it is as the house rules have it."""

    foam = forms.ChoiceField(label="Foam")
    thickness_mm = NumberField(
        label="Thickness",
        low=THICKNESS_LIMITS[0],
        high=THICKNESS_LIMITS[1],
        places=2,
        unit="mm",
        kind=float,
        quiet=True,
    )

    def __init__(self, record: LimbRecord, place: int, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        stack = record.limb.person.site.stack
        name, self.house = layer_names_of(stack)[place], stack[place]
        present = self.data.get(self.add_prefix("foam"))
        self.fields["foam"].choices = _choices(record, present)  # type: ignore[attr-defined]
        for field, words in (("foam", "foam"), ("thickness_mm", "thickness")):
            self.fields[field].label = f"{name.capitalize()}: {words}"
            self.fields[field].required = self.add_prefix(field) in self.data

    @property
    def choice(self) -> LayerChoice:
        thickness = self.cleaned_data.get("thickness_mm")
        return LayerChoice(
            self.cleaned_data.get("foam") or self.house["foam"],
            float(self.house["thickness_mm"]) if thickness is None else thickness,
        )


class InlayForm(forms.Form):
    """One inlay; with no layer chosen there is none."""

    layer = forms.TypedChoiceField(label="In the layer", required=False, coerce=int, empty_value=None)
    foam = forms.ChoiceField(label="Foam of the inlay", required=False)
    around = forms.ChoiceField(label="Where", required=False)
    reach_mm = NumberField(
        label="Ring reaches",
        low=REACH.low,
        high=REACH.high,
        places=1,
        unit="mm",
        kind=float,
        quiet=True,
        required=False,
    )
    points = forms.CharField(
        label="Points: across, from the heel, mm",
        required=False,
        max_length=6000,
        widget=forms.Textarea(attrs={"rows": 2, "placeholder": "-12, 150; 10, 150; 0, 175"}),
    )

    def __init__(self, record: LimbRecord, labels: Sequence[str], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = layer_names_of(record.limb.person.site.stack)
        layers = [("", "No inlay"), *((str(n), name.capitalize()) for n, name in enumerate(names))]
        self.fields["layer"].choices = layers  # type: ignore[attr-defined]
        self.fields["foam"].choices = [  # type: ignore[attr-defined]
            ("", "Choose"),
            *_choices(record, self.data.get(self.add_prefix("foam"))),
        ]
        rings = [(label, f"A ring round ulcer {label}") for label in labels]
        self.fields["around"].choices = [(DRAWN, "The points below"), *rings]  # type: ignore[attr-defined]

    def clean_points(self) -> Outline | None:
        text = self.cleaned_data["points"].strip()
        if not text:
            return None
        try:
            ring = points_of(text, MOST_POINTS)
            return Outline(tuple(ring), name="The inlay")
        except (IntakeError, OutlineError) as fault:
            raise forms.ValidationError(f"The points of the inlay: {fault}.") from fault

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("layer") is None:
            return data
        if not data.get("foam") and "foam" not in self.errors:
            self.add_error("foam", "The foam of the inlay is missing; choose one.")
        if (data.get("around") or DRAWN) == DRAWN:
            if data.get("points") is None and "points" not in self.errors:
                self.add_error("points", "The points of the inlay are missing; draw it, or type 3 or more.")
        elif data.get("reach_mm") is None and "reach_mm" not in self.errors:
            self.add_error("reach_mm", f"The reach of the ring is missing; it must be {REACH.limit}.")
        return data

    @property
    def choice(self) -> InlayChoice | None:
        """The inlay; None where there is none."""
        data = self.cleaned_data
        if data.get("layer") is None:
            return None
        if (data.get("around") or DRAWN) == DRAWN:
            return InlayChoice(data["layer"], data["foam"], data["points"])
        return InlayChoice(data["layer"], data["foam"], around=data["around"], reach_mm=data["reach_mm"])


def layer_forms(record: LimbRecord, data: Mapping[str, Any]) -> list[LayerForm]:
    """One form a layer, from the foot down."""
    count = len(record.limb.person.site.stack)
    return [LayerForm(record, n, data, prefix=f"layer{n}") for n in range(count)]


def inlay_forms(record: LimbRecord, labels: Sequence[str], data: Mapping[str, Any]) -> list[InlayForm]:
    """The forms of the bench's inlays."""
    return [InlayForm(record, labels, data, prefix=f"inlay{n}") for n in range(INLAYS)]


def layer_data(record: LimbRecord, source: Mapping[str, Any]) -> dict[str, Any]:
    """What the layers hold when the bench is opened: the house's, or an earlier plan's where its layers are
    the same; a worn layer of that plan begins as new.
    """
    house = record.limb.person.site.stack
    kept = source.get("stack") or house
    if [one["role"] for one in kept] != [one["role"] for one in house]:
        kept = house
    worn = worn_roles(source.get("reasons") or ())
    data: dict[str, Any] = {}
    for n, (one, own) in enumerate(zip(kept, house, strict=True)):
        thickness = own["thickness_mm"] if one["role"] in worn else one["thickness_mm"]
        data |= {f"layer{n}-foam": one["foam"], f"layer{n}-thickness_mm": f"{float(thickness):g}"}
    return data


def inlay_data(record: LimbRecord, source: Mapping[str, Any]) -> dict[str, Any]:
    """The inlays of an earlier plan as the bench's fields hold them."""
    house, kept = record.limb.person.site.stack, source.get("stack") or ()
    if [one["role"] for one in kept] != [one["role"] for one in house]:
        return {}
    placed = [(n, one) for n, layer in enumerate(kept) for one in layer.get("inlays", ())]
    data: dict[str, Any] = {}
    for n, (layer, one) in enumerate(placed[:INLAYS]):
        points = "; ".join(f"{x:g}, {y:g}" for x, y in one["region_mm"])
        data |= {
            f"inlay{n}-layer": str(layer),
            f"inlay{n}-foam": one["foam"],
            f"inlay{n}-around": DRAWN,
            f"inlay{n}-points": points,
        }
    return data


def _choices(record: LimbRecord, present: str | None) -> list[tuple[str, str]]:
    """The clinic's foams; one no longer in use only where it stands already."""
    found = list(record.foam_choices)
    if present is not None and present in record.foams and present not in dict(found):
        found.append((present, f"{record.foams[present].label} (no longer in use)"))
    return found
