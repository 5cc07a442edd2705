"""Writing down what was decided on a device: the signed record's content, and one sentence for each decision.

Both are copies in words. A later edition, name or finding never rewrites them; their hashes show that nobody
did.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from clinic.guidelines.devices import DEVICES
from clinic.models import DecisionKind, DecisionLine, Limb, Prescription, User
from clinic.record.dates import day_words
from clinic.record.writes.rows import store
from clinic.rules.reads.reasons import ReasonChoice

__all__ = ["decision_add", "device_words", "signed_content", "signed_sentence", "who"]

#: Facts that a sentence on the decision names, in this order, where they were known.
TOLD = (
    "infection_grade",
    "osteomyelitis",
    "ischaemia_grade",
    "high_falls_risk",
    "cannot_attend_weekly",
    "declines_non_removable",
    "both_feet_ulcerated",
    "active_charcot",
    "device_available",
)


def who(user: User) -> str:
    """A user as the record names them."""
    return f"{user}, {user.get_role_display().lower()}"


def device_words(prescription: Prescription) -> str:
    """The device in words as they stood when it was chosen."""
    label = prescription.content.get("device", {}).get("label") or DEVICES[prescription.device_class].label
    return f"the {label.lower()} chosen on {prescription.prescribed_on:%-d %b %Y}"


def joined(words: Sequence[str], last: str = "and") -> str:
    """A list as a sentence says it."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def signed_content(
    *,
    by: User,
    limb: Limb,
    page: Mapping[str, Any],
    device_class: str,
    device_label: str,
    beside: Sequence[str],
    reason: str,
    departure: ReasonChoice | None,
    agrees: bool | None,
    prescribed_on: date,
    signed_at: datetime,
    stops: Mapping[str, Any] | None,
    carried_plan: str,
    second_needed: bool,
    forecast: Mapping[str, Any] | None,
    against: Sequence[str] = (),
) -> dict[str, Any]:
    """Everything page and print say of a decision, in words as they stand at this moment."""
    person = limb.person
    device = DEVICES[device_class]
    serving = {row["id"]: row["serves"] for row in page["offers"]}
    return {
        **page,
        "site": person.site.name,
        "person": {
            "name": person.full_name,
            "record_number": person.record_number,
            "birth_date": person.birth_date.isoformat(),
        },
        "foot": f"{limb.get_side_display().lower()} foot",
        "device": {
            "id": device.id,
            "label": device.label,
            "gains": device.gains,
            "costs": device.costs,
            "tracing": device_label,
        },
        "beside": [
            {"id": name, "label": DEVICES[name].label, "serves": list(serving.get(name, ()))}
            for name in beside
        ],
        "agrees": agrees,
        "departure": {
            "code": departure.counts_as if departure else "",
            "words": departure.words if departure else "",
        },
        "reason": reason,
        "stops": dict(stops) if stops else None,
        "carried_plan": carried_plan,
        "second_needed": second_needed,
        "against": list(against),
        "forecast": dict(forecast) if forecast else None,
        "prescribed_on": prescribed_on.isoformat(),
        "signed_by": who(by),
        "signed_at": timezone.localtime(signed_at).isoformat(timespec="minutes"),
    }


def _rested_on(content: Mapping[str, Any]) -> str:
    sentences = []
    for lesion in content["lesions"]:
        rows = {row["name"]: row for row in lesion["rows"]}
        known = [
            f"{rows[name]['words'][0].lower()}{rows[name]['words'][1:]} {rows[name]['shown']}"
            for name in TOLD
            if name in rows and rows[name]["value"] is not None
        ]
        sentences.append(f"ulcer {lesion['label']}: {', '.join(known) or 'none of the deciding facts known'}")
    return "; ".join(sentences)


def signed_sentence(content: Mapping[str, Any]) -> str:
    """The decision in one sentence: who, what, for which lesions, what the guidance put first, why, on
    what facts.
    """
    first = [row["label"].lower() for row in content["offers"] if row["first"]]
    places = joined([f"{one['label']} ({one['where']})" for one in content["lesions"]])
    label = content["device"]["label"].lower()
    beside = joined([row["label"].lower() for row in content["beside"]])
    chosen = f"{label}{f' with {beside} beside it' if beside else ''}"
    plural = "s" if len(content["lesions"]) > 1 else ""
    first_words = f"put {joined(first, 'or')} first" if first else "offered no class"
    when = day_words(date.fromisoformat(content["prescribed_on"]))
    guidance = f"the guidance ({content['edition']}) {first_words}"
    departed = content["departure"]["words"]
    if content["agrees"]:
        link = f"as {guidance}"
    elif departed:
        link = f"although {guidance} (coded reason: {departed[0].lower()}{departed[1:]})"
    else:
        link = f"where {guidance}"
    missing = f"; not known that day: {', '.join(content['missing'])}" if content["missing"] else ""
    stops = content["stops"]
    change = (
        f", in place of {stops['label'].lower()} ({stops['reason'][0].lower()}{stops['reason'][1:]})"
        if stops
        else ""
    )
    refer = joined([f"{row['label'].lower()} {row['urgency_words']}" for row in content["refer"]])
    against = "".join(
        f"; signed against a known danger, so that a second clinician signs too: {text}"
        for text in content["against"]
    )
    referred = f"; the guidance also asked to refer: {refer}" if refer else ""
    return (
        f"On {when} {content['signed_by']}, chose {chosen} for ulcer{plural} {places}{change}, {link}, "
        "saying "
        f"“{content['reason']}”, on these findings: {_rested_on(content)}{missing}{against}{referred}."
    )


def decision_add(
    *, by: User, prescription: Prescription, kind: DecisionKind, on: date, sentence: str
) -> DecisionLine:
    """Add the sentence of one decision; call inside the transaction of the decision itself."""
    line = DecisionLine(
        limb=prescription.limb,
        prescription=prescription,
        kind=kind,
        decided_on=on,
        who=who(by),
        sentence=sentence,
        content_sha256=prescription.content_sha256,
    )
    line.digest = line.computed_digest()
    store(line, by=by)
    return line
