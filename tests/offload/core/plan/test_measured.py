"""The running bias of a clinic is said beside every estimate and corrects none."""

from __future__ import annotations

import pytest

from offload.core.plan.measured import ENOUGH_PAIRS, running_bias


def test_nothing_measured_is_said_to_be_unknown():
    found = running_bias([])
    assert (found.n, found.bias) == (0, None)
    assert "not known" in found.words
    assert not found.enough_to_lead


@pytest.mark.parametrize(
    ("off", "words"), [(40.0, "40 kPa too low"), (-25.0, "25 kPa too high"), (0.2, "as high as")]
)
def test_the_side_on_which_the_model_errs_is_said(off, words):
    found = running_bias([(300.0, 100.0, 310.0, 100.0 + off)] * 3)
    assert found.bias == pytest.approx(off)
    assert words in found.words
    assert "Nothing is corrected" in found.words


@pytest.mark.parametrize(
    ("n", "right", "leads"), [(ENOUGH_PAIRS, 16, True), (ENOUGH_PAIRS, 15, False), (19, 19, False)]
)
def test_the_model_may_lead_only_after_enough_pairs_with_the_direction_right(n, right, leads):
    fell, rose = (300.0, 100.0, 310.0, 140.0), (300.0, 100.0, 310.0, 340.0)
    found = running_bias([fell] * right + [rose] * (n - right))
    assert (found.n, found.right, found.enough_to_lead) == (n, right, leads)
