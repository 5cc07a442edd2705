"""Is the bone under an ulcer infected? What probe, X-ray, blood, MRI and bone sample together propose.

A proposal with its sentence and source; a podiatrist decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from clinic.guidelines.errors import GradingError
from clinic.guidelines.standing_findings import BONE, Bone

__all__ = ["BoneParts", "BoneProposal", "Says", "below", "propose_bone"]

Says = Literal["supports", "against", "not_done"]

SOURCE = (
    "IWGDF/IDSA 2023 (Senneville, Diabetes Metab Res Rev 2024;40:e3687; from memory): probe-to-bone, X-ray "
    "and CRP or ESR together first, MRI where doubt remains, a bone sample proves"
)
DERIVED = f"derived from {SOURCE}; how the parts are weighed is a design choice"
#: The tests done first, with their words.
_FIRST = {"probe": "probe to bone", "xray": "X-ray", "blood": "CRP or ESR"}


@dataclass(frozen=True)
class BoneParts:
    """What each test says of an infected bone under one ulcer.

    Parameters
    ----------
    probe : {"supports", "against", "not_done"}
        Bone felt with a sterile blunt probe.
    xray, blood, mri : {"supports", "against", "not_done"}
        Plain X-ray; CRP or ESR raised without another cause; MRI.
    sample : {"supports", "against", "not_done"}
        Culture or histology of bone taken by surgery or through intact skin, never a swab.

    Raises
    ------
    GradingError
        If a part is none of the three.
    """

    probe: Says = "not_done"
    xray: Says = "not_done"
    blood: Says = "not_done"
    mri: Says = "not_done"
    sample: Says = "not_done"

    def __post_init__(self) -> None:
        for name in ("probe", "xray", "blood", "mri", "sample"):
            if getattr(self, name) not in ("supports", "against", "not_done"):
                raise GradingError(
                    f"{name} is {getattr(self, name)!r}, must be supports, against or not_done"
                )


@dataclass(frozen=True)
class BoneProposal:
    """The state proposed, why, and from where.

    Parameters
    ----------
    state : {"no", "possible", "probable", "proven"} or None
        None where too little was looked at to propose anything.
    because : str
        One sentence.
    source : str
    """

    state: Bone | None
    because: str
    source: str


def propose_bone(parts: BoneParts) -> BoneProposal:
    """The state that the parts propose.

    Parameters
    ----------
    parts : BoneParts

    Returns
    -------
    BoneProposal

    Notes
    -----
    A sample that supports proves. MRI that supports, or two of probe, X-ray and blood, is probable; one of
    them alone is possible. An MRI against takes two of the first tests back to possible, never to no. A
    negative sample lowers nothing: it misses infection, above all after antibiotics (from memory). A test
    that was not done never proposes less than the same test against. "No" needs a probe against and nothing
    for it, or an MRI against with nothing for it.

    Examples
    --------
    >>> propose_bone(BoneParts(probe="supports", xray="supports")).state
    'probable'
    >>> propose_bone(BoneParts(probe="against")).state
    'no'
    >>> propose_bone(BoneParts()).state is None
    True
    """
    for_it = [words for name, words in _FIRST.items() if getattr(parts, name) == "supports"]
    undone = [words for name, words in _FIRST.items() if getattr(parts, name) == "not_done"]
    if parts.sample == "supports":
        return BoneProposal("proven", "Culture or histology of the bone supports it.", SOURCE)
    if parts.mri == "supports":
        return BoneProposal("probable", "MRI supports it; a bone sample would prove it.", DERIVED)
    if len(for_it) >= 2:
        if parts.mri == "against":
            because = f"{_joined(for_it)} support it, MRI is against it."
            return BoneProposal("possible", because, DERIVED)
        because = f"{_joined(for_it)} support it together; MRI where doubt remains, a bone sample proves."
        return BoneProposal("probable", because, DERIVED)
    if for_it:
        more = f"; not done: {', '.join(undone)}" if undone else "; MRI or a bone sample would tell more"
        return BoneProposal("possible", f"Only {for_it[0]} supports it{more}.", DERIVED)
    if parts.mri == "against" or parts.probe == "against":
        by = [words for name, words in _FIRST.items() if getattr(parts, name) == "against"]
        by += ["MRI"] if parts.mri == "against" else []
        early = " An X-ray is often normal in the first weeks (from memory)." if "X-ray" in by else ""
        rest = f" Not done: {', '.join(undone)}." if undone else ""
        return BoneProposal("no", f"Nothing supports it; against it: {_joined(by)}.{rest}{early}", DERIVED)
    return BoneProposal(
        None, f"Too little was looked at to propose anything; not done: {', '.join(undone)}.", DERIVED
    )


def below(state: Bone, other: Bone | None) -> bool:
    """Whether a state is milder than another; than nothing proposed, only "no" is.

    Parameters
    ----------
    state : {"no", "possible", "probable", "proven"}
    other : the same, or None

    Returns
    -------
    bool
    """
    return state == "no" if other is None else BONE.index(state) < BONE.index(other)


def _joined(words: list[str]) -> str:
    text = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
    return f"{text[0].upper()}{text[1:]}"
