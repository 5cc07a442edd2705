"""A second evaluator of the rule table, by bit masks, to compare the program's with.

Every condition of every row and caution is one set of allowed values per fact. Here each value of each fact
keeps the conditions it does not contradict, as the bits of a number, and the intersection is what holds. What
is read from several facts is tabulated beforehand for every combination. So it shares the table with
``clinic/guidelines/table.py`` and none of its code.
"""

from clinic.guidelines.cautions import CAUTIONS
from clinic.guidelines.facts import FIRST_GROUP, OPTIONAL, Facts
from clinic.guidelines.rows import MISSING, Table

RECENT_SURGERY_WEEKS = 6


def _infection_readings():
    """Infection with bone counted: infected bone is at least moderate."""
    readings = {}
    for bone in (True, False, None):
        for grade in (1, 2, 3, 4):
            readings[grade, bone] = max(grade, 3) if bone else grade
        readings[None, bone] = "3_or_4" if bone else MISSING
    return readings


def _cell_readings(table):
    """Matrix cell of each infection reading and ischaemia grade; where a grade is missing, what all agree
    on.
    """
    grades = {n: (n,) for n in (1, 2, 3, 4)}
    grades |= {"3_or_4": (3, 4), MISSING: (1, 2, 3, 4)}
    readings = {}
    for infection, possible in grades.items():
        for ischaemia in (0, 1, 2, 3, None):
            columns = (0, 1, 2, 3) if ischaemia is None else (ischaemia,)
            cells = {table.matrix[grade, column] for grade in possible for column in columns}
            if len(cells) == 1:
                readings[infection, ischaemia] = cells.pop()
            elif cells <= {"rm", "rm_derived", "treat_first"}:
                readings[infection, ischaemia] = "rm_or_treat_first"
            else:
                readings[infection, ischaemia] = "unknown"
    return readings


def _site_readings(table):
    """Kind of site of each region and surface; where one is missing, what all sound pairs agree on."""
    readings = dict(table.sites)
    pairs = [(region, None) for region in {r for r, _ in table.sites}]
    pairs += [(None, surface) for surface in {s for _, s in table.sites}]
    for region, surface in [*pairs, (None, None)]:
        kinds = {
            kind
            for (r, s), (kind, doubt) in table.sites.items()
            if region in (r, None) and surface in (s, None) and not doubt
        }
        readings[region, surface] = (kinds.pop() if len(kinds) == 1 else "unknown", False)
    return readings


class BitMasks:
    """One edition, compiled."""

    def __init__(self, table: Table) -> None:
        conditions = [(("row", row.id), row.when) for row in table.rows]
        conditions += [(("caution", caution.id), caution.when) for caution in CAUTIONS]
        conditions += [(("missing", name), {name: (MISSING,)}) for name in FIRST_GROUP]
        self.names = [name for name, _ in conditions]

        def masks(fact):
            free = sum(1 << i for i, (_, when) in enumerate(conditions) if fact not in when)
            found = {}
            for value in table.domains[fact]:
                held = sum(1 << i for i, (_, when) in enumerate(conditions) if value in when.get(fact, ()))
                found[None if value == MISSING else value] = free | held
            return found

        plain = (*FIRST_GROUP, *(name for name in OPTIONAL if name != "recent_surgery_weeks"))
        self.plain = {name: masks(name) for name in plain}
        self.surgery = masks("recent_surgery")
        site, doubt = masks("site"), masks("site_doubt")
        self.site = {
            pair: site[kind] & doubt[in_doubt] for pair, (kind, in_doubt) in _site_readings(table).items()
        }
        infection, cell = masks("infection"), masks("cell")
        cells = _cell_readings(table)
        self.matrix = {
            (grade, bone, ischaemia): infection[None if reading == MISSING else reading]
            & cell[cells[reading, ischaemia]]
            for (grade, bone), reading in _infection_readings().items()
            for ischaemia in (0, 1, 2, 3, None)
        }

    def holding(self, facts: Facts) -> int:
        """What holds, as the bits of a number; equal numbers have equal answers."""
        weeks = facts.recent_surgery_weeks
        mask = self.site[facts.region, facts.surface]
        mask &= self.matrix[facts.infection_grade, facts.osteomyelitis, facts.ischaemia_grade]
        mask &= self.surgery[None if weeks is None else weeks < RECENT_SURGERY_WEEKS]
        for name, masks in self.plain.items():
            mask &= masks[getattr(facts, name)]
        return mask

    def named(self, mask: int) -> tuple[tuple[str, str], ...]:
        """Kind and id of everything that holds: rows, cautions, missing facts."""
        return tuple(name for i, name in enumerate(self.names) if mask >> i & 1)
