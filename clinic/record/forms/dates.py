"""A day, as every browser's own date control sends it."""

from typing import Any

from django import forms


class DayField(forms.DateField):
    def __init__(self, **options: Any) -> None:
        options.setdefault("widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
        options.setdefault("input_formats", ["%Y-%m-%d"])
        super().__init__(**options)
