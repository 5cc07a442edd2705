"""What list pages ask for hundreds of times, worked out once: addresses, days, areas, the frame of a state.

Built into every template by the settings. Rendered rows are not kept: they would hold names that an erasure must reach.
"""

from __future__ import annotations

from datetime import date
from functools import lru_cache
from typing import Any

from django import template
from django.conf import settings
from django.template.base import Parser, Token
from django.template.context import Context
from django.template.defaultfilters import floatformat
from django.template.defaulttags import URLNode
from django.template.defaulttags import url as framework_url
from django.templatetags.static import static
from django.urls import get_script_prefix, get_urlconf, reverse
from django.utils.html import conditional_escape, escape, format_html
from django.utils.safestring import SafeString, mark_safe

from clinic.dates import day_words

register = template.Library()


@lru_cache(maxsize=20_000)
def _address(routes: str, prefix: str, name: str, args: tuple[str, ...]) -> str:
    """The escaped address; routes and prefix are only part of the key."""
    return escape(reverse(name, args=args))


class Link(URLNode):
    """The framework's node; what is not a plain name with values falls back to it."""

    def render(self, context: Context) -> Any:
        if self.asvar or self.kwargs or not context.autoescape:
            return super().render(context)
        # A name in quotes is a text already; only a variable has to be looked up each time.
        named = self.view_name
        name = named.var if isinstance(named.var, str) and not named.filters else named.resolve(context)
        args = tuple([str(arg.resolve(context)) for arg in self.args])
        routes = get_urlconf() or settings.ROOT_URLCONF
        return _address(routes, get_script_prefix(), name, args)


@register.tag("url")
def url(parser: Parser, token: Token) -> Link:
    node = framework_url(parser, token)
    return Link(node.view_name, node.args, node.kwargs, node.asvar)


@register.filter
def day(value: date | None) -> str:
    """`{{ visit.visited_on|day }}`, the same words as without the filter."""
    return day_words(value) if value else ""


@register.filter
@lru_cache(maxsize=4000)
def hundredths(value: float | None) -> str:
    """An area with two decimals, as `floatformat:2` writes it."""
    return str(floatformat(value, 2))


@lru_cache(maxsize=40)
def _frame(kind: str) -> SafeString:
    return format_html(
        '<span class="state {}"><svg aria-hidden="true"><use href="{}#{}"></use></svg>',
        kind,
        static("icons.svg"),
        kind,
    )


@register.simple_tag
def state(kind: str, words: str) -> SafeString:
    """State = shape + word + colour. `kind` is the sprite's id; the words are not kept."""
    return mark_safe(f"{_frame(kind)}{conditional_escape(words)}</span>")  # noqa: S308  escaped here
