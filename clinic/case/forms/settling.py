"""One line for each thing that is still open of a person who left; a line left empty stays open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from django import forms

from clinic.case.writes.settling import KEPT, OUTCOME_OF, LineEnd
from clinic.models import DeviceLeft, LesionOutcome, Person, PersonState
from clinic.people.reads.left_open import KINDS, OpenThing
from clinic.record.forms.entries import PastDayField

__all__ = ["SettleForm"]

LEAVE = ("", "Stays open")


class SettleForm(forms.Form):
    on = PastDayField(label="On", help_text="The day of each line filled in here; save others by themselves.")

    def __init__(self, *args: Any, person: Person, things: Sequence[OpenThing], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.things = things
        self.in_care = person.state == PersonState.IN_CARE
        own = OUTCOME_OF.get(PersonState(person.state))
        for thing in things:
            if thing.kind == "lesion":
                outcomes = [o for o in (own, *_AMPUTATED) if o is not None]
                self._choice(thing, "Outcome", [(o.value, str(o.label)) for o in outcomes])
            elif thing.kind == "device":
                self._device(thing)
            elif KINDS[thing.kind].settled_here:
                self._text(thing, "words", "What becomes of it", "Handed to whom, or why it ends.")

    def _choice(self, thing: OpenThing, label: str, choices: Sequence[tuple[str, str]]) -> None:
        self.fields[f"choice_{thing.key}"] = forms.ChoiceField(
            label=label, choices=[LEAVE, *choices], required=False
        )

    def _text(self, thing: OpenThing, name: str, label: str, help_text: str = "", most: int = 120) -> None:
        self.fields[f"{name}_{thing.key}"] = forms.CharField(
            label=label, max_length=most, required=False, help_text=help_text
        )

    def _device(self, thing: OpenThing) -> None:
        ways = [(DeviceLeft.TAKEN_OFF.value, str(DeviceLeft.TAKEN_OFF.label))]
        if not self.in_care:
            ways = [(way.value, str(way.label)) for way in DeviceLeft]
        elif not thing.row.stays_closed:
            ways.append((KEPT, "Worn on here"))
        self._choice(thing, "The device", ways)
        label = "By whom, or why it is worn on" if self.in_care else "By whom, or to whom"
        self._text(thing, "words", label)
        if not self.in_care:
            self._text(thing, "informed", "Who was informed", "Needed where nobody knows what became of it.")

    def lines(self) -> Iterator[tuple[OpenThing, list[forms.BoundField]]]:
        """Each thing with its fields, for the page."""
        for thing in self.things:
            names = [f"{name}_{thing.key}" for name in ("choice", "words", "informed")]
            yield thing, [self[name] for name in names if name in self.fields]

    def settled(self) -> list[LineEnd]:
        """The lines that were filled in."""
        data = self.cleaned_data
        lines = [
            LineEnd(
                thing.key,
                *(data.get(f"{name}_{thing.key}", "").strip() for name in ("choice", "words", "informed")),
            )
            for thing in self.things
        ]
        return [line for line in lines if line.choice or line.words or line.informed]

    @property
    def day(self) -> date:
        day: date = self.cleaned_data["on"]
        return day


_AMPUTATED = (LesionOutcome.MINOR_AMPUTATION, LesionOutcome.MAJOR_AMPUTATION)
