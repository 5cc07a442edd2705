"""Taking a visit back, or giving it to the person it belongs to: what goes along, what stays, and why."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django import forms

from clinic.models import Lesion, Person, Visit
from clinic.record.forms.dates import DayField
from clinic.visits.forms.visits import PlainForm
from clinic.visits.traces_left import VisitTrace

__all__ = ["InErrorForm", "MoveForm", "MoveToForm"]

BACK, KEEP = "back", "keep"


class TraceChoices(PlainForm):
    """For each thing a visit left that can stay without it: taken back or kept. What was entered apart is
    answered by hand; what the visit itself wrote goes unless it is kept.
    """

    kept_because = forms.CharField(label="Why it is kept, if anything is", required=False, max_length=80)

    def __init__(self, *args: Any, traces: Iterable[VisitTrace] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.choices = [one for one in traces if one.can_go and not one.goes]
        for one in self.choices:
            self.fields[one.key] = forms.ChoiceField(
                label=f"{one.kind}: {one.words}",
                choices=[(BACK, "Take back"), (KEEP, "Keep")],
                widget=forms.RadioSelect,
                required=not one.own,
                initial=BACK if one.own else None,
                error_messages={"required": f"{one.kind}: say whether it is taken back too or kept."},
            )
        self.order_fields(["reason"])

    def clean(self) -> None:
        if self.keep and not self.cleaned_data.get("kept_because", "").strip():
            self.add_error("kept_because", "Why it is kept: missing; say why what stays is kept.")

    @property
    def answers(self) -> list[Any]:
        return [self[one.key] for one in self.choices]

    @property
    def keep(self) -> dict[str, str]:
        because = self.cleaned_data.get("kept_because", "")
        return {one.key: because for one in self.choices if self.cleaned_data.get(one.key) == KEEP}

    @property
    def take(self) -> list[str]:
        return [one.key for one in self.choices if self.cleaned_data.get(one.key) == BACK]


class InErrorForm(TraceChoices):
    reason = forms.CharField(
        label="Why it was entered in error", max_length=100, widget=forms.Textarea(attrs={"rows": 2})
    )
    version = forms.IntegerField(widget=forms.HiddenInput)


class MoveToForm(PlainForm):
    """Whose visit it was, by the record number: read from the person's papers, not picked from a list."""

    record_number = forms.CharField(
        label="Record number of the right patient",
        max_length=20,
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )


class MoveForm(TraceChoices):
    """Which lesion of the right person each one was, and what else of the visit speaks of them."""

    device_opened = forms.BooleanField(
        label="The non-removable device was opened at the visit", required=False
    )
    next_on = DayField(label="Next visit", required=False)
    reason = forms.CharField(
        label="Why it belongs to them", max_length=100, widget=forms.Textarea(attrs={"rows": 2})
    )
    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(
        self,
        *args: Any,
        visit: Visit,
        person: Person,
        found: Sequence[Lesion],
        open_lesions: Sequence[Lesion],
        sealed: bool,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, initial={"version": visit.version, "next_on": visit.next_on}, **kwargs)
        # The bar of the page names the wrong person: each question names the right one.
        name = person.full_name
        self.fields["device_opened"].label = f"The non-removable device of {name} was opened at the visit"
        self.fields["next_on"].label = f"Next visit of {name}"
        self.fields["reason"].label = f"Why it belongs to {name}"
        self.fields["reason"].error_messages["required"] = (
            f"Why it belongs to {name}: a few words are needed."
        )
        self.found, self.targets = list(found), {str(one.pk): one for one in open_lesions}
        if not sealed:
            del self.fields["device_opened"]
        for lesion in self.found:
            self.fields[f"lesion-{lesion.pk}"] = forms.ChoiceField(
                label=f"What was found at ulcer {lesion.label} ({lesion.where}): which ulcer of {name}",
                choices=[
                    ("", "Choose"),
                    *((key, f"Ulcer {one.label}, {one.where}") for key, one in self.targets.items()),
                ],
                error_messages={"required": f"Ulcer {lesion.label}: choose which ulcer of {name} it was."},
            )
        self.order_fields([*(f"lesion-{one.pk}" for one in self.found), "device_opened", "next_on", "reason"])

    @property
    def placed(self) -> list[Any]:
        return [self[f"lesion-{one.pk}"] for one in self.found]

    @property
    def lesions(self) -> dict[int, Lesion]:
        return {
            one.pk: self.targets[self.cleaned_data[f"lesion-{one.pk}"]]
            for one in self.found
            if self.cleaned_data.get(f"lesion-{one.pk}") in self.targets
        }
