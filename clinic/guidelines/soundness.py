"""Is a rule table fit for use? Every fault is found and named before anything is decided by it."""

import itertools
from collections.abc import Mapping

from clinic.guidelines.cautions import CAUTIONS
from clinic.guidelines.devices import DEVICES, REFERRALS, URGENCIES
from clinic.guidelines.facts import CHOICES
from clinic.guidelines.rows import (
    CELLS,
    CONTENTS,
    DOMAINS,
    KINDS,
    MATRIX_CELLS,
    NOT_APPLIED,
    PRACTICE,
    Row,
    Table,
    Value,
)

__all__ = ["faults_of"]


def faults_of(table: Table) -> tuple[str, ...]:
    """Everything that is wrong with a table.

    Parameters
    ----------
    table : Table

    Returns
    -------
    tuple of str
        One sentence per fault; empty if the table is sound.
    """
    faults: list[str] = []
    domains = table.domains
    faults += [
        f"recommendation {r.topic} has no known source"
        for r in table.recommendations.values()
        if not r.source
    ]
    faults += [
        f"recommendation {r.topic} has content {r.content}, must be one of {', '.join(CONTENTS)}"
        for r in table.recommendations.values()
        if r.content not in CONTENTS
    ]
    for grade, ischaemia in itertools.product(range(1, 5), range(4)):
        if table.matrix.get((grade, ischaemia)) not in MATRIX_CELLS:
            faults.append(f"matrix cell {grade} x {ischaemia} must be one of {', '.join(MATRIX_CELLS)}")
    for region, surface in itertools.product(CHOICES["region"], CHOICES["surface"]):
        if (region, surface) not in table.sites:
            faults.append(f"site {region}, {surface} has no kind")
    seen: set[str] = set()
    for row in table.rows:
        if row.id in seen:
            faults.append(f"row {row.id} stands twice")
        seen.add(row.id)
        faults += _row_faults(row, table, domains)
    for one, other in itertools.combinations([r for r in table.rows if r.line], 2):
        if one.line == other.line and not _disjoint(one, other):
            faults.append(f"rows {one.id} and {other.id} of line {one.line} can both hold")
    for caution in CAUTIONS:
        faults += [f"caution {caution.id}: {fault}" for fault in _condition_faults(caution.when, domains)]
    if not faults:
        faults += _uncovered(table)
    return tuple(faults)


def _condition_faults(when: Mapping[str, tuple[Value, ...]], domains: Mapping[str, tuple]) -> list[str]:
    faults = []
    for name, values in when.items():
        if name not in domains:
            faults.append(f"condition names {name}, which is no fact or reading")
            continue
        known = {(type(v), v) for v in domains[name]}
        faults += [
            f"condition {name} names {v!r}, not among its values" for v in values if (type(v), v) not in known
        ]
        if not values:
            faults.append(f"condition {name} names no value, so it can never hold")
    return faults


def _row_faults(row: Row, table: Table, domains: Mapping[str, tuple]) -> list[str]:
    faults = [f"row {row.id}: {fault}" for fault in _condition_faults(row.when, domains)]
    if row.kind not in KINDS:
        faults.append(f"row {row.id} is of kind {row.kind}, must be one of {', '.join(KINDS)}")
    if not row.source:
        faults.append(f"row {row.id} has no known source")
    if not row.because.strip():
        faults.append(f"row {row.id} gives no reason")
    for name in (*row.classes, *row.always):
        if name not in DEVICES:
            faults.append(f"row {row.id} names {name}, which is no device class")
    for name in row.refer:
        if name not in REFERRALS:
            faults.append(f"row {row.id} names {name}, which is no referral")
    if row.topic is not None and row.topic not in table.recommendations:
        faults.append(f"row {row.id} names topic {row.topic}, which has no recommendation")
    elif (
        row.topic is not None
        and table.recommendations[row.topic].content == NOT_APPLIED
        and row.source != PRACTICE  # common practice that only falls under the topic
    ):
        faults.append(f"row {row.id} applies {row.topic}, whose substance was not confirmed")
    if row.kind in ("offer", "adjunct", "demote", "withhold") and not row.classes:
        faults.append(f"row {row.id} names no device class")
    if row.kind in ("offer", "adjunct") and row.topic is None:
        faults.append(f"row {row.id} offers without a topic")
    if row.kind in ("offer", "demote") and row.tier not in (1, 2, 3, 4):
        faults.append(f"row {row.id} has tier {row.tier}, must be 1, 2, 3 or 4")
    if row.kind in ("refer", "hold_referral") and not row.refer:
        faults.append(f"row {row.id} names no referral")
    if row.kind == "refer" and row.urgency not in URGENCIES:
        faults.append(f"row {row.id} has urgency {row.urgency}, must be one of {', '.join(URGENCIES)}")
    return faults


def _disjoint(one: Row, other: Row) -> bool:
    return any(not set(one.when[name]) & set(other.when[name]) for name in one.when if name in other.when)


def _uncovered(table: Table) -> list[str]:
    """Sites for which, at some cause and cell, no row offers a thing while a device can be had."""
    faults = []
    offers = [r for r in table.rows if r.kind == "offer" and set(r.when) <= {"site", "cause", "cell"}]
    kinds = [kind for kind in table.domains["site"] if kind != "unknown"]
    for site, cause, cell in itertools.product(kinds, DOMAINS["cause"], CELLS):
        at = {"site": site, "cause": cause, "cell": cell}
        if not any(all(at[name] in values for name, values in row.when.items()) for row in offers):
            faults.append(f"site {site} with cause {cause} in cell {cell} has no offer")
    return faults
