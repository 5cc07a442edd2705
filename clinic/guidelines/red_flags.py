"""Which findings stop everything until they are answered? Each question asks what is new or worse."""

from dataclasses import dataclass

from clinic.guidelines.devices import Urgency
from clinic.guidelines.rows import PRACTICE

__all__ = ["RED_FLAGS", "RedFlag"]

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
    """

    id: str
    question: str
    urgency: Urgency
    source: str
    offload_today: bool = False
    same_day: bool = False


RED_FLAGS: tuple[RedFlag, ...] = (
    RedFlag(
        "fever_or_unwell",
        "Fever, shivering or generally unwell",
        "immediate",
        NG19,
    ),
    RedFlag("spreading_redness", "Redness spreading from the ulcer", "immediate", NG19_DERIVED),
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
    ),
    RedFlag(
        "gangrene",
        "Any black or dead tissue (gangrene)",
        "immediate",
        NG19,
    ),
    RedFlag(
        "severe_ischaemia",
        "Ulcer with severe ischaemia (grade 3)",
        "immediate",
        NG19,
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
    ),
    RedFlag(
        "breathlessness",
        "New breathlessness or chest pain in somebody whose leg has been in a device",
        "immediate",
        PRACTICE,
    ),
)
