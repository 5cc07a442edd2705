"""A foam by its measured points."""

from __future__ import annotations

from django import forms

from clinic.record.forms.dates import DayField
from clinic.record.forms.entries import NumberField

__all__ = ["STRAINS", "FoamForm"]

#: Strains at which a compression test is usually read [%].
STRAINS = (10, 25, 40, 50)


class FoamForm(forms.Form):
    label = forms.CharField(
        label="Name in this clinic", max_length=80, help_text="A generic name; no maker's name is needed."
    )
    hardness = forms.CharField(
        label="Hardness with its scale",
        max_length=40,
        required=False,
        help_text="A label only. Nothing is computed from it.",
    )
    stress_10 = NumberField(
        label="Stress at 10 % strain", low=0.1, high=5000, places=2, unit="kPa", required=False
    )
    stress_25 = NumberField(label="Stress at 25 % strain", low=0.1, high=5000, places=2, unit="kPa")
    stress_40 = NumberField(
        label="Stress at 40 % strain", low=0.1, high=5000, places=2, unit="kPa", required=False
    )
    stress_50 = NumberField(label="Stress at 50 % strain", low=0.1, high=5000, places=2, unit="kPa")
    source = forms.CharField(label="Who measured it, and how", max_length=200)
    measured_on = DayField(label="Measured on")

    @property
    def stress_kpa(self) -> dict[int, float]:
        """Stress at each strain that was measured."""
        found = {strain: self.cleaned_data.get(f"stress_{strain}") for strain in STRAINS}
        return {strain: float(value) for strain, value in found.items() if value is not None}
