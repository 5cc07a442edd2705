"""The answer of the rule table: what is offered, withheld, referred and missing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol, TypeVar

from clinic.guidelines.devices import DEVICES, REFERRALS, URGENCIES, Urgency, most_urgent
from clinic.guidelines.errors import GuidelineError

__all__ = ["NOTICE", "Advice", "Offer", "Referral", "Withheld", "advice_json", "tightened"]

NOTICE = "Supports licensed judgement. Follow local protocol. Not a diagnosis."


@dataclass(frozen=True)
class Offer:
    """A device class the table offers.

    Parameters
    ----------
    id : str
    tier : int
        Place in the published sequence, 1 first. [-]
    rules : tuple of str
        Topic keys that speak for it.
    cautions : tuple of str
    because : tuple of str
        Reasons of the rows that offer it.
    derived : tuple of str
        Those reasons that the source does not spell out.
    rows : tuple of str
        Ids of the rows.
    """

    id: str
    tier: int
    rules: tuple[str, ...]
    cautions: tuple[str, ...]
    because: tuple[str, ...]
    derived: tuple[str, ...]
    rows: tuple[str, ...]

    @property
    def last_resort(self) -> bool:
        """Whether it is rest as it is always offered, beside a device or where none may be chosen."""
        return DEVICES[self.id].is_rest and self.tier > 1


@dataclass(frozen=True)
class Withheld:
    """A device class, or a referral to discuss surgery, that is not offered, and why."""

    id: str
    reasons: tuple[str, ...]
    rows: tuple[str, ...]

    @property
    def because(self) -> str:
        """All reasons as one text."""
        return " ".join(self.reasons)


@dataclass(frozen=True)
class Referral:
    """Somebody else has to see this foot: who, how soon and why."""

    id: str
    urgency: Urgency
    reasons: tuple[str, ...]
    rows: tuple[str, ...]

    @property
    def because(self) -> str:
        """All reasons as one text."""
        return " ".join(self.reasons)


@dataclass(frozen=True)
class Advice:
    """The table's answer for one lesion.

    Parameters
    ----------
    classes : tuple of Offer
        Ranked, best first.
    withheld : tuple of Withheld
        Classes that were considered and are not offered.
    refer : tuple of Referral
        Most urgent first.
    held_referrals : tuple of Withheld
        Surgery that would be discussed, were it not for the reasons given.
    contradictions : tuple of str
        Facts that contradict each other, and how they were read.
    rules : tuple of str
        Topic keys of the rows that decided something.
    rows : tuple of str
        Ids of those rows.
    missing : tuple of str
        Facts of the first group that are missing.
    edition : str
    notice : str
    """

    classes: tuple[Offer, ...]
    withheld: tuple[Withheld, ...]
    refer: tuple[Referral, ...]
    held_referrals: tuple[Withheld, ...]
    contradictions: tuple[str, ...]
    rules: tuple[str, ...]
    rows: tuple[str, ...]
    missing: tuple[str, ...]
    edition: str
    notice: str


def advice_json(advice: Advice) -> dict[str, Any]:
    """The answer in the form of the command's contract.

    Contradictions, derived reasons and held referrals have no field of their own there; they stand among the
    cautions of each class they bear on, contradictions also among the reasons for what is withheld.

    Parameters
    ----------
    advice : Advice

    Returns
    -------
    dict
        With keys classes, withheld, refer, rules, missing, edition, notice.
    """
    noted = [f"Contradiction: {text}" for text in advice.contradictions]
    noted += [f"Not referred: {held.because}" for held in advice.held_referrals]
    return {
        "classes": [
            {
                "id": offer.id,
                "tier": offer.tier,
                "rules": list(offer.rules),
                "cautions": [*noted, *(f"Derived: {text}" for text in offer.derived), *offer.cautions],
            }
            for offer in advice.classes
        ],
        "withheld": [
            {"id": w.id, "because": " ".join([w.because, *advice.contradictions])} for w in advice.withheld
        ],
        "refer": [{"id": r.id, "urgency": r.urgency, "because": r.because} for r in advice.refer],
        "rules": list(advice.rules),
        "missing": list(advice.missing),
        "edition": advice.edition,
        "notice": advice.notice,
    }


class _Referral(Protocol):
    @property
    def id(self) -> str: ...
    @property
    def urgency(self) -> Urgency: ...


R = TypeVar("R", bound=_Referral)


def tightened(referrals: Sequence[R], site: Mapping[str, Urgency]) -> tuple[R, ...]:
    """Referrals with a site's own urgencies, where these are more pressing.

    Parameters
    ----------
    referrals : sequence of Referral or LimbReferral
    site : mapping of str to {"immediate", "one_working_day", "planned"}
        Referral id to the site's urgency. A less pressing one than the table's changes nothing: a site may
        tighten, never loosen.

    Returns
    -------
    tuple
        Most urgent first.

    Raises
    ------
    GuidelineError
        If the site names an unknown referral or urgency.
    """
    for name, urgency in site.items():
        if name not in REFERRALS:
            raise GuidelineError(f"site urgency names {name}, must be one of {', '.join(REFERRALS)}")
        if urgency not in URGENCIES:
            raise GuidelineError(
                f"site urgency of {name} is {urgency}, must be one of {', '.join(URGENCIES)}"
            )
    closer = [
        replace(r, urgency=most_urgent(r.urgency, site.get(r.id, r.urgency)))  # type: ignore[type-var]
        for r in referrals
    ]
    return tuple(sorted(closer, key=lambda r: URGENCIES.index(r.urgency)))
