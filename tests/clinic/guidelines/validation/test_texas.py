"""University of Texas. Armstrong DG, Lavery LA, Harkless LB, Diabetes Care 1998;21:855-859; HL7 value
sets.
"""

import pytest

from clinic.guidelines.grading import texas


@pytest.mark.parametrize("depth", [0, 1, 2, 3])
@pytest.mark.parametrize(
    ("infected", "ischaemic", "stage"),
    [(False, False, "A"), (True, False, "B"), (False, True, "C"), (True, True, "D")],
)
def test_all_sixteen_cells(depth, infected, ischaemic, stage):
    assert texas(depth=depth, infected=infected, ischaemic=ischaemic).value == f"{depth}{stage}"
