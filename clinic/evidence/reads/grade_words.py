"""How the page names a finding that a grade misses, and which of them belong to an open bed only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

__all__ = ["OF_THE_BED", "named"]

#: Findings as the page names them where the grading functions use shorter keys.
MISSING_WORDS = {
    "site": "site",
    "flow_reduced": "foot pulses",
    "ischaemia": "perfusion",
    "neuropathy": "monofilament",
    "sensation_lost": "monofilament",
    "bacterial_infection": "infection looked at",
    "infection": "infection looked at",
    "infected": "infection looked at",
    "ischaemic": "perfusion",
    "area": "area",
    "depth": "depth class",
    "reaches": "depth class",
    "wound": "wound grade",
    "gangrene": "red-flag questions (gangrene)",
    "extensive": "whether it is extensive",
    "erythema_cm": "reach of redness",
    "deep": "deeper than the skin or not",
    "systemic": "fever or unwell or not",
    "osteomyelitis": "bone infection",
    "artery_disease": "artery disease (pulses or indices)",
    "deformity": "deformity",
    "past_ulcer": "ulcer before",
    "amputation": "amputation",
    "end_stage_renal_disease": "dialysis",
}

#: What the visit asks about an open ulcer only.
OF_THE_BED = frozenset(
    MISSING_WORDS[name]
    for name in (
        "infection",
        "area",
        "depth",
        "wound",
        "gangrene",
        "extensive",
        "erythema_cm",
        "deep",
        "systemic",
        "osteomyelitis",
    )
)


def named(missing: Iterable[str], swapped: Mapping[str, str] | None = None) -> tuple[str, ...]:
    """The findings by their words, each once; `swapped` has other words for some."""
    words = {**MISSING_WORDS, **(swapped or {})}
    return tuple(dict.fromkeys(words.get(name, name.replace("_", " ")) for name in missing))
