"""What is known of an ulcer before its course is: a chance of healing within 20 weeks, and the paces it
makes likely."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from clinic.healing.closing import paced_chances
from clinic.healing.errors import SeriesError
from clinic.healing.fared import can_be_told
from clinic.healing.reason import chance_words
from clinic.healing.turning import SHAPES, first_paces

__all__ = ["WEEKS", "PrognosisFacts", "Prognosis", "first_chances", "prognosis_of", "prognosis_told"]

Floats = NDArray[np.float64]

WEEKS = 20
"""Weeks after the first area that the prognosis speaks of."""

_HEALED = (0.65, 0.53, 0.34, 0.19)
"""Share healed by week 20 with 0 to 3 of: older than 2 months, larger than 2 cm², grade 3 or more of 0 to 5.
Margolis DJ et al., Am J Med 2003;115:627-631, validation half of 27,630 ulcers."""

_SHIFTS = {
    "infected": -0.4,
    "dialysis": -0.7,
    "does_not_walk": -0.5,
    "device_not_worn": -0.5,
    "second_ulcer": -0.3,
}
"""Shifts of the log-odds. That these facts lower the chance is published (Fife CE et al., Adv Wound Care
2016;5:279-287, 5,239 ulcers; wear: Crews RT et al., Diabetes Care 2016;39:1371); their sizes could not be
read there: design choice."""

_SAME = 0.005
_LARGE = 200.0  # mm²
_MANY = 2  # further ulcers count up to so many


@dataclass(frozen=True, slots=True)
class PrognosisFacts:
    """What is known of an ulcer at its first area; None is not known, never "no".

    Parameters
    ----------
    area : float
        First area. [mm²]
    is_old : bool or None
        Older than two months then.
    is_deep : bool or None
        Grade 3 or more of 0 to 5: abscess, bone or joint, gangrene.
    infected, dialysis, does_not_walk, device_not_worn : bool or None
        PrognosisFacts of the own prior.
    ulcers : int or None
        Open ulcers of the person, this one included.

    Raises
    ------
    SeriesError
        If the area is not above 0, or ulcers under 1.
    """

    area: float
    is_old: bool | None = None
    is_deep: bool | None = None
    infected: bool | None = None
    dialysis: bool | None = None
    does_not_walk: bool | None = None
    device_not_worn: bool | None = None
    ulcers: int | None = None

    def __post_init__(self) -> None:
        if not self.area > 0:
            raise SeriesError(f"area: {self.area:g} mm² given; the limit is above 0")
        if self.ulcers is not None and self.ulcers < 1:
            raise SeriesError(f"ulcers: {self.ulcers} given, at least 1")


@dataclass(frozen=True, slots=True)
class Prognosis:
    """Chance of healing from facts alone.

    Parameters
    ----------
    chance : float
        Of healing within 20 weeks of the first area. [-]
    published : float
        The part that is published, before the own shifts. [-]
    missing : tuple of str
        Published facts that are not known; the mean of both answers stands for each.
    """

    chance: float
    published: float
    missing: tuple[str, ...]


def prognosis_of(facts: PrognosisFacts) -> Prognosis:
    """Chance of healing within 20 weeks before any course is known.

    Parameters
    ----------
    facts : PrognosisFacts
        At the first area.

    Returns
    -------
    Prognosis
        Published share by count of three facts, shifted on the log-odds by others.
    """
    counts = [int(facts.area > _LARGE)]
    missing = []
    for name, value in (("is_old", facts.is_old), ("is_deep", facts.is_deep)):
        if value is None:
            missing.append(name)
            counts = [count + more for count in counts for more in (0, 1)]
        else:
            counts = [count + int(value) for count in counts]
    published = float(np.mean([_HEALED[count] for count in counts]))
    shift = sum(by for name, by in _SHIFTS.items() if name != "second_ulcer" and getattr(facts, name))
    if facts.ulcers is not None:
        shift += _SHIFTS["second_ulcer"] * min(facts.ulcers - 1, _MANY)
    return Prognosis(float(expit(logit(published) + shift)), published, tuple(missing))


_MARKS = {"is_old": "older than two months", "is_deep": "abscess, bone or joint"}


def prognosis_told(prognosis: Prognosis) -> str:
    """A prognosis as screens tell it while there is no course to judge, with what it rests on.

    Parameters
    ----------
    prognosis : Prognosis
        From ``prognosis_of``.

    Returns
    -------
    str
        A sentence; "cannot be told yet" where the chance says too little.
    """
    words = chance_words(prognosis.chance) if can_be_told(prognosis.chance) else "cannot be told yet"
    rest = f"of 100 ulcers with as many of three marks, {round(100 * prognosis.published)} healed: published"
    if abs(prognosis.chance - prognosis.published) > _SAME:
        rest += "; lowered for other findings, by sizes chosen here"
    if prognosis.missing:
        rest += f"; not known: {', '.join(_MARKS[name] for name in prognosis.missing)}"
    return f"Before its course is known: chance of healing within {WEEKS} weeks {words} ({rest})."


def first_chances(radius: Floats, chance: Floats) -> Floats:
    """Chances of the first paces that give each wound its prognosis.

    Parameters
    ----------
    radius : (N,) ndarray
        First radius. [mm]
    chance : (N,) ndarray
        Chance of healing within 20 weeks; not a number where none is known. [-]

    Returns
    -------
    (N, S, K) ndarray
        For ``bank.filter_bank``; the plain prior where there is no prognosis. Each shape sums to 1.

    Notes
    -----
    Of all chances with that mean, those nearest to the plain prior in relative entropy: p·exp(θ·c), c the
    chance of closing by week 20 at each pace, θ found by halving. So the prognosis weighs at first and fades
    as areas come in.
    """
    plain = np.stack([first_paces(shape) for shape in SHAPES])
    values = paced_chances(radius, WEEKS)
    parts = np.array([shape.part for shape in SHAPES])
    low, high = np.full(radius.size, -60.0), np.full(radius.size, 60.0)
    for _ in range(50):
        middle = (low + high) / 2.0
        tilted = _tilted(plain, values, middle)
        mean = ((tilted * values).sum(axis=2) * parts).sum(axis=1)
        low, high = np.where(mean < chance, middle, low), np.where(mean < chance, high, middle)
    return _tilted(plain, values, np.where(np.isnan(chance), 0.0, (low + high) / 2.0))


def _tilted(plain: Floats, values: Floats, tilt: Floats) -> Floats:
    raised: Floats = plain * np.exp(tilt[:, None, None] * (values - values.max(axis=2, keepdims=True)))
    return raised / raised.sum(axis=2, keepdims=True)
