"""Advice on the device for a limb, from the record and what was asked on the page."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, cast

from clinic.guidelines.combine import Limb as Leg
from clinic.guidelines.combine import LimbAdvice, LimbOffer, LimbWithheld, combine_limb, combine_person
from clinic.guidelines.devices import DEVICES, Device
from clinic.guidelines.edition import Recommendation, current
from clinic.guidelines.table import decide
from clinic.models import Limb, Prescription, Side

from .facts import WORDS, LesionFacts, facts_of_limb

__all__ = ["LimbDecision", "OfferRow", "limb_decision", "prescription_rows"]


@dataclass(frozen=True)
class OfferRow:
    """A class the advice offers, with what the page says of it."""

    offer: LimbOffer
    device: Device
    recommendations: tuple[Recommendation, ...]
    first: bool


@dataclass(frozen=True)
class LimbDecision:
    """Facts and advice for one limb on one day: what the page shows and the prescription copies."""

    facts: tuple[LesionFacts, ...]
    advice: LimbAdvice
    notes: tuple[str, ...]
    running: Prescription | None

    @property
    def offers(self) -> tuple[OfferRow, ...]:
        table = current().recommendations
        best = self.best
        return tuple(
            OfferRow(
                offer,
                DEVICES[offer.id],
                tuple(table[rule] for rule in offer.rules if rule in table),
                (len(offer.leaves), offer.tier) == best,
            )
            for offer in self.advice.classes
        )

    @property
    def withheld(self) -> tuple[tuple[Device, LimbWithheld], ...]:
        return tuple((DEVICES[row.id], row) for row in self.advice.withheld)

    @property
    def best(self) -> tuple[int, int] | None:
        """Rank shared by the classes the advice puts first."""
        ranks = [(len(o.leaves), o.tier) for o in self.advice.classes]
        return min(ranks) if ranks else None

    @property
    def first_offered(self) -> tuple[str, ...]:
        return tuple(o.id for o in self.advice.classes if (len(o.leaves), o.tier) == self.best)

    @property
    def missing_words(self) -> tuple[str, ...]:
        """Missing facts as the page names them."""
        return tuple(WORDS.get(name, name.replace("_", " ")).lower() for name in self.advice.missing)

    def facts_copy(self) -> dict[str, Any]:
        return {
            f.lesion.label: {"where": f.lesion.where, "rows": [row.as_copy() for row in f.rows]}
            for f in self.facts
        }

    def advice_copy(self) -> dict[str, Any]:
        return {**asdict(self.advice), "person_notes": list(self.notes)}

    @property
    def digest(self) -> str:
        """Hash of what the page showed: a choice made on other advice than this is sent back."""
        text = json.dumps([self.facts_copy(), self.advice_copy()], sort_keys=True, default=str)
        return hashlib.sha256(text.encode()).hexdigest()


def limb_decision(limb: Limb, day: date, answers: Mapping[str, Any]) -> LimbDecision | None:
    """Facts and advice for the open lesions of a limb; None when it has none."""
    facts = facts_of_limb(limb, day, answers)
    if not facts:
        return None
    advice = combine_limb(cast(Leg, limb.side), {f.lesion.label: decide(f.facts) for f in facts})
    running = {
        p.limb.side: p
        for p in Prescription.objects.filter(limb__person=limb.person_id, stopped_on=None).select_related(
            "limb"
        )
    }
    other_side = Side.RIGHT if limb.side == Side.LEFT else Side.LEFT
    worn = {cast(Leg, other_side.value): running[other_side].device_class} if other_side in running else {}
    person = combine_person([advice], worn_or_chosen=worn)
    return LimbDecision(tuple(facts), person.limbs[0], person.notes, running.get(limb.side))


def prescription_rows(prescription: Prescription) -> dict[str, Any]:
    """A signed prescription from its own copies only, for the page and the print."""
    advice = prescription.advice
    return {
        "lesions": [
            {"label": label, "where": copy["where"], "rows": copy["rows"]}
            for label, copy in prescription.facts.items()
            if isinstance(copy, dict) and "rows" in copy
        ],
        "classes": [
            {**offer, "label": DEVICES[offer["id"]].label if offer["id"] in DEVICES else offer["id"]}
            for offer in advice.get("classes", [])
        ],
        "withheld": [
            {**row, "label": DEVICES[row["id"]].label if row["id"] in DEVICES else row["id"]}
            for row in advice.get("withheld", [])
        ],
        "refer": advice.get("refer", []),
        "missing": [WORDS.get(name, name).lower() for name in advice.get("missing", [])],
        "notes": [
            *advice.get("notes", []),
            *advice.get("person_notes", []),
            *advice.get("contradictions", []),
        ],
    }
