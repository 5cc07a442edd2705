"""Watch points on the weekly page: each asked for by its name, none prefilled; and the answer to a
flagged plan.

The touch that says that a foot was looked at and clear names each of them too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms

from clinic.models import Found, WatchPoint
from clinic.record.forms.chips import FIELD, chips, drawn_by
from clinic.record.forms.touches import TouchField

__all__ = ["PlanFlagAnswerForm", "watch_add", "watch_answers"]

PREFIX = "watch_"


def watch_add(form: forms.Form, points: Iterable[WatchPoint], touch: str) -> None:
    """One row of choices for each point; the form's field `touch`, where it has one, answers each of them as
    clear.
    """
    places = {f"{PREFIX}{point.pk}": point for point in points}
    sides = {name: f" ({point.limb_plan.limb.side} foot)" for name, point in places.items()}
    for name, point in places.items():
        form.fields[name] = chips(f"{point.words}{sides[name]}", Found.choices)
    drawn_by(form, FIELD, *places)
    form.watch = [form[name] for name in places]  # type: ignore[attr-defined]
    looked = form.fields.get(touch)
    if isinstance(looked, TouchField):
        # The rows below the touch name the side; the touch only where there are two.
        both = len(set(sides.values())) > 1
        looked.answers = {
            **looked.answers,
            **{
                name: (f"“{point.words}{sides[name] if both else ''}” clear", Found.CLEAR.value)
                for name, point in places.items()
            },
        }


def watch_answers(data: Mapping[str, Any]) -> dict[int, str]:
    """What was found at each point that was looked at."""
    return {
        int(name.removeprefix(PREFIX)): found
        for name, found in data.items()
        if name.startswith(PREFIX) and found
    }


class PlanFlagAnswerForm(forms.Form):
    answer = forms.CharField(
        label="Reason to keep the plan", max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )
    version = forms.IntegerField(widget=forms.HiddenInput)
