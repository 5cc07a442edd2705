"""From advice per lesion to advice per limb and per person.

A prescription belongs to a limb and may serve several lesions; a person walks on two limbs.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from clinic.guidelines.advice import NOTICE, Advice
from clinic.guidelines.devices import DEVICES, NON_REMOVABLE, URGENCIES, Urgency, most_urgent
from clinic.guidelines.errors import GuidelineError

__all__ = [
    "LimbAdvice",
    "LimbOffer",
    "LimbReferral",
    "LimbWithheld",
    "PersonAdvice",
    "combine_limb",
    "combine_person",
    "without_non_removable",
]

Limb = Literal["left", "right"]
SECOND_STAYS_ON = (
    "The other leg has a non-removable device; a second one is not fitted (common practice, no source)."
)
ONE_SIDE_ONLY = (
    "A non-removable device is possible on either leg, but only on one of them (common practice, no source)."
)
UNSERVED = "Ulcer {label} is served by no device allowed on this limb."
LIFT = (
    "The knee-high device on the {limb} leg lifts that side: raise the lift under the {other} shoe to even "
    "out "
    "leg length (IWGDF offloading guideline 2023)."
)


@dataclass(frozen=True)
class LimbOffer:
    """A class allowed on this limb.

    Parameters
    ----------
    id : str
    tier : int
        Worst tier among the lesions it serves. [-]
    decided_by : str
        Label of the lesion that gives that tier.
    serves, leaves : tuple of str
        Labels of the lesions it is advised for, and of those that need something of their own.
    rules, because : tuple of str
        Topic keys that speak for it, and their reasons.
    cautions : tuple of str
        Reasons that the source does not spell out come first and say so.
    """

    id: str
    tier: int
    decided_by: str
    serves: tuple[str, ...]
    leaves: tuple[str, ...]
    rules: tuple[str, ...]
    because: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def last_resort(self) -> bool:
        """Whether it is rest as it is always offered: it serves every lesion, so it must not outrank a
        device.
        """
        return DEVICES[self.id].is_rest and self.tier > 1


@dataclass(frozen=True)
class LimbWithheld:
    """A class not allowed on this limb, and which lesions decided it; ``decided_by`` is empty if the
    person did.
    """

    id: str
    because: str
    decided_by: tuple[str, ...]


@dataclass(frozen=True)
class LimbReferral:
    """A referral that some lesions of the limb ask for."""

    id: str
    urgency: Urgency
    because: str
    decided_by: tuple[str, ...]


@dataclass(frozen=True)
class LimbAdvice:
    """Advice for one limb with all its lesions.

    Parameters
    ----------
    limb : {"left", "right"}
    lesions : tuple of str
        Labels.
    classes : tuple of LimbOffer
        Ranked: what serves every lesion first, then by worst tier.
    withheld : tuple of LimbWithheld
    refer : tuple of LimbReferral
    rules, contradictions, missing, notes : tuple of str
    edition, notice : str
    """

    limb: Limb
    lesions: tuple[str, ...]
    classes: tuple[LimbOffer, ...]
    withheld: tuple[LimbWithheld, ...]
    refer: tuple[LimbReferral, ...]
    rules: tuple[str, ...]
    contradictions: tuple[str, ...]
    missing: tuple[str, ...]
    notes: tuple[str, ...]
    edition: str
    notice: str = NOTICE


@dataclass(frozen=True)
class PersonAdvice:
    """Advice for both limbs of a person, limbs in the order given."""

    limbs: tuple[LimbAdvice, ...]
    notes: tuple[str, ...]
    notice: str = NOTICE


def _in_order(*groups: Sequence[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(item for group in groups for item in group))


def combine_limb(limb: Limb, lesions: Mapping[str, Advice]) -> LimbAdvice:
    """Advice for one limb from the advice for each of its lesions.

    Parameters
    ----------
    limb : {"left", "right"}
    lesions : mapping of str to Advice
        Lesion label to its advice, in the order the screen names them; all of one edition.

    Returns
    -------
    LimbAdvice

    Raises
    ------
    GuidelineError
        If there is no lesion, the limb is unknown, or the editions differ.

    Notes
    -----
    A class is allowed if at least one lesion is offered it and none withholds it. Its tier is the worst among
    the lesions it serves; a class that leaves a lesion unserved ranks behind those that leave none. A missing
    fact of one lesion is missing for the limb.
    """
    if limb not in ("left", "right"):
        raise GuidelineError(f"limb is {limb}, must be left or right")
    if not lesions:
        raise GuidelineError(f"ulcers of the {limb} limb are none, must be at least one")
    editions = _in_order([advice.edition for advice in lesions.values()])
    if len(editions) > 1:
        raise GuidelineError(f"editions of the {limb} limb are {' and '.join(editions)}, must be one")

    withheld: list[LimbWithheld] = []
    for name in DEVICES:
        against = {label: [w for w in advice.withheld if w.id == name] for label, advice in lesions.items()}
        deciding = tuple(label for label, found in against.items() if found)
        if deciding:
            because = " ".join(f"Ulcer {label}: {against[label][0].because}" for label in deciding)
            withheld.append(LimbWithheld(name, because, deciding))
    refused = {w.id for w in withheld}

    offers: list[LimbOffer] = []
    ranks = _in_order(*([offer.id for offer in advice.classes] for advice in lesions.values()))
    for name in ranks:
        if name in refused:
            continue
        found = {
            label: offer for label, advice in lesions.items() for offer in advice.classes if offer.id == name
        }
        tier = max(offer.tier for offer in found.values())
        offers.append(
            LimbOffer(
                id=name,
                tier=tier,
                decided_by=next(label for label, offer in found.items() if offer.tier == tier),
                serves=tuple(found),
                leaves=tuple(label for label in lesions if label not in found),
                rules=_in_order(*(offer.rules for offer in found.values())),
                because=_in_order(*(offer.because for offer in found.values())),
                cautions=_in_order(
                    *([f"Derived: {text}" for text in offer.derived] for offer in found.values()),
                    *(offer.cautions for offer in found.values()),
                ),
            )
        )
    offers.sort(key=lambda offer: (offer.last_resort, len(offer.leaves), offer.tier))

    refer: list[LimbReferral] = []
    for name in _in_order(*([r.id for r in advice.refer] for advice in lesions.values())):
        asking = {label: r for label, advice in lesions.items() for r in advice.refer if r.id == name}
        refer.append(
            LimbReferral(
                name,
                most_urgent(*(r.urgency for r in asking.values())),
                " ".join(_in_order(*(r.reasons for r in asking.values()))),
                tuple(asking),
            )
        )
    refer.sort(key=lambda r: URGENCIES.index(r.urgency))
    left_over = [
        label
        for label in lesions
        if not any(label in offer.serves for offer in offers if not offer.last_resort)
    ]
    return LimbAdvice(
        limb=limb,
        lesions=tuple(lesions),
        classes=tuple(offers),
        withheld=tuple(withheld),
        refer=tuple(refer),
        rules=_in_order(*(advice.rules for advice in lesions.values())),
        contradictions=_in_order(
            *(
                [f"Ulcer {label}: {text}" for text in advice.contradictions]
                for label, advice in lesions.items()
            )
        ),
        missing=_in_order(*(advice.missing for advice in lesions.values())),
        notes=(
            *(UNSERVED.format(label=label) for label in left_over),
            *(
                f"Ulcer {label}, not referred: {held.because}"
                for label, advice in lesions.items()
                for held in advice.held_referrals
            ),
        ),
        edition=editions[0],
    )


def combine_person(
    limbs: Sequence[LimbAdvice], *, worn_or_chosen: Mapping[Limb, str] | None = None
) -> PersonAdvice:
    """Advice for a person from the advice for each limb.

    Parameters
    ----------
    limbs : sequence of LimbAdvice
        One or two, each limb once.
    worn_or_chosen : mapping of limb to device class id, optional
        What each leg wears already or has been chosen in the same sitting; a leg without a lesion may stand
        here.

    Returns
    -------
    PersonAdvice

    Raises
    ------
    GuidelineError
        If a limb stands twice or is unknown, or a class id is unknown.

    Notes
    -----
    While one leg has a device that stays on, such classes are withheld on the other (common practice, no
    source). A knee-high device on one leg asks for a lift under the other shoe. If nothing is worn yet and
    both legs could have one, both keep the offer and the note says that only one may take it.
    """
    names = [limb.limb for limb in limbs]
    if len(set(names)) != len(names):
        raise GuidelineError(f"limbs are {', '.join(names)}, each must stand once")
    wearing = dict(worn_or_chosen or {})
    for limb, name in wearing.items():
        if limb not in ("left", "right"):
            raise GuidelineError(f"worn_or_chosen names limb {limb}, must be left or right")
        if name not in DEVICES:
            raise GuidelineError(f"worn_or_chosen names class {name}, must be one of {', '.join(DEVICES)}")

    notes: list[str] = []
    combined: list[LimbAdvice] = []
    for advice in limbs:
        other: Limb = "right" if advice.limb == "left" else "left"
        if wearing.get(other) in NON_REMOVABLE:
            advice = without_non_removable(advice, SECOND_STAYS_ON)
        if DEVICES.get(wearing.get(other, "")) and DEVICES[wearing[other]].height == "knee_high":
            advice = replace(advice, notes=(*advice.notes, LIFT.format(limb=other, other=advice.limb)))
        combined.append(advice)
    both = [a for a in combined if any(offer.id in NON_REMOVABLE for offer in a.classes)]
    if len(both) == 2 and not any(name in NON_REMOVABLE for name in wearing.values()):
        notes.append(ONE_SIDE_ONLY)
    for limb, name in wearing.items():
        other = "right" if limb == "left" else "left"
        if DEVICES[name].height == "knee_high" and other not in names:
            notes.append(LIFT.format(limb=limb, other=other))
    if all(wearing.get(limb) in NON_REMOVABLE for limb in ("left", "right")):
        notes.append("Both legs are given a non-removable device: only one may (common practice, no source).")
    return PersonAdvice(tuple(combined), tuple(notes))


def without_non_removable(advice: LimbAdvice, because: str, decided_by: tuple[str, ...] = ()) -> LimbAdvice:
    """The same advice with every class that stays on withheld.

    Parameters
    ----------
    advice : LimbAdvice
    because : str
        Stands behind the reasons there are already.
    decided_by : tuple of str, optional
        Labels of the lesions that decide it.

    Returns
    -------
    LimbAdvice
    """
    kept = {w.id: w for w in advice.withheld}
    for name in DEVICES:
        if name not in NON_REMOVABLE:
            continue
        before = kept.get(name)
        kept[name] = LimbWithheld(
            name,
            f"{before.because} {because}" if before else because,
            _in_order(before.decided_by if before else (), decided_by),
        )
    classes = tuple(offer for offer in advice.classes if offer.id not in NON_REMOVABLE)
    served = {label for offer in classes if not offer.last_resort for label in offer.serves}
    stranded = tuple(
        note
        for label in advice.lesions
        if label not in served and (note := UNSERVED.format(label=label)) not in advice.notes
    )
    ordered = tuple(kept[name] for name in DEVICES if name in kept)
    return replace(advice, classes=classes, withheld=ordered, notes=(*advice.notes, *stranded))
