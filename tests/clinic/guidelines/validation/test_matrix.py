"""Infection by ischaemia. Wording of the 2019 recommendations 7a to 7c (Bus SA et al., Diabetes Metab Res Rev
2020;36(S1):e3274), from memory; Fernando ME et al. 2022, table 5, agrees on what rules a non-removable
device out.
"""

import itertools

import pytest

from clinic.guidelines.devices import NON_REMOVABLE
from clinic.guidelines.edition import current
from clinic.guidelines.facts import parse
from clinic.guidelines.table import decide
from tests.clinic.guidelines.cases import PLAIN

# Rows infection 1 to 4, columns ischaemia 0 to 3: N non-removable, R removable, T treat first.
MATRIX = ["NNRT", "NRRT", "RRTT", "TTTT"]
DERIVED = {(2, 2), (3, 1)}


@pytest.mark.parametrize(("infection", "ischaemia"), list(itertools.product(range(1, 5), range(4))))
def test_all_sixteen_cells(infection, ischaemia):
    advice = decide(parse({**PLAIN, "infection_grade": infection, "ischaemia_grade": ischaemia}))
    offered = {offer.id for offer in advice.classes}
    treat = any(r.id == "treat_infection_or_ischaemia_first" for r in advice.refer)
    expected = MATRIX[infection - 1][ischaemia]
    assert (offered >= NON_REMOVABLE) is (expected == "N")
    assert bool(offered & NON_REMOVABLE) is (expected == "N")
    assert treat is (expected == "T")
    assert {"walker_knee_high_removable", "ankle_high_removable"} <= offered
    assert any(offer.derived for offer in advice.classes) is ((infection, ischaemia) in DERIVED)


def test_derived_cells_are_marked_in_the_table():
    assert {cell for cell, kind in current().matrix.items() if kind == "rm_derived"} == DERIVED
