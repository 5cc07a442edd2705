"""Tags of every template: panels that stop or ask, the frame of a state, a day in words.

A panel's level and first words come from the one table of messages, the rest from the page. Built in by the
settings, so that a page needs no other way to be loud.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django import template
from django.template.base import FilterExpression, NodeList, Parser, Token, token_kwargs
from django.template.context import Context
from django.templatetags.static import static
from django.utils.formats import localize
from django.utils.html import conditional_escape, format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.timezone import is_aware, localtime

from clinic.healing.reason import smaller
from clinic.record.dates import day_words
from clinic.record.glossary import GRADES, VERDICTS, Term, choice_words, meaning_of
from clinic.record.messages import message_of

register = template.Library()

#: What is an attribute of the panel; every other value fills the words of the message.
ATTRIBUTES = ("tag", "extra", "role", "id", "hidden")
LEVELS = {"error": "stop", "warning": "ask"}


class PanelNode(template.Node):
    """`{% panel "id" tag="div" extra="full" role="alert" value=… %}more{% endpanel %}`."""

    def __init__(self, name: FilterExpression, values: dict[str, FilterExpression], inside: NodeList) -> None:
        self.name, self.values, self.nodelist = name, values, inside

    def render(self, context: Context) -> SafeString:
        resolved = {key: value.resolve(context) for key, value in self.values.items()}
        attributes = {key: resolved.pop(key) for key in ATTRIBUTES if key in resolved}
        message = message_of(
            str(self.name.resolve(context)), **{key: _shown(value) for key, value in resolved.items()}
        )
        inside = self.nodelist.render(context).strip()
        # The words are the table's own, their values were escaped above; what stands inside is the
        # template's.
        words = mark_safe(message.text)  # noqa: S308
        first = format_html("<strong>{}</strong>", words) if inside else words
        if attributes.get("tag") == "div":
            first = format_html("<p>{}</p>", first)
        body = mark_safe(f"{first} {inside}".strip())  # noqa: S308
        return _element(message.id, message.level, body, attributes)


def _shown(value: Any) -> SafeString:
    """A value as the page itself would show it: days and times in the clinic's zone and form, escaped."""
    here = localtime(value) if isinstance(value, datetime) and is_aware(value) else value
    return conditional_escape(localize(here))


def _element(id_: str, level: str, body: SafeString, attributes: dict[str, Any]) -> SafeString:
    tag = "div" if attributes.get("tag") == "div" else "p"
    css = f"{level} {attributes.get('extra', '')}".strip()
    shown = [("class", css), ("data-message", id_)]
    shown += [(name, attributes[name]) for name in ("role", "id") if name in attributes]
    resolved = format_html_join("", ' {}="{}"', shown)
    hidden = " hidden" if attributes.get("hidden") else ""
    return format_html("<{}{}{}>{}</{}>", tag, resolved, hidden, body, tag)


@register.tag
def panel(parser: Parser, token: Token) -> PanelNode:
    """A loud panel; its level is the message's, never the page's."""
    bits = token.split_contents()[1:]
    if not bits:
        raise template.TemplateSyntaxError("panel needs the id of a message")
    name = parser.compile_filter(bits[0])
    rest = bits[1:]
    values = token_kwargs(rest, parser)
    if rest:
        raise template.TemplateSyntaxError(f"panel: {rest[0]} is no name=value")
    inside = parser.parse(("endpanel",))
    parser.delete_first_token()
    return PanelNode(name, values, inside)


@register.simple_tag
def level_class(level_tag: str) -> str:
    """The class of a message after an action: an error stops, a warning asks, the rest is good news."""
    return LEVELS.get(level_tag, "good")


@register.simple_tag(takes_context=True)
def state(context: Context, kind: str, words: str) -> SafeString:
    """State = shape + word + colour. `kind` is the sprite's id; a verdict's word says what it means, where it
    first stands on a page on focus too.
    """
    meant = VERDICTS.get(kind)
    if meant and not words.lower().startswith(meant.words):
        meant = None
    attributes, meaning = _meaning(context, kind, meant)
    return format_html(
        '<span class="state {0}"{3}><svg aria-hidden="true"><use href="{1}#{0}"></use></svg>{2}{4}</span>',
        kind,
        static("icons.svg"),
        words,
        attributes,
        meaning,
    )


@register.simple_tag(takes_context=True)
def term(context: Context, name: str, words: str) -> SafeString:
    """`{% term "infection" "Infection grade" %}`: the word of a grade that says on focus what it means."""
    attributes, meaning = _meaning(context, name, GRADES[name])
    return format_html('<span class="term"{}>{}{}</span>', attributes, words, meaning)


def _meaning(context: Context, name: str, meant: Term | None) -> tuple[SafeString, SafeString]:
    """What makes a word tell its meaning: to a mouse everywhere, to a keyboard where it first stands."""
    if meant is None:
        return SafeString(), SafeString()
    # One set a page; what is drawn without a request is a part that a page shows elsewhere.
    request = getattr(context, "request", None)
    before = getattr(request, "terms_shown", None)
    if request is not None and before is None:
        before = request.terms_shown = set()
    if before is None or name in before:
        return format_html(' title="{}"', meant.means), SafeString()
    before.add(name)
    return (
        format_html(' tabindex="0" title="{}" aria-describedby="means-{}"', meant.means, name),
        format_html('<span class="meaning" role="tooltip" id="means-{}">{}</span>', name, meant.means),
    )


@register.inclusion_tag("components/glossary.html")
def glossary(which: str) -> dict[str, Any]:
    """The words of verdicts or grades with what they mean."""
    return {"terms": (VERDICTS if which == "verdicts" else GRADES).values()}


@register.filter
def means(name: str) -> str:
    """`{{ row.name|means }}`: what the word of a verdict's mark or a grade means; nothing for any other."""
    return meaning_of(name)


@register.filter(name="choice_words")
def choice(tier: int) -> str:
    """`{{ row.tier|choice_words }}`: "first choice"."""
    return choice_words(tier)


@register.filter(name="smaller")
def smaller_words(percent: float) -> str:
    """A reduction with its sign in the word: "24 % smaller", "9 % larger"."""
    return smaller(percent)


@register.filter
def lower_by(value: float | None, unit: str) -> str:
    """A fall with its sign in the word: "181 kPa higher", "no difference"; a dash for none."""
    if value is None:
        return "–"
    rounded = round(value)
    if rounded == 0:
        return "no difference"
    return f"{abs(rounded)} {unit} {'lower' if rounded >= 0 else 'higher'}"


@register.filter
def day(value: date | None) -> str:
    """`{{ visit.visited_on|day }}`: the day as every page shows it, nothing for none."""
    return day_words(value) if value else ""
