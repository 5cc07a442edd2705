"""Registering a person, correcting the record, and what is asked once per person."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from clinic.models import DiabetesType, Mobility, PersonState, Site, WeighedHow
from clinic.record.forms.entries import NumberField, PastDayField, PickOne, YesNoField

__all__ = [
    "PERSON_FIELDS",
    "CircumstancesForm",
    "PersonEditForm",
    "PersonNewForm",
    "PersonStateForm",
    "WeightForm",
]

#: What `people.writes.people` takes as the person's own fields.
PERSON_FIELDS = (
    "record_number",
    "given_name",
    "family_name",
    "birth_date",
    "diabetes_type",
    "telephone",
    "second_contact",
    "language",
    "interpreter",
    "allergies",
    "dialysis",
)


class PersonForm(forms.Form):
    record_number = forms.CharField(label="Record number", max_length=20)
    given_name = forms.CharField(label="Given name", max_length=80)
    family_name = forms.CharField(label="Family name", max_length=80)
    birth_date = PastDayField(label="Birth date")
    diabetes_type = forms.ChoiceField(
        label="Diabetes", choices=DiabetesType.choices, initial=DiabetesType.NOT_KNOWN
    )
    telephone = forms.CharField(label="Telephone", max_length=40, required=False)
    second_contact = forms.CharField(
        label="Second contact (name and telephone)", max_length=120, required=False
    )
    language = forms.CharField(label="Language", max_length=60, required=False)
    interpreter = forms.BooleanField(label="Needs an interpreter", required=False)
    allergies = forms.CharField(
        label="Allergies", max_length=300, required=False, help_text="Dressings, tape and antibiotics too."
    )
    dialysis = YesNoField(label="On dialysis", untouched="Not asked")

    def person(self) -> dict[str, Any]:
        """The person's own fields, as the write takes them."""
        return {name: self.cleaned_data[name] for name in PERSON_FIELDS}


class PersonNewForm(PersonForm):
    site = forms.TypedChoiceField(label="Clinic", coerce=int)
    kg = NumberField(label="Weight", low=20, high=300, places=1, unit="kg", required=False)
    how = forms.ChoiceField(label="Weighed how", choices=[("", "—"), *WeighedHow.choices], required=False)
    measured_on = PastDayField(label="Weighed on", required=False)
    another_person = forms.BooleanField(
        label="I looked: this is another patient", required=False, widget=forms.HiddenInput
    )

    def __init__(self, *args: Any, sites: Sequence[Site], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["site"]
        field.choices = [(site.pk, site.name) for site in sites]  # type: ignore[attr-defined]
        if len(sites) == 1:
            field.widget = forms.HiddenInput()
            field.initial = sites[0].pk

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("kg") is not None and not cleaned.get("how"):
            self.add_error("how", "A weight needs how it was taken.")
        if cleaned.get("kg") is None and cleaned.get("how") and "kg" not in self.errors:
            self.add_error("kg", "Weighed how is given but the weight is empty.")
        return cleaned

    def ask_if_another(self) -> None:
        """Show the tick that lets a likely duplicate be registered knowingly."""
        self.fields["another_person"].widget = forms.CheckboxInput()
        self.add_error(
            "another_person", "Look at the patients above first, then tick this or leave the page."
        )


class PersonEditForm(PersonForm):
    version = forms.IntegerField(widget=forms.HiddenInput)
    why = forms.CharField(label="Why it is changed", max_length=100, required=False)


class PersonStateForm(forms.Form):
    #: A merge alone writes "merged".
    state = PickOne(
        label="This patient", choices=[pair for pair in PersonState.choices if pair[0] != PersonState.MERGED]
    )
    state_on = PastDayField(label="Since", required=False, help_text="The day of the move or of the death.")
    version = forms.IntegerField(widget=forms.HiddenInput)


class WeightForm(forms.Form):
    kg = NumberField(label="Weight", low=20, high=300, places=1, unit="kg")
    how = PickOne(label="Weighed how", choices=WeighedHow.choices)
    measured_on = PastDayField(label="Weighed on")


class CircumstancesForm(forms.Form):
    asked_on = PastDayField(label="Asked on")
    high_falls_risk = YesNoField(label="High risk of falling", untouched="Not asked")
    falls_note = forms.CharField(label="How this was judged", max_length=200, required=False)
    mobility = PickOne(label="Mobility", choices=Mobility.choices, untouched="Not asked")
    poor_sight = YesNoField(label="Poor sight", untouched="Not asked")
    drives_or_job_at_risk = YesNoField(label="Drives, or a job at risk", untouched="Not asked")
    help_at_home = YesNoField(label="Has help at home", untouched="Not asked")
    cannot_attend_weekly = YesNoField(label="Cannot attend every week", untouched="Not asked")
    declines_non_removable = YesNoField(label="Declines a non-removable device", untouched="Not asked")
    nobody_to_notice = YesNoField(
        label="Nobody would notice trouble in time",
        untouched="Not asked",
        help_text="Neither the patient nor anybody at home.",
    )
    claustrophobia = YesNoField(label="Cannot bear to be closed in", untouched="Not asked")
    material_allergy = YesNoField(label="Reacts to a material of the device", untouched="Not asked")

    #: The answers; the rest is when and how.
    ANSWERS = (
        "high_falls_risk",
        "mobility",
        "poor_sight",
        "drives_or_job_at_risk",
        "help_at_home",
        "cannot_attend_weekly",
        "declines_non_removable",
        "nobody_to_notice",
        "claustrophobia",
        "material_allergy",
    )
