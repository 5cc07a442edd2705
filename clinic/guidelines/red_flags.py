"""Which findings stop everything until they are answered, and which standing danger is each of them about?

A question asks what is *new or worse*. A danger on record that a team has taken is shown beside it; one that
nobody has taken raises its flag by itself, whatever is answered.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from clinic.guidelines.devices import Urgency
from clinic.guidelines.known_dangers import Danger
from clinic.guidelines.rows import PRACTICE

__all__ = ["RED_FLAGS", "RedFlag", "dangers_of", "flags_of"]

NG19 = "NICE NG19 (read in pages that quote it)"
NG19_DERIVED = "derived from NICE NG19 (read in pages that quote it), which does not spell it out"
PAD_DERIVED = "derived from the IWGDF/ESVS/SVS intersocietal guideline 2023, which does not spell it out"


@dataclass(frozen=True)
class RedFlag:
    """A finding that stops the visit until it is answered.

    Parameters
    ----------
    id : str
    question : str
        What the screen asks.
    urgency : {"immediate", "one_working_day"}
    source : str
        Publication, or common practice.
    offload_today : bool
        Whether load must come off the foot the same day, before anybody is reached.
    same_day : bool
        Whether a podiatrist looks at the foot the same day, where no other flag asks for more.
    dangers : tuple of (str, int)
        Standing dangers the question is about, each with the level from which it raises the flag by itself.
    """

    id: str
    question: str
    urgency: Urgency
    source: str
    offload_today: bool = False
    same_day: bool = False
    dangers: tuple[tuple[str, int], ...] = ()


RED_FLAGS: tuple[RedFlag, ...] = (
    RedFlag(
        "fever_or_unwell",
        "Fever, shivering or generally unwell",
        "immediate",
        NG19,
        dangers=(("unwell", 1),),
    ),
    RedFlag("spreading_redness", "Redness spreading from the wound", "immediate", NG19_DERIVED),
    RedFlag("abscess", "Abscess, or pus under pressure", "immediate", NG19),
    RedFlag(
        "new_probe_to_bone",
        "Bone felt with the probe, new",
        "one_working_day",
        f"{PRACTICE}: in a well foot, with no other flag, a podiatrist the same day",
        same_day=True,
    ),
    RedFlag(
        "infection_3_4_or_bone",
        "Infection grade 3 or 4, or infected bone",
        "immediate",
        NG19,
        dangers=(("infection", 3), ("bone", 2)),
    ),
    RedFlag(
        "gangrene",
        "Any black or dead tissue (gangrene)",
        "immediate",
        NG19,
        dangers=(("gangrene", 1),),
    ),
    RedFlag(
        "severe_ischaemia",
        "Ulcer with severe ischaemia (grade 3)",
        "immediate",
        NG19,
        dangers=(("ischaemia", 3),),
    ),
    RedFlag("cold_pale_blue_foot", "Foot newly cold, pale or blue", "immediate", NG19_DERIVED),
    RedFlag("new_rest_pain", "New pain in the foot at rest or at night", "immediate", PAD_DERIVED),
    RedFlag(
        "suspected_charcot",
        "Foot hot, red and swollen, shape perhaps changed (suspected acute Charcot)",
        "one_working_day",
        NG19,
        offload_today=True,
    ),
    RedFlag(
        "calf_pain_or_swelling",
        "New calf pain or swelling in a leg that has been in a device",
        "immediate",
        PRACTICE,
        dangers=(("thrombosis", 1),),
    ),
    RedFlag(
        "breathlessness",
        "New breathlessness or chest pain in somebody whose leg has been in a device",
        "immediate",
        PRACTICE,
    ),
)


def dangers_of(flag: str) -> tuple[str, ...]:
    """Ids of the standing dangers a question is about; none for a key that is no question of the list.

    Parameters
    ----------
    flag : str
        Key of a red flag.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> dangers_of("infection_3_4_or_bone")
    ('infection', 'bone')
    """
    return tuple(danger for one in RED_FLAGS if one.id == flag for danger, _ in one.dangers)


def flags_of(standing: Iterable[Danger]) -> tuple[str, ...]:
    """Red flags that some standing dangers raise by themselves, in the order of the list.

    Parameters
    ----------
    standing : iterable of Danger
        What must be raised today: owned by nobody, worse than when taken, or past the team's date.

    Returns
    -------
    tuple of str
    """
    worst: dict[str, int] = {}
    for danger in standing:
        worst[danger.id] = max(danger.level, worst.get(danger.id, 0))
    return tuple(
        one.id for one in RED_FLAGS if any(worst.get(name, 0) >= level for name, level in one.dangers)
    )
