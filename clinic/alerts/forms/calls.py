"""A call that came in: what it is about, the red-flag questions, what was done."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import forms

from clinic.alerts.forms.flags import RedFlagQuestions
from clinic.models import CallAbout, CallDone, Person

__all__ = ["CallDoneForm", "CallForm", "CallOfForm"]

DONE_NOTE = "What was said or agreed"


class CallForm(RedFlagQuestions):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})

    caller = forms.CharField(label="Who calls, if not the patient", max_length=80, required=False)
    about = forms.ChoiceField(label="About", choices=CallAbout.choices, widget=forms.RadioSelect)
    words = forms.CharField(label="What they say", max_length=300, widget=forms.Textarea(attrs={"rows": 2}))
    done = forms.ChoiceField(
        label="What was done about the call",
        choices=CallDone.choices,
        required=False,
        widget=forms.RadioSelect,
    )
    done_note = forms.CharField(
        label=DONE_NOTE, required=False, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )


class CallDoneForm(forms.Form):
    """What was done about a call that stands on Today."""

    done = forms.ChoiceField(
        label="What was done about the call", choices=CallDone.choices, widget=forms.RadioSelect
    )
    done_note = forms.CharField(label=DONE_NOTE, max_length=300, widget=forms.Textarea(attrs={"rows": 2}))
    version = forms.IntegerField(widget=forms.HiddenInput)


class CallOfForm(forms.Form):
    """Whose call it is, asked where no person's page is open."""

    person = forms.ChoiceField(label="Who calls, or about whom", choices=[])

    def __init__(self, *args: Any, people: Iterable[Person], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].choices = [  # type: ignore[attr-defined]
            ("", "Choose"),
            *(
                (str(one.pk), f"{one.family_name}, {one.given_name}, no. {one.record_number}")
                for one in people
            ),
        ]
