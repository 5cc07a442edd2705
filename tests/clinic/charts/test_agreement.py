import re
import xml.etree.ElementTree as ElementTree

import pytest

from clinic.charts.agreement import MeasuredPoint, agreement_svg
from clinic.charts.errors import ChartError

POINTS = (
    MeasuredPoint("K7, ulcer A", 100.0, 120.0, True),
    MeasuredPoint("M2, ulcer <B>", 180.0, 150.0, False),
)
NAME = "{http://www.w3.org/2000/svg}"


def drawn(points=POINTS, bias=-5.0, low=-80.0, high=70.0):
    text = agreement_svg(points, bias, low, high)
    spaced = text.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return ElementTree.fromstring(spaced)  # noqa: S314  our own output


def centres(root):
    return [(float(c.get("cx")), float(c.get("cy"))) for c in root.iter(f"{NAME}circle")]


def test_a_point_stands_where_its_numbers_are_on_one_scale_for_both_axes():
    root = drawn((*POINTS, MeasuredPoint("zero", 0.0, 0.0, True), MeasuredPoint("equal", 100.0, 100.0, True)))
    (x1, y1), _, (x0, y0), (x2, y2) = centres(root)
    assert (x2 - x0) / 100 == pytest.approx((x1 - x0) / 100)
    assert (y0 - y1) / 120 == pytest.approx((y0 - y2) / 100, abs=0.01)


def test_every_point_is_named_and_tells_its_baseline():
    root = drawn()
    titles = [title.text for title in root.iter(f"{NAME}title")]
    assert titles == [
        "K7, ulcer A: 100 predicted, 120 kPa measured",
        "M2, ulcer <B>: 180 predicted, 150 kPa measured",
    ]
    assert [c.get("fill") for c in root.iter(f"{NAME}circle")] == ["currentColor", "none"]


def test_the_bias_and_both_limits_are_lines_beside_the_one_of_equal_peaks():
    root = drawn()
    told = [t.text.strip() for t in root.iter(f"{NAME}text")]
    assert {"equal", "bias -5", "limits -80, +70"} <= set(told)
    assert "bias -5 kPa, limits -80 to 70 kPa" in root.get("aria-label")
    ends = [
        [float(v) for v in re.findall(r"[-\d.]+", path.get("d"))]
        for path in root.iter(f"{NAME}path")
        if path.get("stroke-width") == "1.3"
    ]
    sloping = [line for line in ends if line[1] != line[3]]
    assert len(sloping) == 4
    # All run as steeply as the line of equal peaks; where that one stands at x, they stand lower by their
    # shift.
    (x0, y0, x1, y1), *others = sloping
    (px, py), _ = centres(root)
    per_kpa = (y0 - py) / 120.0
    for (a, b, c, d), shift in zip(others, (-5.0, -80.0, 70.0), strict=True):
        assert (d - b) / (c - a) == pytest.approx((y1 - y0) / (x1 - x0), rel=2e-3)
        level = y0 + (a - x0) * (y1 - y0) / (x1 - x0)
        assert level - b == pytest.approx(shift * per_kpa, abs=0.3)


def test_one_pair_has_no_limits():
    root = drawn(POINTS[:1], 20.0, None, None)
    assert not [t for t in root.iter(f"{NAME}text") if "limit" in (t.text or "")]
    assert "limits" not in root.get("aria-label")


def test_figures_on_the_axes_are_round_and_hold_every_point():
    for peak in (3.0, 99.0, 640.0, 2900.0):
        root = drawn((MeasuredPoint("a", peak, peak / 2, True),), -peak / 2, None, None)
        ticks = [float(t.text) for t in root.iter(f"{NAME}text") if re.fullmatch(r"\d+", t.text or "")]
        assert max(ticks) >= peak


@pytest.mark.parametrize(
    "points", [(), (MeasuredPoint("a", -1.0, 2.0, True),), (MeasuredPoint("a", 1.0, float("nan"), True),)]
)
def test_no_points_or_impossible_peaks_are_refused(points):
    with pytest.raises(ChartError):
        agreement_svg(points, 0.0, None, None)
