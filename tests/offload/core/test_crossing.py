import pytest

from offload.core.pressure.device_load import factor_at
from tests.offload.core.crossing import crossing


@pytest.mark.parametrize("device", ["walker_knee_high_removable", "footwear_modification"])
def test_the_crossing_times_the_devices_factor_is_that_of_a_flat_shoe(device):
    """Load is linear in weight; 3 %."""
    flat = crossing(50.0, "push_off")
    found = crossing(50.0, "push_off", device=device)
    assert found * factor_at("forefoot", device).central == pytest.approx(flat, rel=0.03)
