import io
import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from datetime import date, timedelta
from pathlib import Path

import pytest

from clinic.charts.errors import ChartError
from clinic.charts.strip import ChartEvent, placed
from clinic.charts.trajectory import _pieces, trajectory_svg
from clinic.healing.forecast import forecast
from clinic.healing.series import Area, Method, last_run, square_mm

ROOT = Path(__file__).resolve().parents[3]
DAY = date(2026, 1, 5)


def weekly(*cm2, start=0, method=Method.TRACED):
    return [Area(DAY + timedelta(days=7 * (i + start)), square_mm(a), method) for i, a in enumerate(cm2)]


def words(svg):
    root = ElementTree.parse(io.BytesIO(svg)).getroot()  # noqa: S314 - our own output
    return " | ".join("".join(e.itertext()) for e in root.iter("{http://www.w3.org/2000/svg}text"))


def test_the_sheet_is_900_by_420_pixels_and_well_formed():
    svg = trajectory_svg(weekly(4.0, 3.0))
    root = ElementTree.parse(io.BytesIO(svg)).getroot()  # noqa: S314 - our own output
    assert (root.get("width"), root.get("height")) == ("675pt", "315pt")  # 900 × 420 px at 96 to the inch
    assert root.find("{http://www.w3.org/2000/svg}title").text == "Ulcer area over time"


def test_axes_mark_and_events_are_written_as_text():
    text = words(
        trajectory_svg(
            weekly(4.0, 3.0, 2.0, 1.5, 1.2),
            events=[ChartEvent(DAY, "relief plan v1", "plan")],
            missed=[DAY + timedelta(days=10), DAY + timedelta(days=11)],
        )
    )
    for part in (
        "Area [cm²]",
        "Weeks since first seen",
        "5 Jan 2026",
        "half the first area",
        "relief plan v1",
        "traced",
    ):
        assert part in text
    assert text.count("missed visit") == 1  # said once, marked twice


def test_the_same_arguments_give_the_same_bytes_in_another_process():
    code = (
        "import sys; from datetime import date; from clinic.healing.series import Area\n"
        "from clinic.charts.trajectory import trajectory_svg\n"
        "sys.stdout.buffer.write(trajectory_svg([Area(date(2026,1,5),400.0),Area(date(2026,1,12),300.0)]))"
    )
    runs = [
        subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, check=True).stdout
        for _ in range(2)
    ]
    assert runs[0] == runs[1] == trajectory_svg(weekly(4.0, 3.0))
    assert b"dc:date" not in runs[0]


def test_pyplot_is_never_imported():
    code = (
        "import sys, clinic.charts.trajectory, clinic.charts.survival; print('matplotlib.pyplot' in "
        "sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_the_line_breaks_at_a_missed_visit_and_at_a_long_gap():
    areas = weekly(4.0, 3.0, 2.0)
    assert len(_pieces(areas, (), ())) == 1
    assert [len(p) for p in _pieces(areas, [DAY + timedelta(days=10)], ())] == [2, 1]
    far = [*areas, Area(DAY + timedelta(days=14 + 22), 100.0)]
    assert [len(p) for p in _pieces(far, (), ())] == [3, 1]


def test_a_date_is_named_only_from_the_fifth_area_on():
    four, five = weekly(4.0, 3.2, 2.5, 1.9), weekly(4.0, 3.2, 2.5, 1.9, 1.3)
    before = words(trajectory_svg(four, forecast=forecast(last_run(four))))
    after = words(trajectory_svg(five, forecast=forecast(last_run(five))))
    assert "Closing" not in before
    assert re.search(r"Closing \d+ \w+ 2026 to \d+ \w+ 2026 \(estimate, 8 in 10\)", after)
    # The chance stands in the page's verdict sentence, once.
    assert "Closure within" not in before + after


def test_no_area_is_refused():
    with pytest.raises(ChartError, match="at least 1"):
        trajectory_svg([])


def test_a_single_closed_wound_is_drawn():
    assert "Area [cm²]" in words(trajectory_svg([Area(DAY, 0.0)]))


@pytest.mark.parametrize(
    ("areas", "step"),
    [([1e5, 9e4, 8e4, 7e4, 6e4], 7), ([1.0, 0.5, 2.0], 1), ([300.0] * 150, 7), ([200.0, 0.0, 50.0], 400)],
)
def test_very_large_small_long_and_sparse_series_are_drawn(areas, step):
    series = [Area(DAY + timedelta(days=step * i), a) for i, a in enumerate(areas)]
    svg = trajectory_svg(series, forecast=forecast(last_run(series)))
    assert b"nan" not in svg
    assert "Weeks since first seen" in words(svg)


def test_labels_in_one_row_never_touch():
    events = [ChartEvent(DAY + timedelta(days=i), f"event {i}", "plan") for i in range(20)]
    items = placed(events, DAY, (-1.0, 30.0), 800.0)
    assert len(items) == 20
    for row in range(4):
        own = [i for i in items if i.row == row and i.label]
        for a, b in zip(own, own[1:], strict=False):
            assert (b.at - a.at) * 800 / 31 >= 14 + 6.6 * len(a.label)


@pytest.mark.parametrize(("label", "kind"), [("", "plan"), ("x" * 49, "plan"), ("ok", "colour")])
def test_an_event_out_of_bounds_is_refused(label, kind):
    with pytest.raises(ChartError, match="label|kind"):
        ChartEvent(DAY, label, kind)
