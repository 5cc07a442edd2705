import pytest

from offload.core.plan.crossings import crossings
from offload.core.pressure.device_load import DEVICES, factor_at
from tests.offload.core.crossing import crossing


@pytest.mark.parametrize("device", ["walker_knee_high_removable", "footwear_modification"])
def test_the_crossing_times_the_devices_factor_is_that_of_a_flat_shoe(device):
    """Load is linear in weight; 3 %."""
    flat = crossing(50.0, "push_off")
    found = crossing(50.0, "push_off", device=device)
    assert found * factor_at("forefoot", device).central == pytest.approx(flat, rel=0.03)


def test_the_weights_that_pages_show_are_those_of_this_program():
    """3 %, as far as the bisection goes; they scale with one over the factor and hold it within them."""
    kept = {one.device: one for one in crossings()}
    assert set(kept) == {None, *DEVICES}
    flat = crossing(50.0, "push_off")
    for device, one in kept.items():
        assert one.central * factor_at("forefoot", device).central == pytest.approx(flat, rel=0.03)
        assert one.low < one.central < one.high
        assert one.high > 1.5 * one.low  # too wide to support or refute any one weight
