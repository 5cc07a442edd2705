"""Changing the house rules of a site."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import transaction

from clinic.guidelines.devices import REFERRALS, URGENCIES
from clinic.guidelines.fitting import FITTING_LISTS
from clinic.models import Site, SiteFoam, User
from clinic.record.errors import Conflict, Refused
from clinic.record.writes import audit
from offload.core.foam.stack import PACKAGED_FOAMS, THICKNESS_LIMITS, faults_of_stack

LONGEST_LIST, LONGEST_STEP = 25, 140
TELEPHONE_DIGITS = 3
#: National emergency numbers are short; in some countries they have two digits (from memory).
EMERGENCY, EMERGENCY_DIGITS = "telephone_emergency", 2

__all__ = [
    "BOUNDS",
    "EDITABLE",
    "EMERGENCY",
    "TELEPHONES",
    "house_rules_change",
    "telephone_fault",
    "telephone_words",
]

#: Field -> lowest and highest value. Most are held by the database as well; ages are sanity bounds of ours.
BOUNDS: dict[str, tuple[int, int]] = {
    "weight_threshold_kg": (40, 200),
    "margin_mm": (0, 30),
    "distal_margin_mm": (0, 30),
    "bevel_deg": (20, 90),
    "sealed_first_days": (1, 7),
    "sealed_days": (1, 14),
    "confirm_closure_days": (14, 60),
    "tcpo2_urgent_mmhg": (25, 30),
    "weight_fresh_days": (1, 365),
    "perfusion_fresh_days": (1, 180),
    "perfusion_healing_days": (1, 365),
    "infection_look_days": (0, 14),
    "looks_apart_days": (2, 30),
    "falls_fresh_days": (1, 365),
    "reopen_days": (1, 365),
    "first_change_hours": (48, 72),
    "attempts_before_escalation": (1, 5),
    "planned_reach_days": (1, 30),
    "question_area_ratio": (2, 10),
    "question_small_area_ratio": (2, 20),
    "question_weight_percent": (5, 50),
}
#: A red flag or a sealed device shows these; once entered they are replaced, never taken away.
TELEPHONES = (
    EMERGENCY,
    *(f"telephone_{urgency}_{hour}" for urgency in URGENCIES for hour in ("in_hours", "out_of_hours")),
)
EDITABLE = (
    *TELEPHONES,
    "hours_start",
    "hours_end",
    "protocol_text",
    "stack",
    "closed_weekdays",
    "holidays",
    "opening_text",
    "escalation_text",
    "second_signature",
    "urgencies",
    "fitting_steps",
    "toe_kit",
    "erythema_2_cm",
    *BOUNDS,
)


@transaction.atomic
def house_rules_change(*, by: User, site: Site, seen: int, **values: Any) -> Site:
    """Write the values that differ; `seen` is the newest history copy the page was made from."""
    unknown = set(values) - set(EDITABLE)
    if unknown:
        raise TypeError(f"not a house rule: {', '.join(sorted(unknown))}")
    row = Site.objects.select_for_update().get(pk=site.pk)
    copies = row.history.order_by("-history_id")  # type: ignore[attr-defined]
    newest = copies.values_list("history_id", flat=True).first()
    if (newest or 0) != seen:
        raise Conflict("Someone else changed the house rules since you opened them. Nothing was overwritten.")
    changed = {name: value for name, value in values.items() if getattr(row, name) != value}
    if not changed:
        raise Refused("Nothing was changed.")
    before = {name: getattr(row, name) for name in changed}
    for name in TELEPHONES:
        if name in changed and (fault := telephone_fault(name, changed[name])):
            raise Refused(f"{fault}.", field=name)
    for name, value in changed.items():
        setattr(row, name, value)
    _check(row)
    row._history_user = by  # type: ignore[attr-defined]
    row.save()
    audit.record(
        by=by,
        site=row,
        verb="changed",
        target=row,
        changes={name: [_told(before[name]), _told(value)] for name, value in changed.items()},
    )
    return row


def telephone_words(name: str) -> str:
    words = str(Site._meta.get_field(name).verbose_name)  # type: ignore[union-attr]
    return f"{words[0].upper()}{words[1:]}"


def telephone_fault(name: str, given: str) -> str:
    """What is wrong with a number typed for one of TELEPHONES, without a full stop; empty if nothing is."""
    fewest = EMERGENCY_DIGITS if name == EMERGENCY else TELEPHONE_DIGITS
    if sum(letter.isdigit() for letter in given) >= fewest:
        return ""
    return f"{telephone_words(name)}: “{given}” is no telephone number; {fewest} digits at least"


def _check(row: Site) -> None:
    own = SiteFoam.objects.filter(site=row).values_list("foam__key", flat=True)
    if fault := _stack_fault(row.stack, [*PACKAGED_FOAMS, *own]):
        raise Refused(fault, field="stack")
    for name, (low, high) in BOUNDS.items():
        value = getattr(row, name)
        if value is not None and not low <= value <= high:
            raise Refused(f"{name} is {value:g}, must be between {low} and {high}.", field=name)
    if row.tcpo2_urgent_mmhg not in (25, 30):
        raise Refused(
            f"TcPO2 below this is urgent: {row.tcpo2_urgent_mmhg} mmHg is neither 25 nor 30, the two "
            "published.",
            field="tcpo2_urgent_mmhg",
        )
    if row.distal_margin_mm < row.margin_mm:
        raise Refused(
            f"Margin toward the toes: {row.distal_margin_mm:g} mm is below the margin round the ulcer, "
            f"{row.margin_mm:g} mm.",
            field="distal_margin_mm",
        )
    _check_devices(row)
    if row.hours_end <= row.hours_start:
        raise Refused(
            f"Hours to: {row.hours_end:%H:%M} is not after {row.hours_start:%H:%M}.", field="hours_end"
        )
    _calendar_check(row)
    try:
        row.full_clean()
    except ValidationError as invalid:
        field, messages = next(iter(invalid.message_dict.items()))
        raise Refused(" ".join(messages), field=None if field == NON_FIELD_ERRORS else field) from invalid


def _check_devices(row: Site) -> None:
    """A site tightens urgencies, never loosens them: a less pressing one changes nothing and is refused
    as such.
    """
    for name, urgency in row.urgencies.items():
        if name not in REFERRALS:
            raise Refused(f"Urgency: {name} is not one of {', '.join(REFERRALS)}.", field="urgencies")
        if urgency not in URGENCIES[:-1]:
            raise Refused(
                f"Urgency of {REFERRALS[name].lower()}: {urgency} is not more pressing than the guidance; "
                f"{' or '.join(URGENCIES[:-1])} is.",
                field=f"urgency_{name}",
            )
    for name, steps in row.fitting_steps.items():
        if name not in FITTING_LISTS:
            raise Refused(
                f"Fitting list: {name} is not one of {', '.join(FITTING_LISTS)}.", field="fitting_steps"
            )
        if len(steps) > LONGEST_LIST:
            raise Refused(
                f"Fitting list: {len(steps)} steps given, {LONGEST_LIST} at most.", field=f"fitting_{name}"
            )
        long = next((step for step in steps if len(step) > LONGEST_STEP), None)
        if long is not None:
            raise Refused(
                f"Fitting list: a step has {len(long)} characters, {LONGEST_STEP} at most.",
                field=f"fitting_{name}",
            )
        if len(set(steps)) != len(steps):
            raise Refused("Fitting list: the same step stands twice.", field=f"fitting_{name}")


def _calendar_check(row: Site) -> None:
    if not set(row.closed_weekdays) < set(range(7)):
        raise Refused("Closed on: at least one weekday has hours.", field="closed_weekdays")
    for day in row.holidays:
        try:
            date.fromisoformat(day)
        except ValueError:
            raise Refused(f"Days off: {day} is not a date as 2026-12-25.", field="holidays") from None


def _stack_fault(stack: Sequence[Mapping[str, Any]], foams: Sequence[str]) -> str | None:
    for fault in faults_of_stack([str(layer["role"]) for layer in stack]):
        return f"Stack {fault.words}."
    low, high = THICKNESS_LIMITS
    for layer in stack:
        if layer["foam"] not in foams:
            return f"Foam of the {layer['role']}: {layer['foam']} is not one of {', '.join(foams)}."
        if not low <= layer["thickness_mm"] <= high:
            return (
                f"Thickness of the {layer['role']}: {layer['thickness_mm']:g} mm, "
                f"must be between {low:g} and {high:g} mm."
            )
    return None


def _told(value: Any) -> Any:
    """A value as the audit row keeps it."""
    if isinstance(value, dict):
        return {name: str(value[name]) for name in sorted(value)}
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return [f"{layer['role']} {layer['foam']} {layer['thickness_mm']:g} mm" for layer in value]
    if hasattr(value, "strftime"):
        return value.strftime("%H:%M")
    return value if isinstance(value, list) else str(value)
