"""One lesion's part of the weekly page. Every field starts empty; what was found last stands beside it."""

from __future__ import annotations

import json
from dataclasses import fields
from typing import Any

from django import forms

from clinic.capture.writes.measurement import (
    LARGEST_DIAMETER_MM,
    MOST_POINTS,
    AreaTold,
    LesionFindings,
    WoundArea,
    outline_read,
    redness_check,
    wound_area,
)
from clinic.models import (
    INFECTION_SIGNS,
    Debridement,
    Depth,
    Edge,
    Exudate,
    Measurement,
    OtherCause,
    SurroundingSkin,
    Tissue,
    Trace,
    UlcerFindings,
)
from clinic.record.dates import day_words
from clinic.record.errors import Refused
from clinic.record.forms.chips import FIELD, NONE_OF_THESE, YesNoChips, chips, drawn_by, filled
from clinic.record.forms.findings import findings_of, words_of
from clinic.record.forms.numbers import NumberField
from clinic.record.forms.refusals import hold, show
from clinic.record.forms.touches import TouchField, touches_answer, touches_fit
from clinic.visits.reads import LesionSheet, infection_words
from offload.core.intake import IntakeError, points_of

__all__ = ["MeasurementForm", "OutlineField"]

#: The fields that together tell the area. `outline` is the one not named as its column.
AREA = tuple("outline" if column.name == "outline_mm" else column.name for column in fields(AreaTold))
#: Findings whose field has the column's name; two columns are asked in the one field `infection`.
SEEN = tuple(
    seen.name for seen in fields(UlcerFindings) if seen.name not in ("infection_looked", "infection_signs")
)


#: Typed one after the other on the number keyboard.
MILLIMETRES = ("length_mm", "width_mm", "depth_mm", "undermining_mm")


def _empty_text() -> forms.TextInput:
    """A text field of which the page can see that nothing is typed."""
    return forms.TextInput(attrs={"placeholder": " "})


class OutlineField(forms.CharField):
    """Points of a traced outline, in millimetres: one `x, y` a line (or `;` between them), or a JSON list."""

    widget = forms.Textarea(attrs={"rows": 4, "spellcheck": "false", "autocomplete": "off"})

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return ()
        try:
            if not text.startswith("["):
                return tuple(points_of(text, MOST_POINTS))
            parts = outline_read(text)
        except IntakeError as fault:
            raise forms.ValidationError(f"Outline: {fault}.") from fault
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


def _ruled(label: str, low: float, high: float, **more: Any) -> NumberField:
    """Four stand in one line under the hand: an echo stands only where it was read otherwise than typed."""
    return NumberField(label=label, low=low, high=high, unit="mm", required=False, quiet=True, **more)


def _diameter(label: str) -> NumberField:
    return _ruled(label, 0.1, float(LARGEST_DIAMETER_MM), places=1)


class MeasurementForm(forms.Form):
    length_mm = _diameter("Length")
    width_mm = _diameter("Width")
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
    tissue = chips("Wound bed", Tissue.choices)
    edge = chips("Edge", Edge.choices)
    dressing = forms.CharField(label="Dressing", required=False, max_length=200, widget=_empty_text())
    unchanged = forms.BooleanField(label="Wound bed, edge and dressing unchanged", required=False)
    exudate = chips("Exudate", Exudate.choices)
    depth_mm = _ruled("Depth", 0, 100, kind=int)
    undermining_mm = _ruled("Undermined", 0, 100, kind=int)
    nothing_found = TouchField(
        {
            "infection": ("swelling, redness, tenderness, warmth, pus", NONE_OF_THESE),
            "deep_infection": ("deep infection or abscess", "no"),
            "unwell": ("fever or unwell", "no"),
            "odour": ("odour", "no"),
            "surrounding_skin": ("changed skin around", SurroundingSkin.HEALTHY.value),
        },
        lead="Device and dressing off, none of these: ",
    )
    infection = forms.MultipleChoiceField(
        label="Signs of infection",
        choices=[*INFECTION_SIGNS.items(), (NONE_OF_THESE, "None of these")],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Looked: device and dressing off, all five looked for, the ulcer probed.",
    )
    redness_mm = NumberField(label="Redness", low=1, high=300, unit="mm", kind=int, required=False)
    deep_infection = YesNoChips(label="Deep infection or abscess")
    probe_to_bone = YesNoChips(label="Probe to bone")
    unwell = YesNoChips(label="Fever or unwell")
    odour = YesNoChips(label="Odour")
    surrounding_skin = chips("Skin around", SurroundingSkin.choices)
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
        correcting: bool = False,
    ) -> None:
        super().__init__(data, files, prefix=sheet.prefix, label_suffix="", initial=initial)
        self.sheet = sheet
        if not photo:
            del self.fields["photo"]
        for name in ("outline", "trace"):
            if initial and initial.get("fresh_trace"):
                self.fields[name].widget.attrs["data-fresh"] = ""
        self._show_last(sheet)
        if correcting or sheet.unchanged_since is None:
            del self.fields["unchanged"]
        else:
            since = day_words(sheet.unchanged_since)
            self.fields[
                "unchanged"
            ].label = f"Wound bed, edge and dressing unchanged since {since}: {sheet.described_words}"
        if correcting:
            del self.fields["nothing_found"]
        drawn_by(self, FIELD, *self.fields)
        touches_fit(self)

    @property
    def touched(self) -> bool:
        """Whether anything was typed, chosen or attached; the version of a stored row is nothing typed."""
        names = [self.add_prefix(name) for name in self.fields if name != "version"]
        return any(self.data.get(name) or self.files.get(name) for name in names)

    def _show_last(self, sheet: LesionSheet) -> None:
        """Last values in soft ink beside the empty fields."""
        for name in (*MILLIMETRES, "redness_mm"):
            self.fields[name].widget.attrs["placeholder"] = " "
        for name in MILLIMETRES:
            self.fields[name].widget.attrs["enterkeyhint"] = "next"
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
        touches_answer(self)
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
    def singles_open(self) -> bool:
        """Whether what one touch may answer stands open: answered one by one, or a correction."""
        if "nothing_found" not in self.fields:
            return True
        return not self["nothing_found"].value() and filled(
            self,
            "redness_mm",
            *self.fields["nothing_found"].answers,  # type: ignore[attr-defined]
        )

    @property
    def described_open(self) -> bool:
        return filled(self, "tissue", "edge", "dressing")

    @property
    def more_open(self) -> bool:
        hidden = () if self.traced else ("outline",)
        return filled(self, *hidden, "not_measured_because", "cavity", "other_cause")

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
