import re

import pytest

from clinic.charts.alarms import alarms_svg
from clinic.charts.errors import ChartError
from clinic.healing.alarms import TRADE_OFF, AlarmPoint


def test_one_point_a_limit_and_only_the_one_in_use_is_filled():
    drawn = alarms_svg(TRADE_OFF, 'a "label"')
    circles = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="4"([^>]*)>', drawn)
    assert len(circles) == len(TRADE_OFF)
    assert sum("currentColor" in more for _, _, more in circles) == 1
    places = [(float(x), float(y)) for x, y, _ in circles]
    assert places == sorted(places, key=lambda at: (-at[0], -at[1])), "fewer false alarms, later true ones"


@pytest.mark.parametrize(
    "points",
    [(), (AlarmPoint(1.0, 30.0, 1.0, 2.0, 100.0, 100.0),), (AlarmPoint(1.0, 3.0, 1.0, 9.0, 9.0, 9.0),)],
)
def test_what_cannot_be_drawn_is_refused(points):
    with pytest.raises(ChartError, match="points"):
        alarms_svg(points, "label")
