"""A podiatrist's judgement of the bone, and its mark as entered in error."""

from __future__ import annotations

from typing import Any

from django import forms

from clinic.models import BonePart, BoneState, BoneTreated
from clinic.record.forms.entries import PastDayField

PARTS = {
    "probe": ("Probe to bone", "Bone felt with a sterile blunt probe."),
    "xray": ("X-ray", "Cortex broken, bone eaten away or new bone; often normal in the first weeks."),
    "blood": ("CRP or ESR", "Raised without another cause."),
    "mri": ("MRI", ""),
    "sample": ("Bone sample", "Culture or histology of bone, never a swab of the ulcer."),
}


class BoneForm(forms.Form):
    judged_on = PastDayField(label="Judged on")
    probe = forms.ChoiceField(choices=BonePart.choices, widget=forms.RadioSelect)
    xray = forms.ChoiceField(choices=BonePart.choices, widget=forms.RadioSelect)
    blood = forms.ChoiceField(choices=BonePart.choices, widget=forms.RadioSelect)
    mri = forms.ChoiceField(choices=BonePart.choices, widget=forms.RadioSelect)
    sample = forms.ChoiceField(choices=BonePart.choices, widget=forms.RadioSelect)
    state = forms.ChoiceField(label="Bone infection", choices=BoneState.choices, widget=forms.RadioSelect)
    treated = forms.ChoiceField(
        label="Sign an end of treatment",
        choices=[("", "Nothing to sign"), *BoneTreated.choices],
        required=False,
        help_text="Lifts a bone infection that was judged probable or proven before.",
    )
    note = forms.CharField(
        label="In words",
        max_length=300,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Needed where the judgement is milder than the parts propose, or treatment is completed.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, (label, help_text) in PARTS.items():
            part = self.fields[name]
            part.label, part.help_text = label, help_text
            part.error_messages["required"] = f"{label}: supports it, against it, or not done; one is needed."

    @property
    def parts(self) -> list[forms.BoundField]:
        return [self[name] for name in PARTS]


class BoneErrorForm(forms.Form):
    in_error_because = forms.CharField(label="Why it was entered in error", max_length=200)
    version = forms.IntegerField(widget=forms.HiddenInput)
