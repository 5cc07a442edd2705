"""The house rules of a site: each value with where it comes from, and who changed it when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from clinic.guidelines.devices import REFERRALS
from clinic.guidelines.fitting import FITTING_LISTS
from clinic.models import Site
from offload.core.foam.law import packaged_foams

__all__ = [
    "APART",
    "GROUPS",
    "RULES",
    "HouseRuleAmendment",
    "Rule",
    "history_of",
    "seen_number",
    "stack_words",
    "value_words",
]

PRACTICE = "common practice, no source"
DESIGN = "design choice of this program, no source"
GUIDELINE = "Fernando 2022, J Foot Ankle Res 15:31, table 5"


@dataclass(frozen=True)
class Rule:
    """One value a site sets for itself."""

    name: str
    words: str
    source: str
    unit: str = ""
    help: str = ""


GROUPS: dict[str, tuple[Rule, ...]] = {
    "Telephone": (
        Rule(
            "telephone_emergency",
            "Ambulance: the national emergency number",
            "",
            help="Stands first on red flags, sheets and cards. It is replaced, never removed.",
        ),
        Rule(
            "telephone_immediate_in_hours",
            "At once, in hours",
            "",
            help="Red flags show it, and every card of a non-removable device.",
        ),
        Rule("telephone_immediate_out_of_hours", "At once, out of hours", ""),
        Rule("telephone_one_working_day_in_hours", "Within one working day, in hours", ""),
        Rule("telephone_one_working_day_out_of_hours", "Within one working day, out of hours", ""),
        Rule("telephone_planned_in_hours", "Planned, in hours", ""),
        Rule("telephone_planned_out_of_hours", "Planned, out of hours", ""),
        Rule("hours_start", "Hours from", ""),
        Rule("hours_end", "Hours to", ""),
        Rule("closed_weekdays", "Closed on", ""),
        Rule("protocol_text", "Local protocol", "", help="Shown where a protocol decides."),
        Rule("holidays", "Days off", "", help="One date a line, as 2026-12-25. They are no working days."),
    ),
    "Non-attendance": (
        Rule(
            "attempts_before_escalation",
            "Failed attempts to reach a patient before it is escalated",
            PRACTICE,
            "attempts",
        ),
        Rule("planned_reach_days", "A planned referral reaches the other team within", DESIGN, "days"),
        Rule(
            "escalation_text",
            "When nobody can be reached",
            "",
            help="Shown on the contact sheet after the failed attempts.",
        ),
    ),
    "Relief plan": (
        Rule(
            "weight_threshold_kg",
            "Cut the base from this body weight",
            PRACTICE,
            "kg",
            "At the threshold counts as above.",
        ),
        Rule("margin_mm", "Margin round the ulcer", PRACTICE, "mm"),
        Rule(
            "distal_margin_mm", "Margin toward the toes", PRACTICE, "mm", "Never below the margin round it."
        ),
        Rule("bevel_deg", "Angle of the wall to the surface", PRACTICE, "°"),
    ),
    "Asked before saving": (
        Rule(
            "question_area_ratio",
            "An area is asked about from this many times the last comparable one",
            PRACTICE,
            "times",
            "Or that part of it. The question is asked once and stops nobody.",
        ),
        Rule(
            "question_small_area_ratio", "The same where one of the two is under 0.5 cm²", PRACTICE, "times"
        ),
        Rule("question_weight_percent", "A weight is asked about from a change of", PRACTICE, "%"),
    ),
    "How long a result is valid": (
        Rule("weight_fresh_days", "Weight", PRACTICE, "days"),
        Rule(
            "perfusion_fresh_days",
            "Perfusion, a good value",
            PRACTICE,
            "days",
            "A bad value never ages: it stands until a better one is measured.",
        ),
        Rule(
            "perfusion_healing_days",
            "Perfusion, a good value while the ulcer is on track",
            PRACTICE,
            "days",
            "Ends at once with dead tissue, rest pain, a cold foot or a worsening ulcer.",
        ),
        Rule(
            "infection_look_days",
            "A clean look for infection, to sign a non-removable device",
            PRACTICE,
            "days",
            "Fitting and sealing need a clean look of the same day.",
        ),
        Rule("falls_fresh_days", "Falls screen", DESIGN, "days"),
    ),
    "Non-removable devices": (
        Rule(
            "sealed_first_days",
            "First opening after sealing",
            f"first review within one week: {GUIDELINE}",
            "days",
        ),
        Rule("sealed_days", "Every opening after that", f"then every one to two weeks: {GUIDELINE}", "days"),
        Rule(
            "first_change_hours",
            "First change of a new device already after",
            PRACTICE,
            "hours",
            "Left empty, the first opening above holds.",
        ),
        Rule(
            "opening_text",
            "How to open a non-removable device",
            "",
            help="Printed on the card the patient leaves with.",
        ),
    ),
    "Closing and reopening": (
        Rule(
            "confirm_closure_days",
            "Healed is confirmed after",
            "two visits two weeks apart: regulators' definition, from memory",
            "days",
            "May be longer, never shorter.",
        ),
        Rule(
            "reopen_days",
            "Reopened within this time it is the same ulcer",
            DESIGN,
            "days",
            "Later it is a recurrence.",
        ),
    ),
    "Infection": (
        Rule(
            "looks_apart_days",
            "Least time between the two clean looks that lift grade 3, 4 or an abscess",
            PRACTICE,
            "days",
            "The second is a podiatrist's.",
        ),
        Rule(
            "erythema_2_cm",
            "Redness of exactly 2 cm is",
            "the editions differ. Moderate: IWGDF/IDSA 2023. Mild: IDSA 2012 and WIfI 2014",
        ),
    ),
    "Perfusion": (
        Rule(
            "toe_kit",
            "A toe pressure can be measured here",
            PRACTICE,
            help="Where it can, waveforms with an ankle index settle nothing.",
        ),
        Rule(
            "tcpo2_urgent_mmhg",
            "TcPO2 below this is urgent",
            "sources disagree. 25: IWGDF practical guidelines 2023. 30: a 2024 review's table of the same "
            "guideline, and the WIfI grade 3 line",
            "mmHg",
        ),
    ),
}
STACK = Rule(
    "stack",
    "Insole from the foot down",
    "demonstration values until this clinic enters its own; common practice, no source",
)
SECOND = Rule(
    "second_signature", "A device needs a second podiatrist's signature before it is fitted", DESIGN
)
URGENCY = Rule(
    "urgencies",
    "Urgency of referrals",
    "the guidance's own urgency stays the least there is; " + PRACTICE,
    help="More pressing than the guidance, never less.",
)
FITTING = Rule(
    "fitting_steps",
    "Fitting lists",
    PRACTICE,
    help="One step a line. Empty: the program's own list, shown beside it.",
)
RULES: dict[str, Rule] = {rule.name: rule for rules in GROUPS.values() for rule in rules} | {
    rule.name: rule for rule in (STACK, SECOND, URGENCY, FITTING)
}
#: Rules with an editor of their own on the page.
APART = ("stack", "second_signature", "urgencies", "fitting_steps")
HISTORY_SHOWN = 20
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


@dataclass(frozen=True)
class HouseRuleAmendment:
    """One change of the rules: who, when, and each value from and to."""

    at: datetime
    who: str
    changes: tuple[tuple[str, str, str], ...]


def stack_words(stack: Iterable[Mapping[str, Any]]) -> str:
    """The layers in words, from the foot down."""
    foams = packaged_foams()
    return ", ".join(
        f"{layer['role']} {_foam(foams, layer['foam'])} {float(layer['thickness_mm']):g} mm"
        for layer in stack
    )


def _foam(foams: Mapping[str, Any], key: str) -> str:
    return foams[key].label.lower() if key in foams else key


def value_words(name: str, value: Any) -> str:
    """A value with its unit, as the page and its history show it."""
    if name == "stack":
        return stack_words(value)
    if name == "urgencies":
        lines = [f"{REFERRALS[key].lower()} {urgency.replace('_', ' ')}" for key, urgency in value.items()]
        return "; ".join(lines) or "as the guidance says"
    if name == "fitting_steps":
        own = [f"{FITTING_LISTS[key].words.lower()}: {'; '.join(steps)}" for key, steps in value.items()]
        return " / ".join(own) or "the program's own"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value in ("", None):
        return "nothing"
    if name == "closed_weekdays":
        return ", ".join(WEEKDAYS[day] for day in value)
    if isinstance(value, list):
        return ", ".join(value) or "nothing"
    if hasattr(value, "strftime"):
        return str(value.strftime("%H:%M"))
    unit = RULES[name].unit
    shown = f"{float(value):g}" if unit else str(value)
    return f"{shown}{'' if unit == '°' else ' '}{unit}".strip()


def seen_number(site: Site) -> int:
    """Number of the newest copy of the site's rules: a page made from an older one overwrites nothing."""
    copies = site.history.order_by("-history_id")  # type: ignore[attr-defined]
    return copies.values_list("history_id", flat=True).first() or 0


def history_of(site: Site) -> tuple[HouseRuleAmendment, ...]:
    """The last changes, newest first; one query."""
    newest_first = site.history.order_by("-history_id")  # type: ignore[attr-defined]
    copies = list(newest_first.select_related("history_user")[: 2 * HISTORY_SHOWN])
    lines = []
    for new, old in zip(copies, copies[1:], strict=False):
        changes = tuple(
            (rule.words, value_words(name, getattr(old, name)), value_words(name, getattr(new, name)))
            for name, rule in RULES.items()
            if getattr(old, name) != getattr(new, name)
        )
        if changes:
            lines.append(
                HouseRuleAmendment(new.history_date, str(new.history_user or "the program"), changes)
            )
    return tuple(lines[:HISTORY_SHOWN])
