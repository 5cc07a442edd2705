"""What a server process loads before it takes its first request."""

from __future__ import annotations

import io

from django.forms.renderers import get_default_renderer
from django.http import HttpRequest
from django.template.loader import get_template

__all__ = ["load_all"]


def load_all() -> None:
    """Load what otherwise waits for the first page and the first picture, by making one of each."""
    from matplotlib.figure import Figure

    figure = Figure()
    figure.subplots().plot([0, 1], label="1")
    figure.savefig(io.BytesIO(), format="svg")
    get_template("404.html").render({}, HttpRequest())
    get_default_renderer()
