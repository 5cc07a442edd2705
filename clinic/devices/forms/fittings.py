"""The fitting record: the clinic's steps for this device, each answered by hand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from clinic.devices.forms.prescriptions import Dated
from clinic.devices.writes.fittings import LONGEST_BANDAGE_CM, FittingFindings
from clinic.models import StepAnswer
from clinic.record.forms.dates import DayField
from clinic.record.forms.entries import NumberField


class FitForm(Dated):
    day_field = "fitted_on"
    fitted_on = DayField(label="Fitted on")
    sealed = forms.BooleanField(label="Sealed: the patient cannot take it off", required=False)
    open_by = DayField(label="Open by", required=False)
    bandage_below_knee_cm = NumberField(
        label="Bandage ends below the knee",
        low=0,
        high=float(LONGEST_BANDAGE_CM),
        places=1,
        unit="cm",
        required=False,
    )
    watch_points = forms.CharField(
        label="Skin to check at the next visit",
        max_length=300,
        required=False,
        help_text="The places at risk under this device, such as shin edge, ankle bones, little toe.",
    )
    review_on = DayField(label="Next review", required=False)
    note = forms.CharField(label="Note; why a step does not apply", max_length=300, required=False)

    def __init__(self, *args: Any, steps: Sequence[str], stays_on: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.words = tuple(steps)
        for n, step in enumerate(self.words):
            self.fields[f"step_{n}"] = forms.ChoiceField(
                label=step, choices=StepAnswer.choices, required=False, widget=forms.RadioSelect
            )
        if not stays_on:
            for name in ("sealed", "open_by", "bandage_below_knee_cm"):
                del self.fields[name]

    @property
    def steps(self) -> list[forms.BoundField]:
        return [self[f"step_{n}"] for n in range(len(self.words))]

    @property
    def rest(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name != "version" and not name.startswith("step_")]

    @property
    def found(self) -> FittingFindings:
        """What was done; call on a valid form."""
        data = self.cleaned_data
        return FittingFindings(
            steps={step: data[f"step_{n}"] for n, step in enumerate(self.words) if data[f"step_{n}"]},
            bandage_below_knee_cm=data.get("bandage_below_knee_cm"),
            watch_points=data["watch_points"],
            review_on=data["review_on"],
            note=data["note"],
        )
