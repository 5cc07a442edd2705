"""What must be watched with a device class, and which findings stop everything?

Cautions never forbid; what forbids stands in ``rules.toml``. Texts are our own words; ``source`` names a
publication or says that the rule is common practice without one.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from clinic.guidelines.devices import Urgency, classes_where
from clinic.guidelines.rows import PRACTICE, marked

__all__ = ["CAUTIONS", "RED_FLAGS", "Caution", "RedFlag"]

FERNANDO = "Fernando ME et al., J Foot Ankle Res 2022;15:31, table 5"
LAZZARINI = "Lazzarini PA et al., Diabetes Metab Res Rev 2024;40(3):e3650"
ARMSTRONG = "Armstrong DG et al., Diabetes Care 2003;26:2595"
CREWS = "Crews RT et al., Diabetes Care 2016;39:1371"
LIFT_TRIAL = "Diabetes Care 2018;41:1400"
GUYTON = "Guyton GP, Foot Ankle Int 2005;26:903 (figure read in an encyclopaedia)"
NG19 = "NICE NG19 (read in pages that quote it)"
PAD = "Fitridge R et al., IWGDF/ESVS/SVS intersocietal guideline 2023"

STAYS_ON = classes_where(lambda d: d.stays_on)
KNEE_HIGH = classes_where(lambda d: d.height == "knee_high")
KNEE_HIGH_OFF = classes_where(lambda d: d.height == "knee_high" and d.removable)
BELOW_KNEE = classes_where(lambda d: d.height in ("ankle_high", "below_ankle"))
WALKED_IN = classes_where(lambda d: d.height in ("knee_high", "ankle_high"))
COMES_OFF = classes_where(lambda d: d.height in ("knee_high", "ankle_high") and d.removable)
ALL_WORN = classes_where(lambda d: d.height != "none")
SIZED_STAYS_ON = classes_where(lambda d: d.prefabricated and d.stays_on)
SIZED_COMES_OFF = classes_where(lambda d: d.prefabricated and d.removable)
SIZED_KNEE_HIGH = classes_where(lambda d: d.prefabricated and d.height == "knee_high")
SIZED_WITH_INSOLE = classes_where(lambda d: d.prefabricated and d.takes_insole)
MEASURED_KNEE_HIGH_OFF = classes_where(
    lambda d: d.height == "knee_high" and d.removable and not d.prefabricated
)


@dataclass(frozen=True)
class Caution:
    """One thing to watch with some device classes, shown when its condition holds.

    Parameters
    ----------
    id : str
    classes : tuple of str
        Device classes it belongs to.
    text : str
    source : str
    when : mapping of str to tuple
        Condition in the form of the rule table; empty = always.
    """

    id: str
    classes: tuple[str, ...]
    text: str
    source: str
    when: Mapping[str, tuple] = field(default_factory=dict)

    @property
    def said(self) -> str:
        """The text as an answer gives it, marked where it is common practice without a source."""
        return marked(self.text, self.source)


UNKNOWN = ("missing",)
YES = (True,)

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "first_review",
        STAYS_ON,
        "First review within a week of fitting, then every one to two weeks.",
        FERNANDO,
    ),
    Caution(
        "new_lesions", STAYS_ON, "A device that stays on may bring new lesions: inspect both feet.", LAZZARINI
    ),
    Caution(
        "cast_lesion",
        ("total_contact_cast",),
        "About one cast in eighteen leaves a lesion of its own.",
        GUYTON,
    ),
    Caution(
        "wear",
        COMES_OFF,
        "It works only while worn: in one study walkers were on for 28 % of steps. Say what wearing it brings.",
        ARMSTRONG,
    ),
    Caution(
        "unsteady_wear",
        COMES_OFF,
        "People who feel unsteady leave it off: offer an aid.",
        CREWS,
        {"high_falls_risk": YES},
    ),
    Caution(
        "falls_knee_high",
        KNEE_HIGH_OFF,
        "High falls risk: check gait in the device and give a walking aid.",
        PRACTICE,
        {"high_falls_risk": YES},
    ),
    Caution(
        "falls_unknown",
        WALKED_IN,
        "The falls risk is missing: ask and watch a few steps before the person leaves.",
        PRACTICE,
        {"high_falls_risk": UNKNOWN},
    ),
    Caution(
        "one_side_only",
        STAYS_ON,
        "Both feet have an ulcer: a device that stays on goes on one side only.",
        PRACTICE,
        {"both_feet_ulcerated": YES},
    ),
    Caution(
        "lift_on_ulcerated_foot",
        WALKED_IN,
        "A lift on the other side must not load the ulcer there.",
        PRACTICE,
        {"both_feet_ulcerated": YES},
    ),
    Caution(
        "lift_costs_relief",
        WALKED_IN,
        "A lift on the other side is more comfortable but costs 4 to 6 % of the forefoot relief.",
        LIFT_TRIAL,
        {"both_feet_ulcerated": (False, "missing")},
    ),
    Caution(
        "exudate_sealed",
        STAYS_ON,
        "Heavy exudate: a dressing that holds until the next opening, and an early first change.",
        PRACTICE,
        {"heavy_exudate": YES},
    ),
    Caution(
        "dressing_unknown",
        STAYS_ON,
        "How often the wound needs dressing is missing: settle it before sealing.",
        PRACTICE,
        {"needs_frequent_dressing": UNKNOWN},
    ),
    Caution(
        "wish_unknown",
        STAYS_ON,
        "Whether the person accepts a device that stays on is missing: ask before fitting.",
        PRACTICE,
        {"declines_non_removable": UNKNOWN},
    ),
    Caution(
        "oedema",
        KNEE_HIGH,
        "Changing oedema: the device loosens or tightens; check fit within two or three days.",
        PRACTICE,
        {"changing_oedema": YES},
    ),
    Caution(
        "fragile_skin",
        ALL_WORN,
        "Fragile skin: pad edges and look for new marks at each visit.",
        PRACTICE,
        {"fragile_skin": YES},
    ),
    Caution(
        "poor_sight",
        ALL_WORN,
        "Poor sight: somebody else must look for leaks, rubs and marks.",
        PRACTICE,
        {"poor_sight": YES},
    ),
    Caution(
        "driving",
        STAYS_ON,
        "Driving, work or care duties: a removable device may be considered; no driving with the device on.",
        FERNANDO,
        {"drives_or_job_at_risk": YES},
    ),
    Caution(
        "not_tolerated",
        WALKED_IN,
        "An earlier device was not tolerated: ask which and why before choosing the same kind again.",
        PRACTICE,
        {"previous_device_not_tolerated": YES},
    ),
    Caution(
        "recent_surgery",
        ALL_WORN,
        "Surgery within the last six weeks: clear load and pressure with the surgeon.",
        PRACTICE,
        {"recent_surgery": YES},
    ),
    Caution(
        "large_deformity_unknown",
        SIZED_STAYS_ON,
        "Whether the deformity is large is missing: a walker in sizes may not fit.",
        FERNANDO,
        {"large_deformity": UNKNOWN},
    ),
    Caution(
        "large_deformity_fit",
        SIZED_COMES_OFF,
        "Large deformity: a device in sizes may press; have it adapted or made to measure.",
        PRACTICE,
        {"large_deformity": YES},
    ),
    Caution(
        "rigid_deformity",
        SIZED_WITH_INSOLE,
        "Rigid deformity: the relief under the ulcer may need to reach one layer deeper.",
        PRACTICE,
        {"rigid_deformity": YES},
    ),
    Caution(
        "calf_unknown",
        SIZED_KNEE_HIGH,
        "The calf is not measured: check that the walker closes.",
        PRACTICE,
        {"bulky_calf": UNKNOWN},
    ),
    Caution(
        "calf_made_to_measure",
        MEASURED_KNEE_HIGH_OFF,
        "Large calf: only made to measure.",
        PRACTICE,
        {"bulky_calf": YES},
    ),
    Caution(
        "does_not_walk",
        (*COMES_OFF, "felted_foam_with_footwear"),
        "The person does not walk: look for the load in bed, chair and footplate first; the device protects transfers.",
        PRACTICE,
        {"mobility": ("does_not_walk",)},
    ),
    Caution(
        "transfers_only",
        WALKED_IN,
        "The person only transfers: practise the transfer with the device on.",
        PRACTICE,
        {"mobility": ("transfers_only",)},
    ),
    Caution(
        "charcot_usual",
        STAYS_ON,
        "Active Charcot joints: a knee-high device that stays on is the usual treatment.",
        "IWGDF Charcot guideline 2023 (from memory)",
        {"active_charcot": YES},
    ),
    Caution(
        "charcot_interim",
        KNEE_HIGH_OFF,
        "Active Charcot joints: worn day and night until the Charcot assessment decides.",
        PRACTICE,
        {"active_charcot": YES},
    ),
    Caution(
        "charcot_unknown",
        BELOW_KNEE,
        "Rule out active Charcot joints (hot, red, swollen) before anything lower than the knee.",
        PRACTICE,
        {"active_charcot": UNKNOWN},
    ),
    Caution(
        "treat_first",
        ALL_WORN,
        "Infection or ischaemia is treated first: this is interim relief, looked at daily.",
        "IWGDF offloading guideline 2019 (wording from memory)",
        {"cell": ("treat_first",)},
    ),
    Caution(
        "infection",
        ALL_WORN,
        "Infected: the foot must be seen at each dressing.",
        PRACTICE,
        {"infection": (2, 3, 4, "3_or_4")},
    ),
    Caution(
        "ischaemia",
        ALL_WORN,
        "Ischaemia: no tight straps or edges; check colour and warmth of the toes.",
        PRACTICE,
        {"ischaemia_grade": (1, 2, 3)},
    ),
    Caution(
        "matrix_unknown",
        ALL_WORN,
        "Infection or ischaemia is not fully known: this is interim until it is.",
        PRACTICE,
        {"cell": ("unknown", "rm_or_treat_first")},
    ),
    Caution(
        "bone_unknown",
        ALL_WORN,
        "Whether bone is infected is missing: probe and look before relying on this device.",
        PRACTICE,
        {"osteomyelitis": UNKNOWN},
    ),
    Caution(
        "cause_other",
        ALL_WORN,
        "The cause is neither nerves nor vessels: find it, a device alone may not heal it.",
        PRACTICE,
        {"cause": ("other",)},
    ),
    Caution(
        "felt",
        ("felted_foam_with_footwear",),
        "Felt flattens within days: renew it at least weekly.",
        PRACTICE,
    ),
    Caution(
        "spacer_skin",
        ("toe_spacer",),
        "Only into a dry web space; look for pressure on the next toe.",
        PRACTICE,
    ),
    Caution(
        "spacer_exudate_unknown",
        ("toe_spacer",),
        "How wet the web space is was not recorded: look before placing it.",
        PRACTICE,
        {"heavy_exudate": UNKNOWN},
    ),
    Caution(
        "heel_float_walks",
        ("heel_float_in_bed_and_chair",),
        "It does nothing while walking: add a device for steps.",
        PRACTICE,
        {"mobility": ("walks", "walks_with_aid", "transfers_only", "missing")},
    ),
)


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
    """

    id: str
    question: str
    urgency: Urgency
    source: str
    offload_today: bool = False


RED_FLAGS: tuple[RedFlag, ...] = (
    RedFlag("fever_or_unwell", "Fever, shivering or generally unwell", "immediate", NG19),
    RedFlag("spreading_redness", "Redness spreading from the wound", "immediate", NG19),
    RedFlag("abscess", "Abscess, or pus under pressure", "immediate", NG19),
    RedFlag("new_probe_to_bone", "Bone felt with the probe, new", "immediate", NG19),
    RedFlag("infection_3_4_or_bone", "Infection grade 3 or 4, or infected bone", "immediate", NG19),
    RedFlag("gangrene", "Any black or dead tissue (gangrene)", "immediate", NG19),
    RedFlag("severe_ischaemia", "Ulcer with severe ischaemia (grade 3)", "immediate", NG19),
    RedFlag("cold_pale_blue_foot", "Foot newly cold, pale or blue", "immediate", NG19),
    RedFlag("new_rest_pain", "New pain in the foot at rest or at night", "immediate", PAD),
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
