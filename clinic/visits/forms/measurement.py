"""One lesion's part of the weekly page. Every field starts empty; what was found last stands beside it."""

from __future__ import annotations

import json
import re
from dataclasses import fields
from typing import Any

from django import forms

from clinic.capture.writes.measurement import (
    AreaTold,
    LesionFindings,
    WoundArea,
    parts_of,
    redness_check,
    wound_area,
)
from clinic.models import (
    INFECTION_SIGNS,
    Debridement,
    Depth,
    Exudate,
    Measurement,
    OtherCause,
    Tissue,
    Trace,
    UlcerFindings,
)
from clinic.record.errors import Refused
from clinic.record.forms.chips import FIELD, NONE_OF_THESE, YesNoChips, chips, drawn_by
from clinic.record.forms.findings import findings_of, words_of
from clinic.record.forms.refusals import hold, show
from clinic.visits.reads import LesionSheet, infection_words

__all__ = ["MeasurementForm", "OutlineField"]

MOST_POINTS = 2000
#: The fields that together tell the area. `outline` is the one not named as its column.
AREA = tuple("outline" if column.name == "outline_mm" else column.name for column in fields(AreaTold))
#: Findings whose field has the column's name; two columns are asked in the one field `infection`.
SEEN = tuple(
    seen.name for seen in fields(UlcerFindings) if seen.name not in ("infection_looked", "infection_signs")
)


class OutlineField(forms.CharField):
    """Points of a traced outline, in millimetres: one `x, y` a line (or `;` between them), or a JSON list."""

    widget = forms.Textarea(attrs={"rows": 4, "spellcheck": "false", "autocomplete": "off"})

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return ()
        if text.startswith("["):
            return self._json(text)
        points = self._lines(text)
        if len(points) > MOST_POINTS:
            raise forms.ValidationError(
                f"Outline: {len(points)} points given; at most {MOST_POINTS} are allowed."
            )
        return tuple(points)

    def _lines(self, text: str) -> list[tuple[float, float]]:
        points = []
        for number, part in enumerate(filter(str.strip, re.split(r"[\n;]", text)), start=1):
            pair = re.split(r"[,\s]+", part.strip())
            try:
                x, y = (float(one) for one in pair)
            except ValueError:
                raise forms.ValidationError(
                    f"Outline: point {number} is “{part.strip()[:30]}”; two numbers in mm are needed, such "
                    "as 12.5, 30."
                ) from None
            points.append((x, y))
        return points

    def _json(self, text: str) -> Any:
        """A list of points, or parts with holes as the tracing page sends them."""
        try:
            parts = parts_of(json.loads(text))
        except (ValueError, RecursionError):
            raise forms.ValidationError(
                "Outline: not a list of points; [[x, y], [x, y], …] in mm is needed."
            ) from None
        except Refused as refused:
            raise forms.ValidationError(refused.message) from None
        return parts[0][0] if len(parts) == 1 and len(parts[0]) == 1 else parts

    def prepare_value(self, value: Any) -> Any:
        """A stored outline is shown as it would be typed, to the last digit: showing it never changes it."""
        if isinstance(value, list | tuple):
            if value and not isinstance(value[0][0], int | float):
                return json.dumps(value)
            return "\n".join(f"{x!r}, {y!r}" for x, y in value)
        return value


