"""What was wrong with the entry of an ulcer, where it is in truth, and what becomes of what hung on it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from clinic.case.writes.in_error import RightPlace
from clinic.guidelines.sites import SITES
from clinic.models import Lesion, Limb, Side
from clinic.record.forms.entries import PickOne

__all__ = ["LesionErrorForm"]


class LesionErrorForm(forms.Form):
    because = forms.CharField(label="What was wrong", max_length=200)
    instead = forms.ChoiceField(label="The correct ulcer is registered already", required=False)
    side = PickOne(label="Or: the correct foot", choices=Side.choices, untouched="Not given")
    place = forms.ChoiceField(
        label="Or: the correct place",
        choices=[("", "Not given"), *((place.id, place.words) for place in SITES.values())],
        required=False,
        help_text="Left empty, the place or the foot that is not given stays as it is.",
    )
    findings = PickOne(
        label="What was found and done there",
        choices=[("move", "Belongs to the correct ulcer"), ("stay", "Stays with this entry")],
        untouched="Not answered",
        help_text="Areas, photographs, tests, antibiotics, questions, reviews.",
    )
    device = PickOne(
        label="The running device",
        choices=[("move", "Is worn for the correct ulcer"), ("taken_off", "Was taken off")],
        untouched="Not answered",
    )
    device_by = forms.CharField(label="Taken off by whom", max_length=120, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, others: Sequence[Lesion], limbs: Sequence[Limb], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._others = {str(one.pk): one for one in others}
        self._limbs = {limb.side: limb for limb in limbs}
        self.fields["instead"].choices = [  # type: ignore[attr-defined]
            ("", "No"),
            *((key, str(one)) for key, one in self._others.items()),
        ]

    def right(self) -> RightPlace:
        data = self.cleaned_data
        return RightPlace(
            instead=self._others.get(data["instead"]),
            limb=self._limbs.get(data["side"]),
            place=data["place"],
        )

    def answers(self) -> dict[str, Any]:
        """What `lesion_in_error` takes beside the ulcer."""
        data = self.cleaned_data
        return {
            "because": data["because"],
            "right": self.right(),
            "findings_move": {"move": True, "stay": False}.get(data["findings"]),
            "device": data["device"],
            "device_by": data["device_by"],
            "expected_version": data["version"],
        }
