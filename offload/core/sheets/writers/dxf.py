"""One drawing to a DXF R2010 in mm, for a cutting table."""

from __future__ import annotations

import re
from io import StringIO
from threading import Lock

import ezdxf
from ezdxf import units
from ezdxf.document import Drawing as Document
from ezdxf.enums import TextEntityAlignment

from offload.core.sheets.drawing import Drawing, Path, Text

__all__ = ["write_dxf"]

_ALIGNMENT = {
    "start": TextEntityAlignment.LEFT,
    "middle": TextEntityAlignment.CENTER,
    "end": TextEntityAlignment.RIGHT,
}
# ezdxf keeps "no dates, no random ids" as one option for the whole process.
_option_lock = Lock()


def write_dxf(drawing: Drawing) -> bytes:
    """Write `drawing` as DXF R2010 with `$INSUNITS` = 4 (mm).

    Parameters
    ----------
    drawing : Drawing
        Any drawing; its layer names become DXF layers.

    Returns
    -------
    bytes
        The file. Closed paths are closed LWPOLYLINE entities that do not repeat their first point, open ones
        are open; coordinates are written with every digit they have.

    Notes
    -----
    A cutter follows lines: hatches are left out, and so are pen widths and shades. Dashed pens become the
    DASHED line type, which a viewer may show or not; what a line means is said by its layer.
    """
    with _option_lock:
        before = ezdxf.options.write_fixed_meta_data_for_testing
        ezdxf.options.write_fixed_meta_data_for_testing = True
        try:
            doc = ezdxf.new("R2010", units=units.MM)
            _fill(doc, drawing)
            stream = StringIO()
            doc.write(stream)
        finally:
            ezdxf.options.write_fixed_meta_data_for_testing = before
    return stream.getvalue().encode(doc.output_encoding, errors="dxfreplace")


def _fill(doc: Document, drawing: Drawing) -> None:
    doc.header["$MEASUREMENT"] = 1
    doc.linetypes.add("DASHED", pattern=[3.0, 2.0, -1.0], description="dashed")
    space = doc.modelspace()
    for layer in drawing.layers:
        name = _layer_name(layer.name)
        if name not in doc.layers:
            doc.layers.add(name)
        for item in layer.primitives():
            if isinstance(item, Path) and item.pen is not None:
                attributes = {"layer": name, "linetype": "DASHED" if item.pen.dash else "Continuous"}
                space.add_lwpolyline(item.points, close=item.closed, dxfattribs=attributes)
            elif isinstance(item, Text):
                text = space.add_text(
                    item.text, height=item.size * 0.72, rotation=item.angle, dxfattribs={"layer": name}
                )
                text.set_placement(item.at, align=_ALIGNMENT[item.anchor])
    space.reset_extents((0, 0, 0), (drawing.width, drawing.height, 0))
    space.reset_limits((0, 0), (drawing.width, drawing.height))


def _layer_name(name: str) -> str:
    return re.sub(r'[<>/\\":;?*|=`]', "_", name).upper()
