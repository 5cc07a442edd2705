"""The case table in ``data/cases.csv``, read into facts and expectations.

Each row changes some facts of one plain case: a clean neuropathic ulcer under the forefoot, every other fact
known and "no". Short names of the columns are spelled out here; a class may stand in full.
"""

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Any

SHORT_CLASSES = {
    "TCC": "total_contact_cast",
    "NRW": "walker_non_removable",
    "KHR": "walker_knee_high_removable",
    "AHR": "ankle_high_removable",
    "FELT": "felted_foam_with_footwear",
    "HEELK": "heel_relieving_knee_high",
    "DORS": "dorsum_free_device",
    "SPAC": "toe_spacer",
    "FOOT": "footwear_modification",
    "FLOAT": "heel_float_in_bed_and_chair",
    "REST": "rest_and_walking_aid",
    "BED": "bed_and_chair_rest",
}
SHORT_REFERRALS = {
    "TREAT": "treat_infection_or_ischaemia_first",
    "VASC": "vascular_assessment",
    "INF": "infection_assessment",
    "CHAR": "charcot_assessment",
    "TENO": "flexor_tenotomy",
    "SURGF": "surgical_forefoot",
    "SURGH": "surgical_hallux",
}
SHORT_URGENCIES = {"!": "immediate", "1": "one_working_day", "p": "planned"}

PLAIN: dict[str, Any] = {
    "region": "forefoot",
    "surface": "plantar",
    "cause": "neuropathic",
    "infection_grade": 1,
    "osteomyelitis": False,
    "ischaemia_grade": 0,
    "flexible_toe_deformity": False,
    "large_deformity": False,
    "rigid_deformity": False,
    "bulky_calf": False,
    "high_falls_risk": False,
    "declines_non_removable": False,
    "cannot_attend_weekly": False,
    "needs_frequent_dressing": False,
    "both_feet_ulcerated": False,
    "active_charcot": False,
    "device_available": True,
    "non_surgical_care_failed": False,
}


@dataclass(frozen=True)
class Case:
    topic: str
    citation: str
    name: str
    facts: dict[str, Any]
    classes: list[str]
    withheld: set[str]
    refer: set[tuple[str, str]]
    rules: set[str]
    caution: str
    missing: list[str]


def _value(name: str, text: str) -> Any:
    if text == "missing":
        return None
    if text in ("true", "false"):
        return text == "true"
    if name in ("infection_grade", "ischaemia_grade"):
        return int(text)
    return float(text) if name == "recent_surgery_weeks" else text


def read_cases() -> list[Case]:
    with (Path(__file__).parent / "data" / "cases.csv").open(newline="") as file:
        return [_case(row) for row in csv.DictReader(file)]


def _case(row: dict[str, str]) -> Case:
    changes = dict(pair.split("=") for pair in row["facts"].split())
    facts = {**PLAIN, **{name: _value(name, text) for name, text in changes.items()}}
    return Case(
        topic=row["topic"],
        citation=row["citation"],
        name=row["case"],
        facts=facts,
        classes=[SHORT_CLASSES.get(name, name) for name in row["classes"].split()],
        withheld={SHORT_CLASSES.get(name, name) for name in row["withheld"].split()},
        refer={(SHORT_REFERRALS[short[:-1]], SHORT_URGENCIES[short[-1]]) for short in row["refer"].split()},
        rules=set(row["rules"].split()),
        caution=row["caution"],
        missing=[name for name in PLAIN if facts[name] is None],
    )


CASES = read_cases()
