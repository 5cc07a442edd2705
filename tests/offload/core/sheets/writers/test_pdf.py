from io import BytesIO

import numpy as np
import pypdfium2
import pytest
from pypdf import PdfReader

from offload.core.errors import ReliefError
from offload.core.sheets.drawing import Box, Drawing, DrawingLayer, Hatch, ScaleBar, Text, circle, rectangle
from offload.core.sheets.writers.pdf import latin, write_pdf

PX_PER_MM = 10  # 254 dpi


def render(data, page=0):
    bitmap = pypdfium2.PdfDocument(data)[page].render(scale=PX_PER_MM * 25.4 / 72, grayscale=True)
    return np.asarray(bitmap.to_numpy()).reshape(bitmap.height, bitmap.width)


def dark_extent(picture, window, height):
    """Extent of ink in a window given in mm, y up: left, bottom, right, top in px."""
    rows = slice(round((height - window.top) * PX_PER_MM), round((height - window.bottom) * PX_PER_MM))
    columns = slice(round(window.left * PX_PER_MM), round(window.right * PX_PER_MM))
    ys, xs = np.nonzero(picture[rows, columns] < 128)
    return xs.min(), ys.min(), xs.max() + 1, ys.max() + 1


def sheet(*items, width=210.0, height=297.0):
    return Drawing("Sheet", width, height, (DrawingLayer("A", items),))


def test_both_check_bars_measure_one_hundred_millimetres():
    picture = render(write_pdf([sheet(ScaleBar((20, 20)), ScaleBar((150, 40), vertical=True))]))
    left, _, right, _ = dark_extent(picture, Box(15, 17, 130, 23), 297)
    assert right - left == pytest.approx(1000, abs=2)
    _, top, _, bottom = dark_extent(picture, Box(145, 35, 153, 145), 297)
    assert bottom - top == pytest.approx(1000, abs=2)


def test_a_ring_stands_where_its_points_say():
    picture = render(write_pdf([sheet(circle((100, 200), 21))]))
    left, top, right, bottom = dark_extent(picture, Box(60, 160, 140, 240), 297)
    assert (60 * 10 + left, 60 * 10 + right) == pytest.approx((790, 1210), abs=2)
    assert (570 + top, 570 + bottom) == pytest.approx((970 - 210, 970 + 210), abs=2)


@pytest.mark.parametrize("size", [(210.0, 297.0), (297.0, 420.0), (215.9, 279.4)])
def test_every_page_has_the_size_of_its_drawing(size):
    page = PdfReader(BytesIO(write_pdf([sheet(width=size[0], height=size[1])]))).pages[0]
    assert tuple(float(v) * 25.4 / 72 for v in page.mediabox[2:]) == pytest.approx(size, abs=0.01)


def test_the_viewer_is_asked_not_to_scale():
    reader = PdfReader(BytesIO(write_pdf([sheet(), sheet()])))
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"
    assert len(reader.pages) == 2


@pytest.mark.parametrize("hatch", list(Hatch))
def test_a_hatch_leaves_ink_inside_its_outline_and_none_outside(hatch):
    picture = render(write_pdf([sheet(rectangle(Box(20, 20, 50, 40), pen=None, hatch=hatch))]))
    inside = picture[2570:2770, 200:500]
    assert 0.002 < (inside < 200).mean() < 0.5
    outside = picture.copy()
    outside[2568:2772, 198:502] = 255
    assert (outside < 200).sum() == 0


def test_words_can_be_read_out_of_the_file():
    data = write_pdf([sheet(Text((20, 100), "NOT SIGNED – do not cut", 8, "middle", True, 30))])
    assert "NOT SIGNED – do not cut" in PdfReader(BytesIO(data)).pages[0].extract_text()


def test_letters_the_fonts_lack_are_replaced_and_the_page_says_so():
    assert latin("naïve – 5 mm²") == ("naïve – 5 mm²", True)
    assert latin("Łódź č 日") == ("?ódz c ?", False)
    assert (
        "not in its fonts"
        in PdfReader(BytesIO(write_pdf([sheet(Text((9, 9), "日"))]))).pages[0].extract_text()
    )
    assert (
        "not in its fonts"
        not in PdfReader(BytesIO(write_pdf([sheet(Text((9, 9), "é"))]))).pages[0].extract_text()
    )


def test_two_runs_give_the_same_bytes():
    page = sheet(circle((50, 50), 9, hatch=Hatch.TISSUE), Text((9, 9), "a"))
    assert write_pdf([page]) == write_pdf([page])


def test_no_drawing_is_refused():
    with pytest.raises(ReliefError, match="no drawing"):
        write_pdf([])
