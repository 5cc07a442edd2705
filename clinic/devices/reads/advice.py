"""Advice on the device for a limb, from the record and the page's answers; and what signing copies of it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date
from functools import cached_property
from typing import Any, cast

from clinic.evidence.reads.facts import (
    ASKED,
    PER_LESION,
    WORDS,
    FactRow,
    LesionFacts,
    facts_of_limb,
    supposed,
)
from clinic.evidence.reads.grades import GradeRow, grades_of
from clinic.evidence.reads.standing import LimbStanding, standing_of
from clinic.guidelines.advice import tightened
from clinic.guidelines.combine import Limb as Leg
from clinic.guidelines.combine import LimbAdvice, LimbOffer, LimbWithheld, combine_limb, combine_person
from clinic.guidelines.devices import DEVICES, REFERRALS, Device, Urgency
from clinic.guidelines.edition import Recommendation, current
from clinic.guidelines.facts import Facts
from clinic.guidelines.standing_limb import under
from clinic.guidelines.table import decide, unasked
from clinic.lesions.reads.non_healing import care_of
from clinic.models import Lesion, Limb, Prescription, Side, Site

__all__ = [
    "URGENCY_WORDS",
    "LimbDecision",
    "OfferRow",
    "ToldBefore",
    "limb_decision",
    "told_before",
]

URGENCY_WORDS: dict[str, str] = {
    "immediate": "at once",
    "one_working_day": "within one working day",
    "planned": "planned",
}
HEIGHT_WORDS = {
    "knee_high": "to the knee",
    "ankle_high": "to the ankle",
    "below_ankle": "below the ankle",
    "none": "no device on the leg",
}
#: What is ticked on the prescribing page, answered so that nothing stands in the way of a better tier.
_EASED: dict[str, Any] = {
    "needs_frequent_dressing": False,
    "device_available": True,
}


def _eased(one: LesionFacts) -> Facts:
    return replace(one.facts, **{row.name: _EASED[row.name] for row in one.rows if row.name in _EASED})


@dataclass(frozen=True)
class OfferRow:
    """A class the advice offers, with what the page says of it."""

    offer: LimbOffer
    device: Device
    recommendations: tuple[Recommendation, ...]
    first: bool

    @property
    def reach(self) -> str:
        return HEIGHT_WORDS[self.device.height]

    @property
    def beside(self) -> bool:
        """Whether it can stand beside another device on the same foot."""
        return self.device.height == "none"

    def as_copy(self) -> dict[str, Any]:
        """The offer as the prescription keeps it, in words."""
        return {
            "id": self.device.id,
            "label": self.device.label,
            "first": self.first,
            "tier": self.offer.tier,
            "serves": list(self.offer.serves),
            "leaves": list(self.offer.leaves),
            "decided_by": self.offer.decided_by,
            "because": list(self.offer.because),
            "cautions": list(self.offer.cautions),
            "reach": self.reach,
            "removable": self.device.removable,
            "in_sizes": self.device.prefabricated,
            "gains": self.device.gains,
            "costs": self.device.costs,
            "rules": [
                {
                    "topic": rec.topic,
                    "says": rec.says,
                    "strength": rec.strength,
                    "certainty": rec.certainty,
                    "verified": rec.label_verified,
                    "source": rec.source,
                }
                for rec in self.recommendations
            ],
        }


@dataclass(frozen=True)
class LimbDecision:
    """Facts and advice for one limb on one day: what the page shows and the prescription copies."""

    facts: tuple[LesionFacts, ...]
    advice: LimbAdvice
    notes: tuple[str, ...]
    running: Prescription | None
    grades: Mapping[int, tuple[GradeRow, ...]]
    site: Site
    foot: LimbStanding
    what_if: tuple[str, ...] = ()

    @cached_property
    def offers(self) -> tuple[OfferRow, ...]:
        table = current().recommendations
        first = self.first_offered
        return tuple(
            OfferRow(
                offer,
                DEVICES[offer.id],
                tuple(table[rule] for rule in offer.rules if rule in table),
                offer.id in first,
            )
            for offer in self.advice.classes
        )

    @property
    def withheld(self) -> tuple[tuple[Device, LimbWithheld], ...]:
        return tuple((DEVICES[row.id], row) for row in self.advice.withheld)

    @property
    def not_spoken_of(self) -> tuple[Device, ...]:
        """Classes that no rule offers or withholds on these facts."""
        spoken = {row.id for row in self.advice.classes} | {row.id for row in self.advice.withheld}
        return tuple(device for device in DEVICES.values() if device.id not in spoken)

    @property
    def beside(self) -> tuple[OfferRow, ...]:
        """What can stand beside a device on the same foot."""
        return tuple(row for row in self.offers if row.beside)

    @property
    def first_offered(self) -> tuple[str, ...]:
        """Classes the advice puts first: the best of those that serve every lesion.

        Where none serves them all, the best for each lesion: a walker for one and a spacer for the other are
        then both put first, and neither is a departure (own design). Rest, which is always there, is first
        only alone.
        """
        ranked = [o for o in self.advice.classes if not o.last_resort] or self.advice.classes
        whole = [o for o in ranked if not o.leaves]
        groups = [whole] if whole else [[o for o in ranked if x in o.serves] for x in self.advice.lesions]
        first: set[str] = set()
        for group in groups:
            best = min(((len(o.leaves), o.tier) for o in group), default=None)
            first |= {o.id for o in group if (len(o.leaves), o.tier) == best}
        return tuple(o.id for o in ranked if o.id in first)

    @property
    def standing(self) -> str:
        """How the classes put first compare with the guidance's first tier for this foot (own design).

        `first` while they are of that tier. Below it, the advice is computed again without what was only
        ticked on the prescribing page: if that brings a better tier, no dated fact supports the lower one.
        """
        tier = min((o.tier for o in self.advice.classes if o.id in self.first_offered), default=1)
        if tier == 1:
            return "first"
        by_label = {one.lesion.label: one for one in self.facts}

        def best(ease: bool) -> int:
            advice = combine_limb(
                self.advice.limb,
                {label: decide(_eased(one) if ease else one.facts) for label, one in by_label.items()},
            )
            return min((o.tier for o in advice.classes if not o.leaves and not o.last_resort), default=tier)

        # Both without the other leg's device, which is a dated fact.
        return "lower_ticked" if best(True) < best(False) else "lower_dated"

    @property
    def unasked(self) -> tuple[str, ...]:
        """Questions still open before a device that stays on is closed, in words."""
        return tuple(WORDS[name] for name in self._unasked)

    @property
    def unasked_here(self) -> tuple[str, ...]:
        """Those that only this page asks."""
        return tuple(WORDS[name] for name in self._unasked if name in ASKED)

    @cached_property
    def _unasked(self) -> tuple[str, ...]:
        names = dict.fromkeys(name for one in self.facts for name in unasked(one.facts))
        # Whether a device was tolerated follows from the prescriptions; nobody answers it here.
        return tuple(name for name in names if name != "previous_device_not_tolerated")

    @property
    def missing_words(self) -> tuple[str, ...]:
        """Missing facts as the page names them in a sentence: a name such as Charcot keeps its capital."""
        missing = [WORDS.get(name, name.replace("_", " ")) for name in self.advice.missing]
        return tuple(words[:1].lower() + words[1:] for words in missing)

    @property
    def lesion_rows(self) -> tuple[tuple[LesionFacts, tuple[GradeRow, ...]], ...]:
        return tuple((one, self.grades.get(one.lesion.pk, ())) for one in self.facts)

    @property
    def shared_rows(self) -> tuple[FactRow, ...]:
        """Facts of the foot and the person, which are the same for every lesion."""
        return tuple(row for row in self.facts[0].rows if row.name not in PER_LESION)

    @property
    def refer(self) -> tuple[dict[str, Any], ...]:
        """Referrals in words; tighter ones of the site say so."""
        return tuple(
            {
                "id": row.id,
                "label": REFERRALS[row.id],
                "urgency": row.urgency,
                "urgency_words": URGENCY_WORDS[row.urgency],
                "because": row.because,
                "for": list(row.decided_by),
                "site": self.site.urgencies.get(row.id) == row.urgency,
            }
            for row in self.advice.refer
        )

    def facts_copy(self) -> dict[str, Any]:
        return {
            f.lesion.label: {"where": f.lesion.where, "rows": [row.as_copy() for row in f.rows]}
            for f in self.facts
        }

    def advice_copy(self) -> dict[str, Any]:
        return {**asdict(self.advice), "person_notes": list(self.notes)}

    def page_copy(self) -> dict[str, Any]:
        """Everything the page says of facts, grades and advice, in words as they stand now."""
        return {
            "lesions": [
                {
                    "label": one.lesion.label,
                    "where": one.lesion.where,
                    "kind": one.lesion.get_wound_kind_display(),
                    "cause": one.lesion.get_cause_display(),
                    "rows": [row.as_copy() for row in one.rows],
                    "grades": [row.as_copy() for row in grades],
                }
                for one, grades in self.lesion_rows
            ],
            "offers": [row.as_copy() for row in self.offers],
            "withheld": [
                {"id": device.id, "label": device.label, "because": row.because}
                for device, row in self.withheld
            ],
            "refer": list(self.refer),
            "missing": list(self.missing_words),
            "contradictions": list(self.advice.contradictions),
            "notes": [*self.advice.notes, *self.notes],
            "edition": self.advice.edition,
            "notice": self.advice.notice,
            "protocol": self.site.protocol_text,
        }

    @property
    def digest(self) -> str:
        """Hash of what the page showed: a choice made on other advice than this is sent back."""
        text = json.dumps([self.facts_copy(), self.advice_copy()], sort_keys=True, default=str)
        return hashlib.sha256(text.encode()).hexdigest()


def _with_care(facts: list[LesionFacts], day: date) -> list[LesionFacts]:
    """The facts with whether good care has failed: read from the course and the non-healing review."""
    care = care_of([one.lesion for one in facts], day)
    answer = []
    for one in facts:
        standing = care[one.lesion.pk]
        shown = {True: "yes", False: "no", None: "not known"}[standing.failed]
        state: Any = "missing" if standing.failed is None else "current"
        rows = tuple(
            replace(row, value=standing.failed, shown=shown, state=state, note=standing.because)
            if row.name == "non_surgical_care_failed"
            else row
            for row in one.rows
        )
        known = replace(one.facts, non_surgical_care_failed=standing.failed)
        answer.append(LesionFacts(one.lesion, known, rows))
    return answer


def limb_decision(
    limb: Limb, day: date, answers: Mapping[str, Any], what_if: Mapping[str, Any] | None = None
) -> LimbDecision | None:
    """Facts and advice for the open lesions of a limb; None when it has none.

    `what_if` tries facts otherwise without touching the record; such a decision says so and is never signed.
    """
    foot = standing_of(limb, day)
    facts = _with_care(facts_of_limb(limb, day, answers, foot), day)
    if not facts:
        return None
    switched: tuple[str, ...] = ()
    if what_if:
        facts = [supposed(one, what_if) for one in facts]
        switched = tuple(
            dict.fromkeys(
                f"{row.words.lower()}: {row.shown}"
                for one in facts
                for row in one.rows
                if row.state == "supposed"
            )
        )
    advice = combine_limb(cast(Leg, limb.side), {f.lesion.label: decide(f.facts) for f in facts})
    running = {
        p.limb.side: p
        for p in Prescription.objects.filter(limb__person=limb.person_id, stopped_on=None).select_related(
            "limb", "relief_plan"
        )
    }
    other_side = Side.RIGHT if limb.side == Side.LEFT else Side.LEFT
    worn = {cast(Leg, other_side.value): running[other_side].device_class} if other_side in running else {}
    person = combine_person([advice], worn_or_chosen=worn)
    site = limb.person.site
    # A what-if tries facts otherwise; what stands in the record is not tried away by it.
    combined = person.limbs[0] if switched else under(person.limbs[0], foot.by_label)
    combined = replace(combined, refer=tightened(combined.refer, cast(Mapping[str, Urgency], site.urgencies)))
    return LimbDecision(
        tuple(facts),
        combined,
        person.notes,
        running.get(limb.side),
        grades_of(limb, [one.lesion for one in facts], day, foot),
        site,
        foot,
        switched,
    )


@dataclass(frozen=True)
class ToldBefore:
    """What was answered when the present device was signed, and when; it is carried over only by hand."""

    on: date
    answers: Mapping[str, bool]

    def words(self, name: str) -> str:
        return "yes" if self.answers[name] else "no"


def told_before(running: Prescription | None, lesions: list[Lesion]) -> ToldBefore | None:
    """Answers stored with the running device."""
    if running is None or not lesions:
        return None
    found: dict[str, bool] = {}
    for copy in running.facts.values():
        rows = copy.get("rows", ()) if isinstance(copy, dict) else ()
        for row in rows:
            if row["name"] in ASKED and row["value"] is not None:
                found[row["name"]] = bool(row["value"])
    return ToldBefore(running.prescribed_on, found) if found else None
