import io
import xml.etree.ElementTree as ElementTree

import pytest
from matplotlib.axes import Axes

from clinic.charts.errors import ChartError
from clinic.charts.survival import SurvivalGroup, survival_svg
from clinic.healing.errors import SurvivalError

CAST = SurvivalGroup("cast", (3.0, 5.0, 8.0, 12.0), (1, 1, 0, 0))
WALKER = SurvivalGroup("walker", (4.0, 9.0, 12.0), (1, 0, 0))


def texts(svg):
    root = ElementTree.parse(io.BytesIO(svg)).getroot()  # noqa: S314 - our own output
    return ["".join(e.itertext()).strip() for e in root.iter("{http://www.w3.org/2000/svg}text")]


def test_names_and_numbers_still_observed_are_written():
    found = texts(survival_svg([CAST, WALKER]))
    assert found.count("cast") == 2  # at the line and in the table
    assert "Still observed" in found
    assert "Healed [%]" in found
    assert "Time [weeks]" in found


def test_the_same_groups_give_the_same_bytes():
    assert survival_svg([CAST, WALKER]) == survival_svg([CAST, WALKER])


def test_a_group_without_events_is_drawn_flat():
    assert "walker" in texts(survival_svg([SurvivalGroup("walker", (4.0, 9.0), (0, 0))]))


def test_the_band_is_drawn_as_far_as_the_line(monkeypatch):
    """Bounds hold until the next step, so after the last one they hold to the last observation."""
    drawn = []
    plain = Axes.fill_between
    monkeypatch.setattr(
        Axes, "fill_between", lambda self, x, *a, **k: drawn.append(x) or plain(self, x, *a, **k)
    )
    survival_svg([CAST, WALKER])
    assert [max(times) for times in drawn] == [max(CAST.durations), max(WALKER.durations)]


@pytest.mark.parametrize("count", [0, 7])
def test_a_count_of_groups_that_cannot_be_told_apart_is_refused(count):
    with pytest.raises(ChartError, match="can be told apart"):
        survival_svg([CAST] * count)


def test_impossible_rows_are_refused():
    with pytest.raises(SurvivalError, match="0 or more"):
        survival_svg([SurvivalGroup("x", (-1.0,), (1,))])
