"""A write's refusal, shown at the form field it concerns; what was typed stays."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.urls import reverse
from django.utils.html import format_html

from clinic.record.errors import Refused


def show(form: forms.BaseForm, refused: Refused) -> None:
    """Put each part of the refusal on its field, or on the whole form when the form has no such field, with
    the link to where it is put right.
    """
    for part in refused.parts:
        form.add_error(part.field if part.field in form.fields else None, _words(part))


def _words(part: Refused) -> str:
    if part.way is None:
        return part.message
    address = reverse(part.way.route, args=[part.way.key])
    return format_html('{} <a href="{}">{}</a>', part.message, address, part.way.words)


def hold(form: forms.Form, check: Callable[..., None], *names: str, **more: Any) -> None:
    """Hold the answers of these names against a rule of a write; what it refuses stands at its field.

    An answer that was not asked, or is a fault of its own already, leaves the rule nothing to say.
    """
    data = form.cleaned_data
    if all(name in data for name in names):
        try:
            check(**{name: data[name] for name in names}, **more)
        except Refused as refused:
            show(form, refused)
