from datetime import date, timedelta

import pytest

from clinic.charts.errors import ChartError
from clinic.charts.multiples import Panel, multiples_svg
from clinic.healing.series import Area

DAY = date(2026, 1, 5)


def panel(name, *areas, start=0):
    return Panel(
        name, "slow", tuple(Area(DAY + timedelta(days=start + 7 * i), a) for i, a in enumerate(areas)), (DAY,)
    )


def test_each_lesion_has_a_panel_with_its_name():
    panels = [panel("Ulcer A", 400, 300, 200), panel("Ulcer B", 50, start=14)]
    svg = multiples_svg(panels)
    assert svg == multiples_svg(panels)
    assert b"Ulcer A" in svg
    assert b"Ulcer B" in svg
    assert svg.count(b"5 Jan 2026") == 2


def test_more_lesions_make_a_taller_sheet():
    four = multiples_svg([panel(f"Ulcer {n}", 100, 90) for n in "ABCD"])
    assert b'height="300pt"' in four  # two rows of 200 px


@pytest.mark.parametrize(("panels", "words"), [([], "panels"), ([panel("Ulcer A")], "areas of Ulcer A")])
def test_nothing_to_draw_is_refused(panels, words):
    with pytest.raises(ChartError, match=words):
        multiples_svg(panels)
