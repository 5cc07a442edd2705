"""Watch points on the weekly page: each asked for by its name, none prefilled; and the answer to a
flagged plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms

from clinic.models import Found, WatchPoint
from clinic.record.forms.chips import FIELD, chips, drawn_by

__all__ = ["PlanFlagAnswerForm", "watch_add", "watch_answers"]

PREFIX = "watch_"


def watch_add(form: forms.Form, points: Iterable[WatchPoint]) -> None:
    """One row of choices for each point."""
    names = []
    for point in points:
        side = point.limb_plan.limb.get_side_display()
        name = f"{PREFIX}{point.pk}"
        form.fields[name] = chips(f"{point.words} ({side.lower()} foot)", Found.choices)
        names.append(name)
    if names:
        drawn_by(form, FIELD, *names)
    form.watch = [form[name] for name in names]  # type: ignore[attr-defined]


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
