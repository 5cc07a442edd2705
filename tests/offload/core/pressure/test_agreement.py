"""Bias and limits against hand-worked figures; small numbers are said."""

import numpy as np
import pytest

from offload.core.errors import ReliefError
from offload.core.pressure.agreement import FEW, agreement_of, peak_under
from offload.core.pressure.grid import PressureMap
from offload.core.shapes.outline import Outline


def test_bias_and_limits_by_hand():
    found = agreement_of([(100, 110), (150, 150), (200, 190), (120, 132)])
    # differences 10, 0, -10, 12: mean 3, sample variance (49 + 9 + 169 + 81)/3 = 102.667
    assert found.bias == pytest.approx(3.0)
    spread = (308 / 3) ** 0.5
    assert found.low == pytest.approx(3 - 1.96 * spread)
    assert found.high == pytest.approx(3 + 1.96 * spread)
    assert found.bias_error == pytest.approx(spread / 2)
    assert found.limit_error == pytest.approx(spread * (1 / 4 + 1.96**2 / 6) ** 0.5)
    assert found.few


def test_nothing_one_and_many():
    assert agreement_of([]) is None
    one = agreement_of([(100, 90)])
    assert (one.n, one.bias, one.low, one.high) == (1, -10, None, None)
    assert not agreement_of([(1, 2)] * FEW).few
    with pytest.raises(ReliefError, match="finite"):
        agreement_of([(1, float("nan"))])


def test_limits_hold_about_95_percent_of_normal_differences():
    rng = np.random.default_rng(4)
    differences = rng.normal(5, 20, 4000)
    found = agreement_of([(100, 100 + d) for d in differences])
    assert np.mean((differences > found.low) & (differences < found.high)) == pytest.approx(0.95, abs=0.01)


def test_the_peak_under_a_lesion_is_of_the_cells_it_covers():
    given = PressureMap(
        ((10.0, 20.0, 30.0), (40.0, 250.0, 60.0), (70.0, 80.0, 900.0)), (10.0, 10.0), (0.0, 0.0)
    )
    assert peak_under(given, Outline.ellipse((15, 15), 12, 12)) == 250.0
    assert peak_under(given, Outline.ellipse((25, 25), 3, 3)) == 900.0
    with pytest.raises(ReliefError, match="does not reach"):
        peak_under(given, Outline.ellipse((80, 80), 5, 5))
