"""The facts of the long sweep, its safety check and the count of rows; run as a program to do it whole.

    python -m tests.clinic.guidelines.sweep [--write]

Region x surface x cause x infection x ischaemia, each with missing (6,000), times every state of at most two
further facts of the first group, the others known and plain: about two million answers. Of each, what holds
is found twice, by the program and by bit masks, and must be the same. The answer is made of what holds alone,
so it is put together once for each set of it, and checked for each facts. ``--write`` keeps the count of how
often each row decided in ``data/row_coverage.csv``, the artefact that a change of the rules shows up in.
"""

import collections
import csv
import hashlib
import itertools
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from clinic.guidelines.devices import DEVICES, NON_REMOVABLE
from clinic.guidelines.facts import CHOICES, Facts
from clinic.guidelines.table import Advice, current, decide, what_holds
from tests.clinic.guidelines.bit_masks import BitMasks
from tests.clinic.guidelines.cases import PLAIN

SWEPT = ("region", "surface", "cause", "infection_grade", "ischaemia_grade")
FURTHER = tuple(name for name in PLAIN if name not in SWEPT)
PRODUCT = list(
    itertools.product(
        (*CHOICES["region"], None),
        (*CHOICES["surface"], None),
        (*CHOICES["cause"], None),
        (1, 2, 3, 4, None),
        (0, 1, 2, 3, None),
    )
)
STAYS_ON_CELLS = {(1, 0), (1, 1), (2, 0)}
TREAT_FIRST_CELLS = {(1, 3), (2, 3), (3, 2), (3, 3), (4, 0), (4, 1), (4, 2), (4, 3)}
COVERAGE = Path(__file__).parent / "data" / "row_coverage.csv"
STATES = (False, True, None)


def further_states(most: int = 2) -> Iterator[dict[str, bool | None]]:
    """Plain further facts with at most ``most`` of them in another state, each combination once."""
    plain = {name: PLAIN[name] for name in FURTHER}
    for count in range(most + 1):
        for names in itertools.combinations(FURTHER, count):
            others = [[state for state in STATES if state is not plain[name]] for name in names]
            for states in itertools.product(*others):
                yield {**plain, **dict(zip(names, states, strict=True))}


def named(facts: Facts, table=None) -> tuple[tuple[str, str], ...]:
    """Everything that holds in the form that the bit masks name it."""
    holding = what_holds(facts, table)
    return (
        *(("row", row.id) for row in holding.rows),
        *(("caution", caution.id) for caution in holding.cautions),
        *(("missing", name) for name in holding.missing),
    )


def assert_safe(facts, advice):
    """What must hold for any facts at all, written from the published matrix and the clinic's rules."""
    offered = [offer.id for offer in advice.classes]
    withheld = {w.id for w in advice.withheld}
    referred = {referral.id: referral.urgency for referral in advice.refer}
    unique = set(offered)
    assert offered, "nothing to choose"
    assert any(DEVICES[name].is_rest for name in offered)
    assert len(unique) == len(offered)
    assert not unique & withheld
    assert unique | withheld >= NON_REMOVABLE
    assert all(w.reasons for w in advice.withheld)
    tiers = [o.tier for o in advice.classes]
    assert tiers == sorted(tiers)
    cell = (facts.infection_grade, facts.ischaemia_grade)
    if NON_REMOVABLE & unique:
        assert cell in STAYS_ON_CELLS
        assert facts.osteomyelitis is False
        assert facts.high_falls_risk is False
        assert facts.cannot_attend_weekly is False
        assert facts.both_feet_ulcerated is not None
        assert facts.active_charcot is not None
        assert facts.declines_non_removable is not True
        assert facts.device_available is not False
        assert facts.surface == "plantar"
        assert facts.cause in ("neuropathic", "neuroischaemic")
        assert facts.ischaemia_settled is not False
        assert facts.dvt_suspected is not True
        assert facts.cavity is not True
        assert facts.ulcer_on_same_leg is not True
    if facts.ischaemia_settled is False:
        assert "vascular_assessment" in referred
    if facts.dvt_suspected:
        assert referred["vascular_assessment"] == "immediate"
    if facts.active_charcot is None:
        assert not unique & {"ankle_high_removable", "footwear_modification", "felted_foam_with_footwear"}
    if cell in TREAT_FIRST_CELLS or facts.ischaemia_grade == 3 or facts.infection_grade == 4:
        assert referred["treat_infection_or_ischaemia_first"] == "immediate"
    if facts.ischaemia_grade == 3:
        assert referred["vascular_assessment"] == "immediate"
    if facts.ischaemia_grade == 2:
        assert referred["vascular_assessment"] in ("immediate", "one_working_day")
    if facts.non_surgical_care_failed:
        assert "vascular_assessment" in referred
    if facts.infection_grade in (3, 4) or facts.osteomyelitis:
        assert referred["infection_assessment"] == "immediate"
    if facts.infection_grade == 2:
        assert referred["infection_assessment"] in ("immediate", "one_working_day")
    if facts.active_charcot:
        assert referred["charcot_assessment"] == "one_working_day"
        assert not unique & {"ankle_high_removable", "footwear_modification", "felted_foam_with_footwear"}
    if "felted_foam_with_footwear" in unique:
        assert facts.device_available is False
    if facts.surface == "plantar":
        assert "footwear_modification" not in unique
    if "flexor_tenotomy" in referred:
        assert facts.ischaemia_grade in (0, 1, 2)
        assert facts.infection_grade == 1
        assert facts.osteomyelitis is False
    if facts.bulky_calf:
        assert not unique & {"walker_non_removable", "walker_knee_high_removable"}
    topics = set(advice.rules)
    lines = {"FIRST_NR", "IS_A"} & topics
    assert len(lines) < 2
    assert not (lines and {"IS_B", "IS_C"} & topics)
    assert not topics >= {"IS_B", "IS_C"}


