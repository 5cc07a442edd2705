"""A foot's lengths and amputation, and dated findings on it. No finding is ever prefilled."""

from __future__ import annotations

from django import forms

from clinic.models import Amputation, Charcot, Deformity, Oedema, Pulse, Waveform
from clinic.record.forms.entries import NumberField, PastDayField, PickOne, YesNoField

__all__ = ["FINDING_GROUPS", "FindingForm", "LimbForm"]

LOOKED = "Not looked at"

#: How the page groups the findings; together the groups are all of them.
FINDING_GROUPS = {
    "Feeling": ("monofilament_tested", "monofilament_felt"),
    "Blood supply": (
        "dorsalis_pedis",
        "posterior_tibial",
        "ankle_pressure_mmhg",
        "ankle_index",
        "toe_pressure_mmhg",
        "toe_index",
        "tcpo2_mmhg",
        "toe_unmeasurable_because",
        "waveform",
        "newly_lost_pulse",
        "newly_cold",
        "rest_pain",
        "dead_tissue",
    ),
    "Shape": ("deformity", "rigid_deformity", "flexible_toe_deformity", "charcot"),
    "Leg and skin": (
        "oedema",
        "fragile_skin",
        "calf_girth_mm",
        "bulky_calf",
        "dvt_suspected",
        "ulcer_on_same_leg",
    ),
    "History": ("previous_ulcer",),
}


class LimbForm(forms.Form):
    foot_length_mm = NumberField(
        label="Foot length",
        low=120,
        high=350,
        places=1,
        unit="mm",
        required=False,
        help_text="Heel to the longest toe, standing",
    )
    foot_breadth_mm = NumberField(
        label="Foot breadth",
        low=40,
        high=160,
        places=1,
        unit="mm",
        required=False,
        help_text="Across the widest part of the ball, standing",
    )
    amputation = PickOne(label="Previous amputation", choices=Amputation.choices)
    version = forms.IntegerField(widget=forms.HiddenInput)


class FindingForm(forms.Form):
    found_on = PastDayField(label="Found on")
    monofilament_tested = NumberField(label="Monofilament sites tested", low=1, high=10, required=False)
    monofilament_felt = NumberField(label="Monofilament sites felt", low=0, high=10, required=False)
    dorsalis_pedis = PickOne(label="Dorsalis pedis pulse", choices=Pulse.choices, untouched=LOOKED)
    posterior_tibial = PickOne(label="Posterior tibial pulse", choices=Pulse.choices, untouched=LOOKED)
    ankle_pressure_mmhg = NumberField(label="Ankle pressure", low=0, high=300, unit="mmHg", required=False)
    ankle_index = NumberField(label="Ankle index", low=0, high=3, places=2, required=False)
    toe_pressure_mmhg = NumberField(label="Toe pressure", low=0, high=250, unit="mmHg", required=False)
    toe_index = NumberField(label="Toe index", low=0, high=2, places=2, required=False)
    tcpo2_mmhg = NumberField(label="TcPO2", low=0, high=150, unit="mmHg", required=False)
    toe_unmeasurable_because = forms.CharField(
        label="No toe pressure because",
        max_length=200,
        required=False,
        help_text="Counts when a podiatrist says it; TcPO2 then stands in its place.",
    )
    waveform = PickOne(
        label="Doppler waveform",
        choices=Waveform.choices,
        untouched=LOOKED,
        help_text="The worse of the two pedal arteries.",
    )
    newly_lost_pulse = YesNoField(label="A pulse felt before is lost")
    newly_cold = YesNoField(label="Foot newly cold, pale or blue")
    rest_pain = YesNoField(label="New pain at rest", untouched="Not asked")
    dead_tissue = YesNoField(label="Black or dead tissue")
    deformity = PickOne(label="Deformity", choices=Deformity.choices, untouched=LOOKED)
    rigid_deformity = YesNoField(label="Rigid, bony deformity")
    flexible_toe_deformity = YesNoField(label="Flexible toe deformity")
    charcot = PickOne(label="Charcot foot", choices=Charcot.choices, untouched=LOOKED)
    oedema = PickOne(label="Oedema", choices=Oedema.choices, untouched=LOOKED)
    fragile_skin = YesNoField(label="Fragile skin")
    calf_girth_mm = NumberField(label="Calf girth", low=150, high=800, unit="mm", required=False)
    bulky_calf = YesNoField(label="Calf too bulky for a prefabricated device")
    dvt_suspected = YesNoField(label="Thrombosis of the leg suspected")
    ulcer_on_same_leg = YesNoField(label="Other wound or graft where a knee-high device lies")
    previous_ulcer = YesNoField(label="Ulcer on this foot before", untouched="Not asked")
    note = forms.CharField(label="Note", max_length=300, required=False)

    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields under the headings of the page."""
        return [(heading, [self[name] for name in names]) for heading, names in FINDING_GROUPS.items()]
