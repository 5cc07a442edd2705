"""Heel edge, long axis and two holes on the sheets, and the grid an insole is drawn round on."""

import numpy as np
import pypdfium2
import pytest
from shapely.geometry import Polygon

from offload.core.errors import ReliefError
from offload.core.shapes.imprint import HOLES
from offload.core.sheets.insole_grid import grid_drawing
from offload.core.sheets.plan_drawing import insole_layers
from offload.core.sheets.writers.pdf import write_pdf
from tests.offload.core.sheet_plans import plan_of

PX_PER_MM = 254 / 25.4


def circles(plan):
    (layer,) = [layer for layer in insole_layers(plan) if layer.name == "ALIGN"]
    return [Polygon(path.points) for path in layer.items if getattr(path, "closed", False)]


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_holes_lie_where_a_photo_is_laid_by_them(side):
    found = circles(plan_of(side=side))
    assert [(round(one.centroid.x, 6) + 0.0, round(one.centroid.y, 6)) for one in found] == list(HOLES)


def test_a_hole_in_or_beside_an_opening_is_left_out():
    plan = plan_of(lesions=(("A", (0.0, 24.0), 10.0, 10.0),))
    cuts = [cut.top.polygon for opening in plan.openings for cut in opening.layers]
    found = circles(plan)
    assert len(found) == 1
    assert all(cut.distance(one) > 0 for cut in cuts for one in found)


@pytest.mark.parametrize("paper", ["A4", "A3", "Letter"])
def test_the_grid_rendered_at_254_dpi_has_its_heel_line_and_axis_in_true_millimetres(paper):
    pdf = write_pdf([grid_drawing(paper)])
    page = np.asarray(pypdfium2.PdfDocument(pdf)[0].render(scale=254 / 72).to_pil().convert("L"), dtype=float)
    height, width = (v / PX_PER_MM for v in page.shape)
    # Rows of a column between two lines: dark at the heel line and at the lines 50 and 100 mm above it.
    x = round((width / 2 + 5.0) * PX_PER_MM)
    dark = np.flatnonzero(page[:, x - 2 : x + 3].mean(axis=1) < 235)
    at = height - (dark + 0.5) / PX_PER_MM - 16.0
    for wanted in (0.0, 50.0, 100.0, 200.0):
        assert np.abs(at - wanted).min() < 0.15
    assert np.abs(at - 25.0).min() > 2.0


def test_another_paper_is_refused():
    with pytest.raises(ReliefError, match="A4, A3, Letter is allowed"):
        grid_drawing("A5")
