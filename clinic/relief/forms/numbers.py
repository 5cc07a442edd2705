"""The numbers of a relief plan as form fields; what they cannot judge alone, the core judges on computing."""

from __future__ import annotations

import math
from typing import Any

import shapely
from django import forms
from shapely import affinity
from shapely.geometry import Polygon

from clinic.record.forms.numbers import NumberField
from offload.core.errors import OutlineError
from offload.core.foam.stack import CUTS
from offload.core.intake import Bounds, IntakeError, json_value
from offload.core.plan.bounds import ANGLE, BEVEL, LESION_LENGTH, MARGIN, Span
from offload.core.shapes.lesion import Ellipse
from offload.core.shapes.outline import Outline

__all__ = ["CutForm", "ShapeForm"]

MOST_POINTS = 2000
RING = Bounds(characters=60_000, values=2 * MOST_POINTS, depth=2)
REACH = 200.0  # [mm] of a drawn outline from its own centre
CUT_WORDS = {"auto": "By the policy", "middle": "Middle", "base": "Base", "middle+base": "Middle and base"}


ACROSS, ALONG = Span(-250, 250, "mm"), Span(-50, 400, "mm")
LOST = Span(0, 27, "mm")


def _number(label: str, span: Span, **more: Any) -> NumberField:
    """The insole is drawn anew with each key; an echo stands only where it was read otherwise than typed."""
    return NumberField(
        label=label, low=span.low, high=span.high, places=2, unit=span.unit, kind=float, quiet=True, **more
    )


class ShapeForm(forms.Form):
    """Where one lesion lies on the insole and how large it is, in the anatomical frame."""

    include = forms.BooleanField(label="In this plan", required=False)
    x_mm = _number("Across, little toe side +", ACROSS)
    y_mm = _number("Along, from the heel", ALONG)
    length_mm = _number("Length", LESION_LENGTH)
    width_mm = _number("Width", LESION_LENGTH)
    angle_deg = _number("Angle", ANGLE)
    # A drawn ring about its own centre, long side along +y; the numbers above stretch, turn and place it.
    outline = forms.CharField(required=False, max_length=60_000, widget=forms.HiddenInput)

    def clean_outline(self) -> list[list[float]] | None:
        text = self.cleaned_data["outline"].strip()
        if not text:
            return None
        try:
            ring = [[float(x), float(y)] for x, y in json_value(text, RING)]
        except IntakeError as fault:
            raise forms.ValidationError(
                f"The drawn outline cannot be read: {fault}. Draw it again."
            ) from fault
        except (ValueError, TypeError) as fault:
            raise forms.ValidationError(
                "The drawn outline cannot be read: it is no list of points. Draw it again."
            ) from fault
        if not 3 <= len(ring) <= MOST_POINTS:
            raise forms.ValidationError(
                f"The drawn outline has {len(ring)} points; the limit is 3 to {MOST_POINTS}."
            )
        if not all(math.isfinite(v) and abs(v) <= REACH for point in ring for v in point):
            raise forms.ValidationError(
                f"The drawn outline reaches farther than {REACH:g} mm from its centre, the limit."
            )
        polygon = Polygon(ring)
        if not polygon.is_valid:
            raise forms.ValidationError(
                f"The drawn outline is no simple ring ({shapely.is_valid_reason(polygon)}); draw it again."
            )
        return ring

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        length, width = data.get("length_mm"), data.get("width_mm")
        if length is not None and width is not None and width > length:
            self.add_error("width_mm", f"Width is {width:g} mm; the limit is the length, {length:g} mm.")
        if not self.errors:
            try:
                data["drawn"] = self._drawn(data)
            except OutlineError as fault:
                self.add_error("outline", str(fault))
        return data

    @property
    def drawn(self) -> Ellipse | Outline:
        """The lesion as it lies on the insole."""
        shape: Ellipse | Outline = self.cleaned_data["drawn"]
        return shape

    @staticmethod
    def _drawn(data: dict[str, Any]) -> Ellipse | Outline:
        if data["outline"] is None:
            return Ellipse(
                (data["x_mm"], data["y_mm"]), data["length_mm"], data["width_mm"], data["angle_deg"]
            )
        ring = Polygon(data["outline"])
        low_x, low_y, high_x, high_y = ring.bounds
        ring = affinity.translate(ring, -(low_x + high_x) / 2, -(low_y + high_y) / 2)
        ring = affinity.scale(
            ring, data["width_mm"] / (high_x - low_x), data["length_mm"] / (high_y - low_y), origin=(0, 0)
        )
        ring = affinity.rotate(ring, data["angle_deg"], origin=(0, 0))
        ring = affinity.translate(ring, data["x_mm"], data["y_mm"])
        corners = tuple((round(x, 2), round(y, 2)) for x, y in ring.exterior.coords[:-1])
        return Outline(corners, name="The drawn outline")


class CutForm(forms.Form):
    """How the opening is cut."""

    margin_mm = _number("Margin all round", MARGIN)
    distal_margin_mm = _number("Margin towards the toes", MARGIN)
    bevel_deg = _number("Bevel", BEVEL)
    margin_face = forms.ChoiceField(
        label="Margin measured on",
        choices=[("floor", "The base of the opening"), ("opening", "The foot side of the opening")],
    )
    cut = forms.ChoiceField(label="Cut in", choices=[(cut, CUT_WORDS[cut]) for cut in ("auto", *CUTS)])
    lost_cover_mm = _number("Cover lost", LOST, required=False)
    lost_middle_mm = _number("Middle lost", LOST, required=False)
    lost_base_mm = _number("Base lost", LOST, required=False)
    rigid_deformity = forms.BooleanField(label="Rigid, deformed foot", required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        margin, distal = data.get("margin_mm"), data.get("distal_margin_mm")
        if margin is not None and distal is not None and distal < margin:
            self.add_error(
                "distal_margin_mm",
                f"Margin towards the toes is {distal:g} mm; the limit is the margin all round, {margin:g} "
                "mm, or more.",
            )
        return data
