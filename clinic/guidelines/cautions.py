"""What must be watched with a device class?

Cautions never forbid; what forbids stands in ``rules.toml``. Texts are our own words; ``source`` names a
publication or says that the rule is common practice without one.
"""

from clinic.guidelines.devices import classes_where
from clinic.guidelines.rows import PRACTICE, Caution

__all__ = ["CAUTIONS", "Caution"]

FERNANDO = "Fernando ME et al., J Foot Ankle Res 2022;15:31, table 5"
LAZZARINI = "Lazzarini PA et al., Diabetes Metab Res Rev 2024;40(3):e3650"
ARMSTRONG = "Armstrong DG et al., Diabetes Care 2003;26:2595"
CREWS = "Crews RT et al., Diabetes Care 2016;39:1371"
LIFT_TRIAL = "Diabetes Care 2018;41:1400"
GUYTON = "Guyton GP, Foot Ankle Int 2005;26:903 (figure read in an encyclopaedia)"

STAYS_ON = classes_where(lambda d: d.stays_on)
KNEE_HIGH = classes_where(lambda d: d.height == "knee_high")
KNEE_HIGH_OFF = classes_where(lambda d: d.height == "knee_high" and d.removable)
WALKED_IN = classes_where(lambda d: d.height in ("knee_high", "ankle_high"))
COMES_OFF = classes_where(lambda d: d.height in ("knee_high", "ankle_high") and d.removable)
ALL_WORN = classes_where(lambda d: d.height != "none")
MADE_TO_MEASURE = classes_where(lambda d: d.height in ("knee_high", "ankle_high") and not d.prefabricated)
REST = classes_where(lambda d: d.is_rest)
SIZED_STAYS_ON = classes_where(lambda d: d.prefabricated and d.stays_on)
SIZED_COMES_OFF = classes_where(lambda d: d.prefabricated and d.removable)
SIZED_KNEE_HIGH = classes_where(lambda d: d.prefabricated and d.height == "knee_high")
SIZED_WITH_INSOLE = classes_where(lambda d: d.prefabricated and d.takes_insole)
MEASURED_KNEE_HIGH_OFF = classes_where(
    lambda d: d.height == "knee_high" and d.removable and not d.prefabricated
)
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
        "new_lesions", STAYS_ON, "A non-removable device may bring new ulcers: inspect both feet.", LAZZARINI
    ),
    Caution(
        "cast_lesion",
        ("total_contact_cast",),
        "About one cast in eighteen leaves an ulcer of its own.",
        GUYTON,
    ),
    Caution(
        "wear",
        COMES_OFF,
        "It works only while worn: in one study walkers were on for 28 % of steps. Say what wearing it "
        "brings.",
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
        "The falls risk is missing: ask and watch a few steps before the patient leaves.",
        PRACTICE,
        {"high_falls_risk": UNKNOWN},
    ),
    Caution(
        "one_side_only",
        STAYS_ON,
        "Both feet have an ulcer: a non-removable device goes on one side only.",
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
        "How often the ulcer needs dressing is missing: settle it before sealing.",
        PRACTICE,
        {"needs_frequent_dressing": UNKNOWN},
    ),
    Caution(
        "wish_unknown",
        STAYS_ON,
        "Whether the patient accepts a non-removable device is missing: ask before fitting.",
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
        "duties",
        STAYS_ON,
        "Driving, work or care duties: a removable device may be considered.",
        FERNANDO,
        {"drives_or_job_at_risk": YES},
    ),
    Caution(
        "driving",
        WALKED_IN,
        "Driving with the device on: ask the licensing authority and the insurer first.",
        PRACTICE,
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
        "clots",
        KNEE_HIGH,
        "A leg held still may clot: ask about earlier clots, and say what calf pain or breathlessness means.",
        PRACTICE,
    ),
    Caution(
        "thrombosis_suspected",
        KNEE_HIGH_OFF,
        "Thrombosis of the leg veins is suspected: assessed today, before the leg goes into the device.",
        PRACTICE,
        {"dvt_suspected": YES},
    ),
    Caution(
        "nobody_to_notice",
        WALKED_IN,
        "Nobody would notice trouble: agree who looks at toes and leg each day; a non-removable device "
        "is opened "
        "within two or "
        "three days.",
        PRACTICE,
        {"nobody_to_notice": YES},
    ),
    Caution(
        "material_allergy",
        ALL_WORN,
        "Reacts to a material: name it to whoever makes the device, and line or change it.",
        PRACTICE,
        {"material_allergy": YES},
    ),
    Caution(
        "over_weight_limit",
        MADE_TO_MEASURE,
        "Heavier than the device is made for: ask for one made to measure, and check it at each visit.",
        PRACTICE,
        {"over_weight_limit": YES},
    ),
    Caution(
        "cavity",
        COMES_OFF,
        "Deeper than wide or undermined: pack it, probe it, and look into it at each dressing.",
        PRACTICE,
        {"cavity": YES},
    ),
    Caution(
        "rest_followed",
        REST,
        "It relieves only as far as it is followed: agree what is still walked, and with which aid.",
        PRACTICE,
    ),
    Caution(
        "interim_site",
        REST,
        "Interim: region or surface is missing. Record it, and choose again.",
        PRACTICE,
        {"site": ("unknown",)},
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
        "The patient does not walk: look for the load in bed, chair and footplate first; the device protects "
        "transfers.",
        PRACTICE,
        {"mobility": ("does_not_walk",)},
    ),
    Caution(
        "transfers_only",
        WALKED_IN,
        "The patient only transfers: practise the transfer with the device on.",
        PRACTICE,
        {"mobility": ("transfers_only",)},
    ),
    Caution(
        "charcot_usual",
        STAYS_ON,
        "Active Charcot joints: a non-removable knee-high device is the usual treatment.",
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
        "treat_first",
        (*ALL_WORN, *REST),
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
        "infection_closed_in",
        STAYS_ON,
        "Mild infection: sample and antibiotic decision recorded; first opening within 72 hours, then within "
        "7 days.",
        PRACTICE,
        {"infection": (2,)},
    ),
    Caution(
        "ask_before_closing",
        STAYS_ON,
        "Before it is closed ask for: a clot in the leg, an ulcer deeper than wide, another wound on "
        "the leg, "
        "the weight "
        "limit, being closed in, and who would notice trouble.",
        PRACTICE,
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
        (*ALL_WORN, *REST),
        "Infection or ischaemia is not fully known: this is interim until it is.",
        PRACTICE,
        {"cell": ("unknown", "rm_or_treat_first")},
    ),
    Caution(
        "bone_unknown",
        (*ALL_WORN, *REST),
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
