"""Where a lesion is, what it is, when it began, and whether it came back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from clinic.guidelines.sites import SITES
from clinic.models import Cause, Lesion, Limb, Side, WoundKind
from clinic.record.forms.entries import PastDayField, PickOne

__all__ = ["LESION_FIELDS", "LesionEditForm", "LesionNewForm"]

#: What `lesions.writes.lesions` takes as the lesion's own fields.
LESION_FIELDS = ("place", "wound_kind", "cause", "onset_on", "first_seen_on")

_SURFACES = {
    "plantar": "Sole",
    "apex": "Toe tips",
    "dorsal": "Top",
    "interdigital": "Between the toes",
    "medial": "Inner side",
    "lateral": "Outer side",
    "posterior": "Back of the heel",
}


def grouped_places() -> list[tuple[str, Any]]:
    """The closed list of places under the side of the foot they are seen from."""
    groups: list[tuple[str, Any]] = [("", "Choose the place")]
    for surface, words in _SURFACES.items():
        groups.append((words, [(s.id, s.words) for s in SITES.values() if s.surface == surface]))
    return groups


class _LesionForm(forms.Form):
    side = PickOne(label="Foot", choices=Side.choices)
    place = forms.ChoiceField(label="Place on the foot", choices=grouped_places)
    wound_kind = PickOne(label="What it is", choices=WoundKind.choices)
    cause = PickOne(label="Cause", choices=Cause.choices)
    onset_on = PastDayField(label="Began on", help_text="About, as the patient tells it.")
    first_seen_on = PastDayField(label="First seen here on")

    def __init__(self, *args: Any, limbs: Sequence[Limb], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._limbs = {limb.side: limb for limb in limbs}

    def limb(self) -> Limb:
        return self._limbs[self.cleaned_data["side"]]

    def lesion(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in LESION_FIELDS}


class LesionNewForm(_LesionForm):
    another_here = forms.BooleanField(
        label="This is another ulcer at the same place", required=False, widget=forms.HiddenInput
    )
    recurs_of = forms.ChoiceField(label="Has a healed ulcer come back?", required=False)
    split_from = forms.ChoiceField(
        label="Has it split off an open ulcer?",
        required=False,
        help_text="Both go on, each with its own areas.",
    )
    first_presented_on = PastDayField(
        label="First presented anywhere on", help_text="To any professional, not only here."
    )
    referred_by = forms.CharField(label="Referred by", max_length=120, required=False)
    first_assessed_on = PastDayField(label="First expert assessment on")

    EPISODE = ("first_presented_on", "referred_by", "first_assessed_on")

    def __init__(
        self,
        *args: Any,
        healed: Sequence[Lesion],
        needs_episode: bool,
        standing: Sequence[Lesion] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self._standing = {str(lesion.pk): lesion for lesion in standing}
        if standing:
            self.fields["split_from"].choices = [  # type: ignore[attr-defined]
                ("", "No"),
                *((key, f"Yes, off {lesion}") for key, lesion in self._standing.items()),
            ]
        else:
            del self.fields["split_from"]
        self._healed = {str(lesion.pk): lesion for lesion in healed}
        self.needs_episode = needs_episode
        if not needs_episode:
            for name in self.EPISODE:
                del self.fields[name]
        if healed:
            self.fields["recurs_of"].choices = [  # type: ignore[attr-defined]
                ("", "Not answered"),
                ("new", "No, a new ulcer"),
                *(
                    (str(lesion.pk), f"Yes, {lesion}, healed {lesion.confirmed_on:%-d %b %Y}")
                    for lesion in healed
                ),
            ]
        else:
            del self.fields["recurs_of"]

    def answers(self) -> dict[str, Any]:
        """What `lesion_register` takes beside the limb."""
        data = self.cleaned_data
        came_back = data.get("recurs_of", "")
        return {
            **self.lesion(),
            "episode": {name: data[name] for name in self.EPISODE} if self.needs_episode else None,
            "recurs_of": self._healed.get(came_back),
            "recurrence_answered": bool(came_back),
            "another_here": data["another_here"],
            "split_from": self._standing.get(data.get("split_from", "")),
        }

    def ask_if_another(self) -> None:
        """Show the tick that lets a second wound at one place be registered knowingly."""
        self.fields["another_here"].widget = forms.CheckboxInput()


class LesionEditForm(_LesionForm):
    why = forms.CharField(label="Why it is corrected", max_length=100)
    version = forms.IntegerField(widget=forms.HiddenInput)
