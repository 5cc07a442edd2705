from io import StringIO

import ezdxf
import pytest
from shapely import Polygon

from offload.core.sheets.drawing import (
    DASHED,
    Box,
    Drawing,
    DrawingLayer,
    Hatch,
    ScaleBar,
    Text,
    circle,
    line,
    rectangle,
)
from offload.core.sheets.writers.dxf import write_dxf

RING = circle((31.123456789, 77.7), 21.000001)


@pytest.fixture(scope="module")
def drawing():
    return Drawing(
        "Plan",
        120,
        270,
        (
            DrawingLayer("OUTLINE", (rectangle(Box(5, 5, 100, 260), radius=20),)),
            DrawingLayer("CUT_MIDDLE_TOP", (RING,)),
            DrawingLayer("ZONES", (line((5, 80), (100, 80), pen=DASHED),)),
            DrawingLayer("FILL", (rectangle(Box(1, 1, 2, 2), pen=None, hatch=Hatch.BASE),)),
            DrawingLayer("TEXT", (Text((10, 10), "LEFT – é 5 mm", 5),)),
            DrawingLayer("SCALE", (ScaleBar((5, 2), label="100 mm"),)),
        ),
    )


@pytest.fixture(scope="module")
def document(drawing):
    return ezdxf.read(StringIO(write_dxf(drawing).decode("utf-8").replace("\r\n", "\n")))


def test_the_file_audits_clean_and_is_in_millimetres(document):
    auditor = document.audit()
    assert not auditor.errors
    assert not auditor.fixes
    assert document.dxfversion == "AC1024"
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1


def test_a_closed_outline_is_closed_and_repeats_no_point(document):
    (ring,) = document.modelspace().query('LWPOLYLINE[layer=="CUT_MIDDLE_TOP"]')
    points = [tuple(p) for p in ring.get_points("xy")]
    assert ring.closed
    assert len(points) == len(RING.points)
    assert points[0] != points[-1]
    assert Polygon(points).area == pytest.approx(Polygon(RING.points).area, rel=1e-12)


def test_open_and_dashed_lines_stay_open_and_dashed(document):
    (zone,) = document.modelspace().query('LWPOLYLINE[layer=="ZONES"]')
    assert not zone.closed
    assert zone.dxf.linetype == "DASHED"


def test_hatches_are_left_out_and_words_kept(document):
    assert not document.modelspace().query('*[layer=="FILL"]')
    (text,) = document.modelspace().query('TEXT[layer=="TEXT"]')
    assert text.dxf.text == "LEFT – é 5 mm"


def test_two_runs_give_the_same_bytes_and_leave_the_library_option_alone(drawing):
    before = ezdxf.options.write_fixed_meta_data_for_testing
    assert write_dxf(drawing) == write_dxf(drawing)
    assert ezdxf.options.write_fixed_meta_data_for_testing == before
