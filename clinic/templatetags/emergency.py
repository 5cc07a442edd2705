"""The ambulance on a screen: a box of its own, before every number of the clinic."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django import template

from clinic.guidelines.emergency import EMERGENCY_SIGNS, asks_for_ambulance

register = template.Library()


@register.inclusion_tag("alerts/_emergency.html")
def ambulance_first(telephone: str, flags: Iterable[str] = ()) -> dict[str, Any]:
    """The box with all emergency signs; a red flag that names one makes it an order."""
    return {"telephone": telephone, "signs": EMERGENCY_SIGNS, "now": asks_for_ambulance(flags)}


@register.inclusion_tag("alerts/_ambulance_line.html")
def ambulance_line(telephone: str, flags: Iterable[str]) -> dict[str, Any]:
    """One line in a panel of a red flag that names an emergency sign; nothing for any other flag."""
    return {"telephone": telephone if asks_for_ambulance(flags) else ""}
