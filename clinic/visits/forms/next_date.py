"""The next date: offered by the person's interval, or typed, or why there is none."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms

from clinic.guidelines.next_visit import NextOffer, next_offers, offered_day
from clinic.record.dates import day_words
from clinic.record.forms.chips import chips, filled
from clinic.record.forms.dates import DayField

__all__ = ["NextDateForm", "OfferedDays"]


class OfferedDays(forms.RadioSelect):
    """Chips of days; those after the day to open a sealed device by carry a mark for the page."""

    beyond: frozenset[str] = frozenset()

    def create_option(self, name: str, value: Any, *args: Any, **kwargs: Any) -> dict[str, Any]:
        option = super().create_option(name, value, *args, **kwargs)
        if str(value) in self.beyond:
            option["attrs"]["data-beyond"] = ""
        return option


class NextDateForm(forms.Form):
    """One touch for an offered day, or a typed one; a time and how the person comes may stand beside it."""

    next_in = chips("Next visit, after", [])
    next_on = DayField(label="or on", required=False)
    next_at = forms.TimeField(
        label="Time, if given",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        error_messages={"invalid": "Time: a time such as 09:30 is needed."},
    )
    transport = forms.CharField(label="Transport, if any", required=False, max_length=80)
    no_next_because = forms.CharField(label="No next date, because", required=False, max_length=200)
    day_field = "visited_on"
    #: The day by which a sealed device must be opened, for the touch that means it.
    open_by: date | None = None

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})
        self.offer(next_offers(date.min, open_lesions=True))

    @property
    def next_open(self) -> bool:
        """Whether the typed date, its time or the reason is shown: one is filled, faulty or all there is."""
        return "next_in" not in self.fields or filled(
            self, "next_on", "next_at", "transport", "no_next_because"
        )

    def offer(self, offers: Iterable[NextOffer]) -> None:
        """Offer these days, and no other."""
        offers = tuple(offers)
        widget = OfferedDays()
        widget.beyond = frozenset(one.key for one in offers if one.beyond)
        field: Any = self.fields["next_in"]
        field.widget = widget
        field.choices = [(one.key, one.words) for one in offers]

    def clean(self) -> None:
        data = self.cleaned_data
        day, typed, chosen = data.get(self.day_field), data.get("next_on"), data.get("next_in")
        if chosen and isinstance(day, date):
            offered = offered_day(chosen, day, self.open_by)
            if typed is not None and offered is not None and typed != offered:
                self.add_error(
                    "next_on",
                    f"Next visit: {day_words(typed)} is typed and {day_words(offered)} is chosen; keep one.",
                )
            data["next_on"] = offered
