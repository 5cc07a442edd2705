"""Tags that draw what a page has read: reads hand over numbers, the picture is made while the page is.

Each is drawn by our own code, from numbers and from words that it escapes.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django import template
from django.utils.safestring import SafeString

from clinic.audit.reads.forecast_record import Week
from clinic.audit.reads.funnel import Funnel
from clinic.charts.agreement import agreement_svg
from clinic.charts.alarms import alarms_svg
from clinic.charts.funnel import funnel_svg
from clinic.charts.reliability import reliability_svg
from clinic.charts.sparkline import sparkline_svg
from clinic.healing.alarms import TRADE_OFF
from clinic.relief.reads.relief import MeasuredPlans

register = template.Library()


@register.simple_tag
def sparkline(points: Iterable[tuple[date, float | None]], width: int = 96, height: int = 24) -> SafeString:
    """The line of a wound's last areas; nothing where there is none."""
    shown = tuple(points)
    return SafeString(sparkline_svg(shown, width=width, height=height) if shown else "")


@register.simple_tag
def funnel_chart(funnel: Funnel) -> SafeString:
    """Clinics against the limits of chance."""
    return SafeString(funnel_svg(funnel.points, funnel.share, funnel.label))


@register.simple_tag
def agreement_chart(measured: MeasuredPlans) -> SafeString:
    """Measured over predicted peaks; nothing where nothing was measured."""
    peak = measured.peak
    return SafeString(agreement_svg(measured.points, peak.bias, peak.low, peak.high) if peak else "")


@register.simple_tag
def reliability_chart(week: Week) -> SafeString:
    """Chances said in one week against the share that closed; nothing where no outcome is known."""
    label = f"Chance said at week {week.week} of being closed by week 12, and the share that closed"
    return SafeString(reliability_svg(week.bins, label) if week.bins else "")


@register.simple_tag
def alarms_chart() -> SafeString:
    """How often "stalled" and "worsening" are wrong against how soon they are right."""
    label = (
        "Steadily healing ulcers wrongly told static or worsening, against weeks until a real stop is told"
    )
    return SafeString(alarms_svg(TRADE_OFF, label))
