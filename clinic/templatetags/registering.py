"""The line of a page that was opened as a step of registering: what comes next, and how to leave it out."""

from __future__ import annotations

from typing import Any

from django import template
from django.template.context import Context

from clinic.people.reads.missing import ON_THE_PATH, next_step
from clinic.people.reads.people import PersonBar

register = template.Library()


@register.inclusion_tag("people/_registering.html", takes_context=True)
def registering(context: Context, bar: PersonBar) -> dict[str, Any]:
    """What is left of the path after this page; nothing off the path."""
    request = context["request"]
    if ON_THE_PATH not in request.GET:
        return {}
    match = request.resolver_match
    pk = next(iter(match.kwargs.values()), None)
    return {"bar": bar, "on_path": True, "step": next_step(bar.steps, match.url_name, pk)}
