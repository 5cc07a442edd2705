"""The numbers of a relief plan as form fields; what they cannot judge alone, the core judges on computing."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import shapely
from django import forms
from shapely import affinity
from shapely.geometry import Polygon

from offload.core.errors import OutlineError
from offload.core.foam.stack import CUTS
from offload.core.plan.bounds import ANGLE, BEVEL, LESION_LENGTH, MARGIN, Span
from offload.core.shapes.lesion import Ellipse
from offload.core.shapes.outline import Outline

__all__ = ["CutForm", "ShapeForm", "numbers_of"]

MOST_POINTS = 2000
REACH = 200.0  # [mm] of a drawn outline from its own centre
NEAR = 0.01  # share of an ellipse's area by which a ring may differ and still be called that ellipse
CUT_WORDS = {"auto": "By the policy", "middle": "Middle", "base": "Base", "middle+base": "Middle and base"}


ACROSS, ALONG = Span(-250, 250, "mm"), Span(-50, 400, "mm")
LOST = Span(0, 27, "mm")


def _number(label: str, span: Span, **more: Any) -> forms.FloatField:
    low, high, unit = span.low, span.high, span.unit
    return forms.FloatField(
        label=f"{label} ({unit})",
        min_value=low,
        max_value=high,
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
        error_messages={
            "min_value": f"{label} is %(show_value)s; the limit is {low:g} to {high:g} {unit}.",
            "max_value": f"{label} is %(show_value)s; the limit is {low:g} to {high:g} {unit}.",
            "required": f"{label} is missing; the limit is {low:g} to {high:g} {unit}.",
            "invalid": f"{label} is not a number; the limit is {low:g} to {high:g} {unit}.",
        },
        **more,
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
            ring = [[float(x), float(y)] for x, y in json.loads(text)]
        except (ValueError, TypeError, OverflowError, RecursionError) as fault:
            raise forms.ValidationError("The drawn outline cannot be read; draw it again.") from fault
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
        choices=[("floor", "The floor"), ("opening", "The foot side of the opening")],
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
                f"Margin towards the toes is {distal:g} mm; the limit is the margin all round, {margin:g} mm, or more.",
            )
        return data


def numbers_of(ring: list[list[float]]) -> dict[str, Any]:
    """A ring in the anatomical frame as the fields of `ShapeForm`; a ring that is an ellipse keeps no outline."""
    polygon = Polygon(ring)
    length, width, angle = _equivalent_ellipse(polygon)
    centre = polygon.centroid
    disc = affinity.scale(shapely.Point(0, 0).buffer(1.0, quad_segs=90), width / 2, length / 2)
    ellipse = affinity.translate(affinity.rotate(disc, angle, origin=(0, 0)), centre.x, centre.y)
    if polygon.symmetric_difference(ellipse).area <= NEAR * polygon.area:
        return _fields(centre.x, centre.y, length, width, angle, "")
    angle = _direction(polygon)
    local = affinity.rotate(polygon, -angle, origin=(0, 0))
    low_x, low_y, high_x, high_y = local.bounds
    middle = affinity.rotate(shapely.Point((low_x + high_x) / 2, (low_y + high_y) / 2), angle, origin=(0, 0))
    local = affinity.translate(local, -(low_x + high_x) / 2, -(low_y + high_y) / 2)
    width, length = high_x - low_x, high_y - low_y
    drawn = json.dumps([[round(x, 2), round(y, 2)] for x, y in local.exterior.coords[:-1]])
    return _fields(middle.x, middle.y, max(length, width), width, angle, drawn)


def _fields(x: float, y: float, length: float, width: float, angle: float, outline: str) -> dict[str, Any]:
    numbers = {"x_mm": x, "y_mm": y, "length_mm": length, "width_mm": width, "angle_deg": angle}
    return {**{name: round(value, 1) + 0.0 for name, value in numbers.items()}, "outline": outline}


def _upright(dx: float, dy: float) -> float:
    """Counter-clockwise angle from +y of an axis, -90 to 90; half a turn changes nothing. [deg]"""
    angle = (math.degrees(math.atan2(dy, dx)) - 90.0) % 180.0
    return round(angle - 180.0 if angle > 90.0 else angle, 1) + 0.0


def _equivalent_ellipse(polygon: Polygon) -> tuple[float, float, float]:
    """Length, width [mm] and angle [deg] of the ellipse with the polygon's second moments of area."""
    middle = polygon.centroid
    x, y = (np.asarray(polygon.exterior.coords) - (middle.x, middle.y)).T
    x0, x1, y0, y1 = x[:-1], x[1:], y[:-1], y[1:]
    cross = x0 * y1 - x1 * y0
    area = cross.sum() / 2.0
    xx = (cross * (x0 * x0 + x0 * x1 + x1 * x1)).sum() / 12.0
    yy = (cross * (y0 * y0 + y0 * y1 + y1 * y1)).sum() / 12.0
    xy = (cross * (x0 * y1 + 2 * x0 * y0 + 2 * x1 * y1 + x1 * y0)).sum() / 24.0
    spread, axes = np.linalg.eigh(np.array([[xx, xy], [xy, yy]]) / area)
    width, length = (float(value) for value in 4.0 * np.sqrt(spread))
    angle = 0.0 if length - width < NEAR * length else _upright(*axes[:, 1])  # a circle has no direction
    return length, width, angle


def _direction(polygon: Polygon) -> float:
    """Direction of the longest chord. [deg]"""
    hull = np.asarray(polygon.convex_hull.exterior.coords)
    apart = hull[:, None, :] - hull[None, :, :]
    dx, dy = apart.reshape(-1, 2)[int(np.argmax((apart**2).sum(axis=2)))]
    return _upright(dx, dy)