class MeasurementForm(forms.Form):
    length_mm = forms.DecimalField(label="Length (mm)", required=False, max_digits=5, decimal_places=1)
    width_mm = forms.DecimalField(label="Width (mm)", required=False, max_digits=5, decimal_places=1)
    outline = OutlineField(
        label="Outline points (mm)",
        required=False,
        help_text="One point a line, x and y in mm, such as 12.5, 30. The last joins the first.",
    )
    covered_dry = forms.BooleanField(label="Fully covered and dry", required=False)
    not_measured_because = forms.CharField(label="Not measurable because", required=False, max_length=200)
    debridement = chips(
        "Measured",
        [
            (Debridement.BEFORE.value, "Before, or without, debridement"),
            (Debridement.AFTER.value, "After debridement"),
        ],
    )
    depth = chips("Deepest tissue seen", Depth.choices)
    tissue = chips("Main tissue", Tissue.choices)
    exudate = chips("Exudate", Exudate.choices)
    infection = forms.MultipleChoiceField(
        label="Signs of infection",
        choices=[*INFECTION_SIGNS.items(), (NONE_OF_THESE, "None of these")],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Looked: device and dressing off, all five looked for, the wound probed.",
    )
    redness_mm = forms.IntegerField(label="Redness (mm)", required=False, min_value=1, max_value=300)
    deep_infection = YesNoChips(label="Deep infection or abscess")
    probe_to_bone = YesNoChips(label="Probe touches bone")
    unwell = YesNoChips(label="Fever or unwell")
    cavity = YesNoChips(label="Deeper than wide, or undermined")
    other_cause = chips("Other cause of the signs", OtherCause.choices)
    photo = forms.FileField(
        label="Photo",
        required=False,
        widget=forms.FileInput(
            attrs={"accept": "image/jpeg,image/png,image/heic,image/heif", "capture": "environment"}
        ),
    )
    trace = forms.IntegerField(required=False, widget=forms.HiddenInput)
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    #: The area told, once the form is valid.
    area: WoundArea | None = None
    #: The trace that was just drawn for this visit and stands in the outline.
    traced: Trace | None = None

    def __init__(
        self,
        data: Any = None,
        files: Any = None,
        *,
        sheet: LesionSheet,
        photo: bool = False,
        initial: dict[str, Any] | None = None,
    ) -> None:
        super().__init__(data, files, prefix=sheet.prefix, label_suffix="", initial=initial)
        self.sheet = sheet
        if not photo:
            del self.fields["photo"]
        for name in ("outline", "trace"):
            if initial and initial.get("fresh_trace"):
                self.fields[name].widget.attrs["data-fresh"] = ""
        self._show_last(sheet)
        drawn_by(self, FIELD, *self.fields)

    @property
    def touched(self) -> bool:
        """Whether anything was typed, chosen or attached; the version of a stored row is nothing typed."""
        names = [self.add_prefix(name) for name in self.fields if name != "version"]
        return any(self.data.get(name) or self.files.get(name) for name in names)

    def _show_last(self, sheet: LesionSheet) -> None:
        """Last values in soft ink beside the empty fields."""
        for name in ("length_mm", "width_mm"):
            self.fields[name].widget.attrs.update({"inputmode": "decimal", "step": "0.1", "min": "0"})
        beside: dict[str, str] = {}
        area, last = sheet.last_area, sheet.last
        if area is not None and not area.covered_dry and area.length_mm is not None:
            beside["length_mm"], beside["width_mm"] = f"{area.length_mm}", f"{area.width_mm}"
        if area is not None and not area.covered_dry:
            beside["debridement"] = area.get_debridement_display().lower()
        if last is not None:
            beside |= {name: words_of(last, name) for name in SEEN}
            beside["infection"] = infection_words(last)
        for name, words in beside.items():
            self.fields[name].last = words  # type: ignore[attr-defined]

    def clean_infection(self) -> list[str]:
        ticked = self.cleaned_data["infection"]
        if NONE_OF_THESE in ticked and len(ticked) > 1:
            raise forms.ValidationError(
                "Signs of infection: “none of these” is ticked beside a sign; take one of them away."
            )
        return ticked

    def clean(self) -> None:
        if self.errors:
            return
        found = self.findings()
        try:
            self.area = wound_area(found, self.sheet.last_area)
        except Refused as refused:
            show(self, refused)
        hold(self, redness_check, "redness_mm", signs=found.infection_signs)

    def preview(self) -> tuple[WoundArea | None, str]:
        """Area of what is typed so far, and what is still wrong with it; nothing typed gives neither."""
        self.is_valid()
        data = self.cleaned_data
        faulty = [name for name in ("length_mm", "width_mm", "outline") if name in self.errors]
        typed = AreaTold(
            covered_dry=data.get("covered_dry", False),
            outline_mm=data.get("outline", ()),
            length_mm=data.get("length_mm"),
            width_mm=data.get("width_mm"),
            # The figure does not depend on the state; the comparison does, and waits for it.
            debridement=data.get("debridement") or Debridement.BEFORE,
        )
        nothing = not (typed.covered_dry or typed.outline_mm or typed.length_mm or typed.width_mm or faulty)
        if nothing:
            return None, ""
        try:
            return wound_area(typed, self.sheet.last_area), ""
        except Refused as refused:
            words = self.errors[faulty[0]][0] if faulty else refused.message
            return None, str(words)

    @property
    def traced_cm2(self) -> float | None:
        return None if self.traced is None else self.traced.area_mm2 / 100

    def _trace(self) -> Trace | None:
        """The trace on a photo of this lesion that the outline came from."""
        number = self.cleaned_data.get("trace")
        if not number:
            return None
        traces = Trace.objects.select_related("scale__photo").filter(scale__photo__lesion=self.sheet.lesion)
        return traces.filter(pk=number).first()

    def findings(self) -> LesionFindings:
        """What was typed, as the write takes it."""
        data = self.cleaned_data
        signs = tuple(sign for sign in data["infection"] if sign != NONE_OF_THESE)
        return findings_of(
            self,
            LesionFindings,
            lesion=self.sheet.lesion,
            outline_mm=data["outline"],
            trace=self._trace(),
            infection_looked=bool(data["infection"]),
            infection_signs=signs,
        )

    @staticmethod
    def stored(row: Measurement) -> dict[str, Any]:
        """A stored row as the fields of a correction show it."""
        area = {name: getattr(row, name) for name in AREA if name != "outline"}
        if row.outline_mm:
            # Its diameters were read off the outline, not typed.
            area |= {"length_mm": None, "width_mm": None}
        seen = MeasurementForm.seen(row)
        return {**area, "outline": row.outline_mm, "trace": row.trace_id, **seen, "version": row.version}

    @staticmethod
    def seen(row: Measurement) -> dict[str, Any]:
        """What a stored row says beside the area, by the form's fields."""
        infection = list(row.infection_signs) or ([NONE_OF_THESE] if row.infection_looked else [])
        return {**{name: getattr(row, name) for name in SEEN}, "infection": infection}
