"""The printed frames have the size that the program believes in."""

import numpy as np
import pypdfium2
import pytest

from offload.core.errors import ReliefError
from offload.core.shapes.card import snap_to_edges
from offload.core.sheets.reference_sheet import REFERENCE_FRAME, reference_drawing
from offload.core.sheets.writers.pdf import write_pdf

PX_PER_MM = 254 / 25.4


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_frame_rendered_at_254_dpi_measures_its_size(paper):
    pdf = write_pdf([reference_drawing(paper)])
    page = np.asarray(pypdfium2.PdfDocument(pdf)[0].render(scale=254 / 72).to_pil().convert("L"), dtype=float)
    height = page.shape[0] / PX_PER_MM
    x, y = 15.0, height - 112.0  # lower left corner of the first frame, y up
    w, h = REFERENCE_FRAME
    corners = [(x, height - y - h), (x + w, height - y - h), (x + w, height - y), (x, height - y)]
    found = snap_to_edges(page, [(a * PX_PER_MM, b * PX_PER_MM) for a, b in corners], reach=12)
    assert found is not None
    sides = np.hypot(*(np.roll(found.corners, -1, axis=0) - np.asarray(found.corners)).T) / PX_PER_MM
    assert np.allclose(sides, [w, h, w, h], atol=0.05)


def test_another_paper_is_refused():
    with pytest.raises(ReliefError, match="A4 or Letter"):
        reference_drawing("A3")
