"""The template as a file: what a printer and a cutter get is the plan, in mm."""

from dataclasses import replace
from datetime import date
from io import BytesIO, StringIO

import ezdxf
import numpy as np
import pytest
from pypdf import PdfReader
from shapely import Polygon

from offload.core.sheets.drawing import Box
from offload.core.sheets.sheet import PAPERS, cutting_drawing, template_drawing
from offload.core.sheets.sheet_blocks import SheetLabel
from offload.core.sheets.sheet_code import sheet_code
from offload.core.sheets.writers.dxf import write_dxf
from offload.core.sheets.writers.pdf import write_pdf
from offload.core.sheets.writers.svg import write_svg
from tests.offload.core.sheet_plans import plan_of
from tests.offload.core.sheets.writers.test_pdf import PX_PER_MM, dark_extent, render

IMPRINT = SheetLabel(sheet_code(b"files"), 1, date(2026, 11, 25))
PLANS = {
    "left 255": plan_of("left", 255.0, (("A", (8.0, 150.0), 9.0, 8.0),)),
    "right 290": plan_of("right", 290.0, (("A", (0.0, 195.0), 10.0, 10.0),)),
}


def middle_of_ink(picture, window, height, axis):
    """Middle of a thin line that crosses a small window, in mm from the left or the bottom of the sheet."""
    left, top, right, bottom = dark_extent(picture, window, height)
    if axis == 0:
        return window.left + (left + right) / 2 / PX_PER_MM
    return window.top - (top + bottom) / 2 / PX_PER_MM


def edges(picture, path, height):
    """The four extremes of a closed path as they are found in the picture [mm]."""
    points = np.array(path.points)
    found = []
    for axis, pick in ((0, np.argmin), (1, np.argmin), (0, np.argmax), (1, np.argmax)):
        x, y = points[pick(points[:, axis])]
        across, along = (0.9, 0.15) if axis == 0 else (0.15, 0.9)
        found.append(middle_of_ink(picture, Box(x - across, y - along, x + across, y + along), height, axis))
    return found


def edges_alone(page):
    """The page with its outlines only: a long axis that crosses an edge is ink of another line."""
    names = ("OUTLINE", "CUT_MIDDLE_TOP")
    return replace(page, layers=tuple(one for one in page.layers if one.name in names))


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("name", PLANS)
def test_the_printed_bars_are_one_hundred_millimetres_and_the_opening_is_the_plans(name, paper):
    plan = PLANS[name]
    pages = template_drawing(plan, IMPRINT, paper=paper)
    data = write_pdf(pages)
    seen = 0
    for number, page in enumerate(pages):
        picture = render(data, number)
        bars = [
            item
            for layer in page.layers
            if layer.name == "SCALE"
            for item in layer.items
            if hasattr(item, "vertical")
        ]
        for bar in bars:
            (x, y), end = bar.at, 102.0
            if bar.vertical:
                _, top, _, bottom = dark_extent(picture, Box(x - 1.4, y - 2, x + 1.4, y + end), page.height)
                assert bottom - top == pytest.approx(1000, abs=2)
            else:
                left, _, right, _ = dark_extent(picture, Box(x - 2, y - 1.4, x + end, y + 1.4), page.height)
                assert right - left == pytest.approx(1000, abs=2)
        for path in page.paths("CUT_MIDDLE_TOP"):
            left, bottom, right, top = edges(render(write_pdf([edges_alone(page)])), path, page.height)
            b = plan.openings[0].opening.polygon.bounds
            assert right - left == pytest.approx(b[2] - b[0], abs=0.2)
            assert top - bottom == pytest.approx(b[3] - b[1], abs=0.2)
            seen += 1
    assert seen == 1


def test_the_printed_opening_stands_where_the_plan_has_it_on_the_insole():
    plan = PLANS["left 255"]
    (page,) = template_drawing(plan, IMPRINT, paper="A4")
    picture = render(write_pdf([edges_alone(page)]))
    outline = edges(picture, page.paths("OUTLINE")[0], page.height)
    opening = edges(picture, page.paths("CUT_MIDDLE_TOP")[0], page.height)
    insole, cut = plan.insole.outline.polygon.bounds, plan.openings[0].opening.polygon.bounds
    assert opening[1] - outline[1] == pytest.approx(cut[1] - insole[1], abs=0.2)
    assert opening[0] - outline[0] == pytest.approx(insole[2] - cut[2], abs=0.2)  # mirrored: lateral is left
    assert outline[2] - opening[2] == pytest.approx(cut[0] - insole[0], abs=0.2)


@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_file_has_the_size_of_the_paper_and_asks_for_no_scaling(paper):
    reader = PdfReader(BytesIO(write_pdf(template_drawing(PLANS["right 290"], IMPRINT, paper=paper))))
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"
    for page in reader.pages:
        size = [float(v) * 25.4 / 72 for v in page.mediabox[2:]]
        assert size == pytest.approx(PAPERS[paper], abs=0.01)


def test_the_cutting_file_audits_clean_is_in_mm_and_has_the_areas_of_the_plan():
    plan = plan_of(
        "left",
        255.0,
        (("A", (-20.0, 190.0), 8.0, 7.0), ("B", (15.0, 150.0), 7.0, 6.0)),
        cut=("middle", "base"),
    )
    document = ezdxf.read(StringIO(write_dxf(cutting_drawing(plan, IMPRINT)).decode().replace("\r\n", "\n")))
    auditor = document.audit()
    assert not auditor.errors
    assert not auditor.fixes
    assert document.units == ezdxf.units.MM
    space = document.modelspace()

    def areas(layer):
        rings = space.query(f'LWPOLYLINE[layer=="{layer}"]')
        assert all(ring.closed for ring in rings)
        return [Polygon([tuple(p) for p in ring.get_points("xy")]).area for ring in rings]

    assert areas("OUTLINE") == pytest.approx([plan.insole.outline.area], rel=1e-6)
    assert areas("LESION") == pytest.approx([lesion.outline.area for lesion in plan.spec.lesions], rel=1e-6)
    for index, role in enumerate(("MIDDLE", "BASE")):
        cuts = [opening.layers[index] for opening in plan.openings]
        assert areas(f"CUT_{role}_TOP") == pytest.approx([cut.top.area for cut in cuts], rel=1e-6)
        assert areas(f"CUT_{role}_FLOOR") == pytest.approx([cut.bottom.area for cut in cuts], rel=1e-6)
    words = " ".join(text.dxf.text for text in space.query("TEXT"))
    assert "NOT SIGNED – do not cut" in words
    assert "LEFT" in words


def test_two_runs_give_the_same_files():
    plan = PLANS["right 290"]
    flat = cutting_drawing(plan, IMPRINT)
    assert write_dxf(flat) == write_dxf(cutting_drawing(plan, IMPRINT))
    assert write_svg(flat) == write_svg(cutting_drawing(plan, IMPRINT))
    pages = template_drawing(plan, IMPRINT)
    assert write_pdf(pages) == write_pdf(template_drawing(plan, IMPRINT))
