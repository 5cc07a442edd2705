"""Three tables of how advice for lesions becomes advice for a limb and a person; run as a program to print them.

    python -m tests.clinic.guidelines.combinations

Each row changes some facts of the plain case of `cases.py` for its two lesions. `worn` is what the other leg wears.
"""

import csv
import sys
from dataclasses import dataclass
from pathlib import Path

from clinic.guidelines.combine import LimbAdvice, PersonAdvice, combine_limb, combine_person
from clinic.guidelines.devices import DEVICES
from clinic.guidelines.facts import parse
from clinic.guidelines.table import decide
from tests.clinic.guidelines.cases import PLAIN, SHORT_CLASSES

TABLE = Path(__file__).parent / "data" / "combinations.csv"
TITLES = {
    "one_foot": "Two lesions on one foot",
    "both_feet": "Both feet",
    "plantar_and_not": "One plantar and one non-plantar lesion on one foot",
}
SHORT = {**{name: name for name in DEVICES}, **{name: short for short, name in SHORT_CLASSES.items()}}
VALUES = {"true": True, "false": False, "null": None}


@dataclass(frozen=True)
class Combination:
    """One row: two lesions, what is expected, and where the rule comes from."""

    table: str
    name: str
    first: dict
    second: dict
    worn: str
    classes: list[str]
    withheld: set[str]
    noted: str
    citation: str

    @property
    def person(self) -> PersonAdvice:
        """The program's answer; both feet are two limbs, the rest is one."""
        first, second = (decide(parse({**PLAIN, **facts})) for facts in (self.first, self.second))
        if self.table == "both_feet":
            limbs = [combine_limb("left", {"A": first}), combine_limb("right", {"B": second})]
            worn = {"right": SHORT_CLASSES[self.worn]} if self.worn else {}
            return combine_person(limbs, worn_or_chosen=worn)
        return combine_person([combine_limb("left", {"A": first, "B": second})])

    @property
    def limb(self) -> LimbAdvice:
        return self.person.limbs[0]


def _facts(text: str) -> dict:
    facts = {}
    for part in text.split():
        name, _, value = part.partition("=")
        facts[name] = VALUES[value] if value in VALUES else int(value) if value.isdigit() else value
    return facts


def _read() -> list[Combination]:
    with TABLE.open(newline="") as file:
        return [
            Combination(
                row["table"], row["name"], _facts(row["lesion_a"]), _facts(row["lesion_b"]), row["worn"],
                row["ranked"].split(), set(row["withheld"].split()), row["noted"], row["citation"],
            )
            for row in csv.DictReader(file)
        ]  # fmt: skip


def shown(limb: LimbAdvice) -> list[str]:
    """Ranked classes, each with its tier and, after a slash, the lesions it leaves unserved."""
    return [
        f"{SHORT[offer.id]}:{offer.tier}{'/' + ''.join(offer.leaves) if offer.leaves else ''}"
        for offer in limb.classes
    ]


COMBINATIONS = _read()


def main() -> None:
    """Print the three tables as the program answers them."""
    for key, title in TITLES.items():
        sys.stdout.write(f"\n{title} (class:tier/left unserved; the left limb)\n")
        for row in (row for row in COMBINATIONS if row.table == key):
            limb = row.limb
            withheld = " ".join(SHORT[w.id] for w in limb.withheld)
            sys.stdout.write(f"  {row.name}\n    ranked   {' '.join(shown(limb)) or 'none'}\n")
            sys.stdout.write(f"    withheld {withheld or 'none'}\n")
            for note in (*limb.notes, *row.person.notes):
                sys.stdout.write(f"    note     {note}\n")
            sys.stdout.write(f"    source   {row.citation}\n")


if __name__ == "__main__":
    main()
