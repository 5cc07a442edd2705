import math
from datetime import date, timedelta

from clinic.charts.compared import compared_svg
from clinic.healing.compare import compare
from clinic.healing.series import Area

DAY = date(2026, 1, 5)


def circles(*radii):
    return [Area(DAY + timedelta(days=7 * i), math.pi * r**2) for i, r in enumerate(radii)]


def test_both_courses_are_named_with_slope_and_interval_and_drawn_the_same_every_time():
    found = compare(circles(10, 9.9, 9.8, 9.7), circles(10, 9, 8, 7))
    svg = compared_svg(found, ("Before cast", "After cast"))
    assert svg == compared_svg(found, ("Before cast", "After cast"))
    for words in ("Before cast", "After cast", "−0.10 mm a week", "−1.00 mm a week"):
        assert words.encode() in svg


def test_courses_that_end_at_one_height_keep_their_labels_apart():
    svg = compared_svg(compare(circles(9, 8, 7), circles(9, 8, 7)), ("one", "two")).decode()
    assert svg.count("−1.00 mm a week") == 2
