"""A service's refusal, shown at the form field it concerns; what was typed stays."""

from django import forms

from clinic.services.errors import Refused


def show(form: forms.BaseForm, refused: Refused) -> None:
    """Put the refusal on its field, or on the whole form when the form has no such field."""
    form.add_error(refused.field if refused.field in form.fields else None, refused.message)
