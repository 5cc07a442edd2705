"""The four ways a lesion's course turns: closed, confirmed, opened again, ended otherwise."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils import timezone

from clinic.models import Lesion, LesionOutcome, Prescription
from clinic.record.forms.dates import DayField
from clinic.record.forms.entries import PickOne


class _Dated(forms.Form):
    """A form about one lesion with one day that cannot lie ahead."""

    day_field = ""
    version = forms.IntegerField(widget=forms.HiddenInput)

    def clean(self):
        data = super().clean() or {}
        day = data.get(self.day_field)
        if day and day > timezone.localdate():
            label = self.fields[self.day_field].label
            self.add_error(self.day_field, f"{label}: {day:%-d %b %Y} lies in the future.")
        return data


class CloseForm(_Dated):
    day_field = "closed_on"
    closed_on = DayField(label="Covered and dry on")
    device_stays = forms.BooleanField(
        label="The device stays on until healing is confirmed; the patient was told"
    )


class ConfirmForm(_Dated):
    day_field = "confirmed_on"
    confirmed_on = DayField(label="Seen again, covered and dry, on")
    footwear = forms.CharField(label="Footwear in use from now on", max_length=160)
    next_on = DayField(label="Next visit in remission")
    device = PickOne(label="The device", choices=[])
    device_words = forms.CharField(
        label="Taken off by whom, or why it is worn on", max_length=120, required=False
    )

    def __init__(self, *args: Any, worn: Prescription | None, **kwargs: Any) -> None:
        """`worn` is the device that no other open ulcer of the foot needs."""
        super().__init__(*args, **kwargs)
        if worn is None:
            del self.fields["device"], self.fields["device_words"]
            return
        ways = [("taken_off", "Taken off now")]
        if not worn.stays_closed:
            ways.append(("kept", "Worn on for the time being"))
        self.fields["device"].label = f"{worn.get_device_class_display()} on this foot"
        self.fields["device"].choices = ways  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("device") and not data.get("device_words", "").strip():
            self.add_error("device_words", "Taken off by whom, or why it is worn on: a few words are needed.")
        return data


class ReopenForm(_Dated):
    day_field = "reopened_on"
    reopened_on = DayField(label="Reopened on")


class EndForm(_Dated):
    day_field = "ended_on"
    outcome = forms.ChoiceField(
        label="Outcome",
        choices=[
            c for c in LesionOutcome.choices if c[0] not in (LesionOutcome.HEALED, LesionOutcome.IN_ERROR)
        ],
        widget=forms.RadioSelect,
    )
    joined_into = forms.ChoiceField(
        label="Joined which ulcer", required=False, help_text="It goes on; both histories stay."
    )
    ended_on = DayField(label="On")

    def __init__(self, *args: Any, others: Iterable[Lesion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._others = {str(one.pk): one for one in others}
        self.fields["joined_into"].choices = [  # type: ignore[attr-defined]
            ("", "None"),
            *((key, str(one)) for key, one in self._others.items()),
        ]

    def clean_joined_into(self) -> Lesion | None:
        return self._others.get(self.cleaned_data["joined_into"])
