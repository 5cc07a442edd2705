"""The downtime pack as one PDF: emergency page, list of the day, blank visit sheets, opening cards.

A sheet asks what the visit's page asks, from the same form, so that neither forgets a question; the answers
are empty and what was found last stands beside them.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from django.forms import BaseForm, BooleanField, ChoiceField, HiddenInput
from django.utils.formats import date_format
from django.utils.timezone import localtime
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from clinic.guidelines.red_flags import RED_FLAGS
from clinic.visits.forms.visits import VisitForm, lesion_forms
from clinic.visits.reads import VisitSheet
from clinic.week.reads.downtime import DowntimePack, SealedDevice
from clinic.week.reads.preparation import Expected

__all__ = ["NOT_ON_PAPER", "downtime_pdf", "questions"]

NOTICE = "Supports licensed judgement; it is not a diagnosis. Follow your local protocol."
#: Fields of the page that have no place on a sheet, each with why.
NOT_ON_PAPER = {
    "submission_key": "the page's own",
    "photo": "taken and added when the program is back",
    "outline": "traced on a photograph",
    "trace": "traced on a photograph",
    "unchanged": "what was described last stands beside the line",
    "nothing_found": "each answer is written",
    "asked_none": "each answer is written",
    "looked_clear": "each answer is written",
    "next_in": "the date is written",
}
WIDE = A4[0] - 36 * mm


@cache
def _fonts() -> tuple[str, str]:
    """Fonts that hold the letters of every European name; they come with the chart library."""
    import matplotlib  # slow to import: only a process that prints a pack pays for it

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name, file in (("Pack", "DejaVuSans.ttf"), ("Pack-Bold", "DejaVuSans-Bold.ttf")):
        pdfmetrics.registerFont(TTFont(name, folder / file))
    return "Pack", "Pack-Bold"


@cache
def _styles() -> dict[str, ParagraphStyle]:
    plain, bold = _fonts()
    text = ParagraphStyle("text", fontName=plain, fontSize=8.5, leading=11)
    return {
        "text": text,
        "small": ParagraphStyle("small", parent=text, fontSize=7, leading=9),
        "loud": ParagraphStyle("loud", parent=text, fontName=bold, fontSize=11, leading=15),
        "head": ParagraphStyle("head", parent=text, fontName=bold, fontSize=10, leading=14, spaceBefore=6),
        "title": ParagraphStyle("title", parent=text, fontName=bold, fontSize=15, leading=20),
    }


def _p(words: object, style: str = "text") -> Paragraph:
    return Paragraph(escape(str(words)).replace("\n", "<br/>"), _styles()[style])


def _table(rows: list[list[Any]], widths: list[float], head: bool = True) -> Table:
    table = Table(rows, colWidths=[one * WIDE for one in widths], repeatRows=1 if head else 0)
    table.setStyle(
        TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.4, colors.grey),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
            ]
        )
    )
    return table


def questions(form: BaseForm) -> Iterator[tuple[str, str, str]]:
    """Label, boxes to tick or an empty line, and what was found last, of each field that paper can take."""
    for name, field in form.fields.items():
        if name in NOT_ON_PAPER or isinstance(field.widget, HiddenInput):
            continue
        if isinstance(field, ChoiceField):
            answer = "   ".join(f"☐ {label}" for value, label in _choices(field) if value != "")
        elif isinstance(field, BooleanField):
            answer = "☐"
        else:
            answer = ""
        yield str(field.label or name), answer, str(getattr(field, "last", "") or "")


def _choices(field: Any) -> Iterator[tuple[Any, Any]]:
    for value, label in field.choices:
        if isinstance(label, list | tuple):
            yield from label
        else:
            yield value, label


def downtime_pdf(pack: DowntimePack) -> bytes:
    """The pack of one clinic and day; every page says of which, and when it was made."""
    parts: list[Any] = [*_emergency(pack), PageBreak(), *_day_list(pack)]
    for one, sheet in zip(pack.expected, pack.sheets, strict=True):
        parts += [PageBreak(), *_sheet(one, sheet)]
    for device in pack.sealed:
        parts += [PageBreak(), *_card(device)]
    made = date_format(localtime(pack.made_at), "j M Y H:i")
    foot = f"{pack.site.name}: {date_format(pack.day)}, as known {made}. {NOTICE}"
    plain, _ = _fonts()

    def page(canvas: Any, document: Any) -> None:
        canvas.setFont(plain, 6.5)
        canvas.drawString(18 * mm, 9 * mm, foot)
        canvas.drawRightString(A4[0] - 18 * mm, 9 * mm, f"Page {document.page}")

    out = io.BytesIO()
    SimpleDocTemplate(
        out,
        pagesize=A4,
        title=f"Downtime pack, {pack.site.name}, {pack.day}",
        author="",
        leftMargin=18 * mm,
        rightMargin=18 * mm,
        topMargin=14 * mm,
        bottomMargin=16 * mm,
        invariant=1,
    ).build(parts, onFirstPage=page, onLaterPages=page)
    return out.getvalue()


def _emergency(pack: DowntimePack) -> Iterator[Any]:
    site = pack.site
    yield _p("If the program cannot be reached", "title")
    yield _p(site.name, "head")
    rows = [[_p("Whom to call"), _p("In hours"), _p("Any other hour")]]
    rows += [
        [_p(row["words"]), _p(row["in_hours"], "loud"), _p(row["out_of_hours"], "loud")]
        for row in site.telephones
    ]
    yield _table(rows, [0.4, 0.3, 0.3])
    yield _p("Red flags: ask each patient; call at the urgency given", "head")
    rows = [[_p(f"☐ {flag.question}"), _p(flag.urgency.replace("_", " "))] for flag in RED_FLAGS]
    yield _table(rows, [0.72, 0.28], head=False)
    for words, text in (
        ("The clinic's protocol", site.protocol_text),
        ("When nobody can be reached", site.escalation_text),
        ("How to open a non-removable device", site.opening_text),
    ):
        if text:
            yield _p(words, "head")
            yield _p(text)
    yield _p("Afterwards", "head")
    yield _p(
        "Write on the sheets behind this page. When the program is back, enter them under Today, Enter from "
        "paper; each visit keeps the mark that it came from paper. Then destroy the pack as your protocol "
        "says."
    )


def _day_list(pack: DowntimePack) -> Iterator[Any]:
    yield _p(
        f"Expected on {date_format(pack.day, 'l')} {date_format(pack.day)}: {len(pack.expected)}", "title"
    )
    rows = [[_p("Patient"), _p("Why"), _p("Ulcers and devices"), _p("Due")]]
    for one in pack.expected:
        who = one.person
        lines = [f"{line.lesion}: {line.last}" for line in one.lines] + list(one.devices) + list(one.plans)
        rows.append(
            [
                _p(f"{who.full_name}\nno. {who.record_number}, born {date_format(who.birth_date)}"),
                _p(one.why + (f"\nInterpreter: {who.language}" if who.interpreter else "")),
                _p("\n".join(lines) or "none"),
                _p("; ".join(one.due) or "nothing"),
            ]
        )
    yield _table(rows, [0.26, 0.16, 0.4, 0.18])
    if pack.sealed:
        yield _p(f"Non-removable devices out: {len(pack.sealed)}; the cards are the last pages", "head")


def _sheet(one: Expected, sheet: VisitSheet) -> Iterator[Any]:
    who = one.person
    yield _p(f"Visit sheet: {who.full_name}", "title")
    allergies = f"; allergies: {who.allergies}" if who.allergies else ""
    yield _p(f"no. {who.record_number}, born {date_format(who.birth_date)}{allergies}. Seen by: ____________")
    for words in one.devices:
        yield _p(words)
    for part in lesion_forms(sheet):
        yield _p(f"Ulcer {part.sheet.lesion.label}: {part.sheet.lesion}", "head")
        if part.sheet.last_words:
            yield _p(f"Last area: {part.sheet.last_words}")
        yield _asked(part)
    yield _p("Asked once", "head")
    yield _asked(VisitForm(sheet=sheet))
    yield Spacer(1, 2 * mm)


def _asked(form: BaseForm) -> Table:
    rows = [[_p("Asked", "small"), _p("Found", "small"), _p("Last", "small")]]
    rows += [[_p(label), _p(answer), _p(last, "small")] for label, answer, last in questions(form)]
    return _table(rows, [0.27, 0.5, 0.23])


def _card(one: SealedDevice) -> Iterator[Any]:
    device = one.prescription
    who = device.limb.person
    yield _p(f"Non-removable device: {who.full_name}", "title")
    yield _p(f"no. {who.record_number}, born {date_format(who.birth_date)}")
    by = (
        f"Must be opened by {date_format(device.open_by)}" if device.open_by else "No day to open is recorded"
    )
    yield _p(by, "loud")
    yield _p(
        f"{device.limb.get_side_display()} foot: {device.get_device_class_display()}, sealed "
        f"{date_format(device.sealed_on) if device.sealed_on else ''}"
    )
    values = one.card.content if one.card else {}
    if not one.card:
        yield _p("No opening card was made for it.", "loud")
    if values.get("open_at_once"):
        yield _p("To be opened at once if", "head")
        yield from (_p(f"• {sign}") for sign in values["open_at_once"])
    yield _p("How to open it", "head")
    yield _p(values.get("how_to_open") or who.site.opening_text or "Not recorded: call the clinic's numbers.")
