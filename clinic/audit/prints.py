"""The audit as a printed report: figures as tables, and what each counts."""

from __future__ import annotations

import io
from typing import Any
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Drawing, Line, Rect, String
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from clinic.healing.observed import NOT_OBSERVED

__all__ = ["report_pdf"]

_TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=9, leading=12)
_SMALL = ParagraphStyle("small", parent=_TEXT, fontSize=7.5, leading=10)
_HEAD = ParagraphStyle(
    "head", parent=_TEXT, fontName="Helvetica-Bold", fontSize=11, leading=16, spaceBefore=8
)
_TITLE = ParagraphStyle("title", parent=_HEAD, fontSize=16, leading=22)
#: Of the five parts, dark to light; the outline tells the lightest from the paper.
_GREYS = (0.25, 0.45, 0.65, 0.82, 1.0)
#: First part of a key -> heading of its table.
GROUPS = {
    "part": "Agreement with guidance",
    "agreed": "Agreement with guidance",
    "departed": "Agreement with guidance",
    "overriding": "Non-removable against a known danger",
    "reason": "Departures by reason",
    "missing": "Findings missing at signing",
    "to_device": "First assessment to first device",
    "assessed": "First presented to first assessed, episodes",
    "lesion12": "At twelve weeks, per ulcer",
    "episode12": "At twelve weeks, per episode",
    "harm": "Harm beside healing",
    "after": "After confirmed healing",
    "four_week": "Area at four weeks",
    "review": "First visit after fitting",
    "visits": "Visits",
    "gap": "Days without a device",
}


def _share(figure: dict[str, Any], rates: dict[str, float | None]) -> str:
    if figure["suppressed"]:
        return "not given (small)"
    if figure["percent"] is not None:
        low, high = figure["interval_95"]
        return f"{figure['percent']:.1f} % ({low:.1f} to {high:.1f})"
    rate = rates.get(figure["key"])
    return f"{rate:.2f} per 100 device-weeks" if rate is not None else ""


def _agreement_bar(figures: list[dict[str, Any]]) -> list[Any]:
    """The five parts as one bar in greys, in the order of the table, and the share agreed with its interval.

    Nothing where a part is not given: its length would tell it.
    """
    parts = [f for f in figures if f["key"].startswith("part.")]
    counts = [f["count"] for f in parts]
    if not counts or None in counts or not sum(counts):
        return []
    wide, tall = 174 * mm, 8 * mm
    drawing = Drawing(wide, tall + 12 * mm, hAlign="CENTER")
    x, foot = 0.0, 12 * mm
    for n, count in enumerate(counts):
        own = wide * count / sum(counts)
        drawing.add(
            Rect(
                x,
                foot,
                own,
                tall,
                fillColor=colors.Color(*(_GREYS[n],) * 3),
                strokeColor=colors.black,
                strokeWidth=0.5,
            )
        )
        if own > 10 * mm:
            ink = colors.white if _GREYS[n] < 0.5 else colors.black
            drawing.add(
                String(
                    x + own / 2,
                    foot + 2.7 * mm,
                    f"{count:,}",
                    fontName="Helvetica",
                    fontSize=8,
                    fillColor=ink,
                    textAnchor="middle",
                )
            )
        x += own
    agreed = next((f for f in figures if f["key"] == "agreed" and f["interval_95"]), None)
    if agreed is not None:
        axis, (low, high) = 5 * mm, agreed["interval_95"]
        drawing.add(Line(0, axis, wide, axis, strokeWidth=0.5))
        drawing.add(
            Rect(
                wide * low / 100,
                axis - 1 * mm,
                wide * (high - low) / 100,
                2 * mm,
                fillColor=colors.Color(0.75, 0.75, 0.75),
                strokeColor=None,
            )
        )
        at = wide * agreed["percent"] / 100
        drawing.add(Line(at, axis - 1.6 * mm, at, axis + 1.6 * mm, strokeWidth=1.2))
        for share, words, anchor in (
            (0.0, "0 %", "start"),
            (0.5, "50 % of those judged", "middle"),
            (1.0, "100 %", "end"),
        ):
            drawing.add(
                String(wide * share, 0.5 * mm, words, fontName="Helvetica", fontSize=7, textAnchor=anchor)
            )
    entries = (
        "All prescriptions, left to right as in the table; below, the share that agreed with its 95 % "
        "interval."
    )
    return [drawing, Paragraph(entries, _SMALL)]


def report_pdf(value: dict[str, Any], method: str = "") -> bytes:
    """A4 pages of a report's value; the same value gives the same bytes."""
    story: list[Any] = [
        Paragraph("Audit of device choice", _TITLE),
        Paragraph(
            escape(f"{', '.join(value['sites'][:6])}{' and others' if len(value['sites']) > 6 else ''}"),
            _TEXT,
        ),
        Paragraph(
            f"{value['since']:%-d %b %Y} to {value['until']:%-d %b %Y}, made {value['made_on']:%-d %b %Y}",
            _TEXT,
        ),
        Paragraph(escape(value["notice"]), _TEXT),
    ]
    if method:
        story.append(Paragraph(escape(method), _SMALL))
    tables: dict[str, list[list[Any]]] = {}
    for figure in value["figures"]:
        heading = GROUPS.get(figure["key"].split(".")[0])
        if heading is None:
            continue
        count = "" if figure["count"] is None else f"{figure['count']:,}"
        of = f" of {figure['of']:,}" if figure["of"] is not None else ""
        tables.setdefault(heading, []).append(
            [
                Paragraph(escape(figure["words"]), _TEXT),
                f"{count}{of}",
                _share(figure, value["harm_per_100_device_weeks"]),
            ]
        )
    for heading, rows in tables.items():
        picture = _agreement_bar(value["figures"]) if heading == GROUPS["part"] else []
        story += [Paragraph(heading, _HEAD), *picture, _table(rows)]
    again = [
        [
            f"A new ulcer within {r['weeks']} weeks",
            "" if r["followed"] is None else f"{r['followed']:,} still followed",
            NOT_OBSERVED if r["percent"] is None else f"{r['percent']:.1f} %",
        ]
        for r in value["recurrence"]
    ]
    if again:
        story += [
            Paragraph("A new ulcer after confirmed healing, cumulative incidence", _HEAD),
            _table(again),
        ]
    story.append(
        Paragraph(
            f"Median from first assessment to first device: {escape(value['median_to_device'])}.", _TEXT
        )
    )
    story += [Spacer(1, 6 * mm), Paragraph("What is counted", _HEAD)]
    for entries in value["definitions"].values():
        story += [
            Paragraph(f"<b>{escape(d['words'])}</b>: {escape(d['says'])} ({escape(d['source'])})", _SMALL)
            for d in entries
        ]
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=A4,
        leftMargin=18 * mm,
        rightMargin=18 * mm,
        topMargin=16 * mm,
        bottomMargin=16 * mm,
        title="Audit of device choice",
        author="",
        invariant=1,
    )
    document.build(story)
    return out.getvalue()


def _table(rows: list[list[Any]]) -> Table:
    table = Table(rows, colWidths=[88 * mm, 40 * mm, 46 * mm])
    table.setStyle(
        TableStyle(
            [
                ("FONT", (0, 0), (-1, -1), "Helvetica", 9),
                ("LINEBELOW", (0, 0), (-1, -1), 0.25, colors.grey),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("ALIGN", (1, 0), (1, -1), "RIGHT"),
            ]
        )
    )
    return table