def _answer(facts: Facts, masks: BitMasks, known: dict[int, tuple[tuple, Advice]]) -> Advice:
    """The program's answer, once what holds is the same by both ways."""
    mask = masks.holding(facts)
    if mask not in known:
        known[mask] = masks.named(mask), decide(facts)
    expected, advice = known[mask]
    assert named(facts) == expected, facts
    return advice


def rules_digest() -> str:
    """Hash of what the rows do, wording left out, kept with the coverage so that a stale record is
    noticed.
    """
    table = current()
    rows = [
        (r.id, r.kind, sorted(r.when.items()), r.classes, r.always, r.refer, r.urgency, r.tier, r.topic)
        for r in table.rows
    ]
    told = repr((rows, sorted(table.matrix.items()), sorted(table.sites.items())))
    return hashlib.sha256(told.encode()).hexdigest()


def read_coverage() -> tuple[str, dict[str, int]]:
    """Digest of the rules the record was made with, and how often each row decided."""
    with COVERAGE.open(newline="") as file:
        rows = list(csv.reader(file))
    return rows[0][1], {name: int(count) for name, count in rows[2:]}


def main() -> None:
    """Sweep the whole and print what was found, per cell."""
    began, answers = time.perf_counter(), 0
    stays_on = collections.Counter()
    kinds = collections.Counter()
    decided = collections.Counter()
    masks, answer_of = BitMasks(current()), {}
    for further in further_states():
        for values in PRODUCT:
            facts = Facts(*values[:4], ischaemia_grade=values[4], **further)
            advice = _answer(facts, masks, answer_of)
            assert_safe(facts, advice)
            answers += 1
            stays_on[values[3], values[4]] += any(offer.id in NON_REMOVABLE for offer in advice.classes)
            decided[advice.rows] += 1
            kinds["class" if advice.classes else "referral" if advice.refer else "missing"] += 1
    seconds = time.perf_counter() - began
    print(
        f"{answers} answers of {len(answer_of)} kinds, all safe and the same by bit masks, in {seconds:.0f} "
        f"s ({seconds / answers * 1e6:.1f} microseconds each)"
    )
    print(f"first thing answered: {dict(kinds)}")
    print(f"a device that stays on, by (infection, ischaemia): {dict(+stays_on)}")
    counts = dict.fromkeys((row.id for row in current().rows), 0)
    for rows, times in decided.items():
        for row in rows:
            counts[row] += times
    print(f"rows that never decided: {[row for row, count in counts.items() if count == 0]}")
    if "--write" in sys.argv:
        with COVERAGE.open("w", newline="") as file:
            lines = [("rules sha256", rules_digest()), ("row", f"decided of {answers}"), *counts.items()]
            csv.writer(file, lineterminator="\n").writerows(lines)


if __name__ == "__main__":
    main()
