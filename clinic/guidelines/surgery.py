"""Which operations can be discussed where good care without surgery has failed, by place of the ulcer?

Names for a conversation with a foot surgeon, never an indication. Elective: none is named with severe
ischaemia or an infection of grade 2 or more, nor while either is not known.
"""

from __future__ import annotations

from dataclasses import dataclass

from clinic.guidelines.facts import Region, Surface
from clinic.guidelines.rows import PRACTICE

__all__ = ["ADJUNCTS", "OPERATIONS", "Operation", "SurgeryTalk", "surgery_talk"]

IWGDF = (
    "IWGDF offloading 2023 (Bus, Diabetes Metab Res Rev 2024;40:e3647), read in the abstract and in pages "
    "that quote it"
)
MEMORY = f"{PRACTICE}; from memory"
#: The guideline keeps tenotomy from feet with severe ischaemia or infection; every other operation here
#: follows it (design choice).
EXCLUDED = "tenotomy excluded by IWGDF 2023 (second-hand); taken over for every operation: design choice"


@dataclass(frozen=True)
class Operation:
    """One operation that can be discussed.

    Parameters
    ----------
    id : str
    regions : tuple of str
        Regions of the foot it serves.
    words : str
        What the page says.
    when : str
        When it applies, in a few words; empty where nothing more is asked.
    source : str
    plantar_only : bool
        Whether it serves the sole, toe tips included, alone.
    flexible : bool or None
        For which toes: True flexible, False rigid, None either.
    """

    id: str
    regions: tuple[Region, ...]
    words: str
    when: str
    source: str
    plantar_only: bool = True
    flexible: bool | None = None


OPERATIONS: tuple[Operation, ...] = (
    Operation(
        "tendon_lengthening",
        ("forefoot",),
        "Achilles tendon or calf muscle lengthening",
        "where the ankle does not bend up; it can move the load to the heel",
        IWGDF,
    ),
    Operation("head_resection", ("forefoot",), "Metatarsal-head resection", "", IWGDF),
    Operation("osteotomy", ("forefoot",), "Metatarsal osteotomy", "", IWGDF),
    Operation(
        "mtp_arthroplasty", ("forefoot",), "Joint arthroplasty of the metatarsophalangeal joint", "", IWGDF
    ),
    Operation("hallux_arthroplasty", ("hallux",), "Joint arthroplasty of the big toe", "", IWGDF),
    Operation(
        "flexor_tenotomy",
        ("lesser_toe",),
        "Digital flexor tenotomy",
        "flexible deformity; offered before care has failed",
        IWGDF,
        flexible=True,
    ),
    Operation(
        "toe_arthroplasty",
        ("lesser_toe",),
        "Toe arthroplasty",
        "rigid deformity",
        MEMORY,
        plantar_only=False,
        flexible=False,
    ),
    Operation(
        "toe_head_resection",
        ("lesser_toe",),
        "Metatarsal-head resection",
        "rigid toe that stands up at its base",
        MEMORY,
        plantar_only=False,
        flexible=False,
    ),
    Operation(
        "exostectomy",
        ("midfoot",),
        "Exostectomy of the bony prominence",
        "stable midfoot; not in an active Charcot foot",
        MEMORY,
    ),
    Operation(
        "reconstruction",
        ("midfoot",),
        "Reconstruction of the midfoot",
        "unstable or badly deformed midfoot, in a specialised centre",
        MEMORY,
    ),
    Operation(
        "midfoot_lengthening",
        ("midfoot",),
        "Achilles tendon lengthening",
        "where the ankle does not bend up",
        MEMORY,
    ),
    Operation(
        "calcanectomy",
        ("rearfoot",),
        "Bony prominence of the heel: exostectomy or partial calcanectomy",
        "in a specialised centre",
        MEMORY,
        plantar_only=False,
    ),
    Operation(
        "heel_cover",
        ("rearfoot",),
        "Soft-tissue cover of the heel",
        "in a specialised centre",
        MEMORY,
        plantar_only=False,
    ),
)

#: Adjunct treatments beside good care; none replaces offloading. Consider, by local protocol (IWGDF
#: wound-healing guideline 2023, from memory).
ADJUNCTS: tuple[str, ...] = (
    "sucrose-octasulfate dressing",
    "patch of the patient's own leucocytes, platelets and fibrin",
    "placenta-derived product",
    "topical oxygen",
    "hyperbaric oxygen where arterial disease remains",
    "negative pressure after surgery",
)


@dataclass(frozen=True)
class SurgeryTalk:
    """What can be discussed, or why nothing is named.

    Parameters
    ----------
    operations : tuple of Operation
    withheld : str
        Why none is named; empty where some are, or where no operation serves the place.
    source : str
        Of the reason for withholding.
    """

    operations: tuple[Operation, ...]
    withheld: str = ""
    source: str = ""


def surgery_talk(
    region: Region | None,
    surface: Surface | None,
    *,
    ischaemia_grade: int | None,
    infection_grade: int | None,
    bone_infected: bool | None = None,
    flexible_toe: bool | None = None,
    active_charcot: bool | None = None,
) -> SurgeryTalk:
    """Operations to discuss for one ulcer once good care without surgery has failed.

    Parameters
    ----------
    region, surface : str or None
        Where the ulcer is.
    ischaemia_grade : int or None
        WIfI ischaemia grade. [-]
    infection_grade : int or None
        IWGDF/IDSA infection grade. [-]
    bone_infected : bool or None
        Probable or proven infection of the bone: surgery is then no elective choice.
    flexible_toe : bool or None
        Flexible deformity of the toe; None leaves both kinds of toe operation.
    active_charcot : bool or None

    Returns
    -------
    SurgeryTalk

    Examples
    --------
    >>> talk = surgery_talk("midfoot", "plantar", ischaemia_grade=0, infection_grade=1)
    >>> [one.id for one in talk.operations]
    ['exostectomy', 'reconstruction', 'midfoot_lengthening']
    >>> surgery_talk("midfoot", "plantar", ischaemia_grade=3, infection_grade=1).withheld
    'Ischaemia grade 3: the vascular team first.'
    """
    if ischaemia_grade is not None and ischaemia_grade >= 3:
        return SurgeryTalk((), f"Ischaemia grade {ischaemia_grade}: the vascular team first.", EXCLUDED)
    if bone_infected:
        words = "Bone infection: surgery for it is part of treating the infection, with the infection team."
        return SurgeryTalk((), words, EXCLUDED)
    if infection_grade is not None and infection_grade >= 2:
        return SurgeryTalk((), f"Infection grade {infection_grade}: treat it first.", EXCLUDED)
    unknown = [
        words
        for words, value in (("ischaemia", ischaemia_grade), ("infection", infection_grade))
        if value is None
    ]
    if unknown:
        words = f"{' and '.join(unknown).capitalize()} not known: find out before surgery is discussed."
        return SurgeryTalk((), words, "design choice: unknown never offers more than known")
    if active_charcot:
        words = "Active Charcot foot: settle it first; surgery only in a specialised centre."
        return SurgeryTalk((), words, MEMORY)
    sole = surface in ("plantar", "apex")
    return SurgeryTalk(
        tuple(
            one
            for one in OPERATIONS
            if region in one.regions
            and (sole or not one.plantar_only)
            and (one.flexible is None or flexible_toe is None or one.flexible == flexible_toe)
        )
    )
