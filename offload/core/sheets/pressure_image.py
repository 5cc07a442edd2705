"""A field of pressure as a small picture: one even ramp, dark = high, and the lines of equal pressure
over it.
"""

from __future__ import annotations

import math
import struct
import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from offload.core.pressure.limits import pressure_limits
from offload.core.shapes.outline import Point

__all__ = ["RAMP", "contour_lines", "palette_png", "scale_top"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

COLOURS = 255
CLEAR = COLOURS  # index of the colour that is not there
LIGHT, DARK = 0.97, 0.24  # Oklab lightness of no pressure and of the top of the scale
HUES = (95.0, 150.0, 215.0, 265.0)  # [deg] along the ramp: straw, green, sea, ink
CHROMA = (0.025, 0.085, 0.095, 0.075)


def _ramp() -> tuple[tuple[int, int, int], ...]:
    """Colours whose lightness falls by equal steps.

    References
    ----------
    .. [1] B. Ottosson, "A perceptual color space for image processing", 2020 (Oklab; matrices of the author's
    page).
    """
    share = np.linspace(0.0, 1.0, COLOURS)
    knots = np.linspace(0.0, 1.0, len(HUES))
    lightness = LIGHT + (DARK - LIGHT) * share
    hue = np.radians(np.interp(share, knots, HUES))
    chroma = np.interp(share, knots, CHROMA)
    a, b = chroma * np.cos(hue), chroma * np.sin(hue)
    lms = (
        np.stack(
            [
                lightness + 0.3963377774 * a + 0.2158037573 * b,
                lightness - 0.1055613458 * a - 0.0638541728 * b,
                lightness - 0.0894841775 * a - 1.2914855480 * b,
            ]
        )
        ** 3
    )
    to_rgb = np.array(
        [
            [4.0767416621, -3.3077115913, 0.2309699292],
            [-1.2684380046, 2.6097574011, -0.3413193965],
            [-0.0041960863, -0.7034186147, 1.7076147010],
        ]
    )
    linear = np.clip(to_rgb @ lms, 0.0, 1.0)
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return tuple((int(r), int(g), int(b)) for r, g, b in np.rint(255 * coded).astype(int).T)


RAMP = _ramp()
"""Red, green and blue of each step, from no pressure to the top of the scale."""


def scale_top(*fields: Array) -> float:
    """A round top of one scale for several fields: the next 50 kPa at or above their highest value, and above
    the limit that is drawn.

    Parameters
    ----------
    fields : ndarray
        Pressures [kPa].
    """
    highest = max((float(field.max(initial=0.0)) for field in fields), default=0.0)
    least = math.floor(pressure_limits().peak_elsewhere / 50.0) + 1
    return 50.0 * max(least, math.ceil(highest / 50.0))


def palette_png(pressure_kpa: Array, shown: Mask, top_kpa: float, mirrored: bool = False) -> bytes:
    """A PNG with one pixel for each cell, toes above.

    Parameters
    ----------
    pressure_kpa : ndarray
        Shape ``(ny, nx)``, rows from heel to toes [kPa].
    shown : ndarray of bool
        Cells to draw; the others are clear.
    top_kpa : float
        Pressure of the darkest colour [kPa]; what is above is drawn as dark.
    mirrored : bool
        For the left foot, which is drawn with its lateral side at the left.

    Returns
    -------
    bytes
        Equal arrays give equal bytes.

    Notes
    -----
    The palette holds `RAMP` and one clear colour (PNG, third edition: colour type 3 with tRNS).
    """
    steps = np.rint(np.clip(pressure_kpa / top_kpa, 0.0, 1.0) * (COLOURS - 1)).astype(np.uint8)
    pixels = np.where(shown, steps, np.uint8(CLEAR))[::-1]
    if mirrored:
        pixels = pixels[:, ::-1]
    height, width = pixels.shape
    rows = np.hstack([np.zeros((height, 1), dtype=np.uint8), pixels]).tobytes()
    palette = bytes(value for colour in (*RAMP, RAMP[0]) for value in colour)
    return b"".join(
        [
            b"\x89PNG\r\n\x1a\n",
            _chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)),
            _chunk(b"PLTE", palette),
            _chunk(b"tRNS", b"\xff" * COLOURS + b"\x00"),
            _chunk(b"IDAT", zlib.compress(rows, 6)),
            _chunk(b"IEND", b""),
        ]
    )


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def contour_lines(x: Array, y: Array, values: Array, level: float) -> tuple[tuple[Point, ...], ...]:
    """Lines on which a field of cell centres has one value.

    Parameters
    ----------
    x, y : ndarray
        Cell centres [mm].
    values : ndarray
        Shape ``(len(y), len(x))``.
    level : float
        The value.

    Returns
    -------
    tuple of lines
        Each a chain of points [mm]; a closed one ends where it begins.

    Notes
    -----
    Marching squares with straight interpolation; a saddle is split by the mean of its four corners. The field
    counts as far below the level outside its cells, so every line is closed.
    """
    padded = np.full((values.shape[0] + 2, values.shape[1] + 2), min(0.0, level - 1.0))
    padded[1:-1, 1:-1] = values
    xs = np.concatenate([[2 * x[0] - x[1]], x, [2 * x[-1] - x[-2]]])
    ys = np.concatenate([[2 * y[0] - y[1]], y, [2 * y[-1] - y[-2]]])
    above = padded > level
    code = above[:-1, :-1] * 1 + above[:-1, 1:] * 2 + above[1:, 1:] * 4 + above[1:, :-1] * 8
    links: dict[tuple[int, int, int], list[tuple[int, int, int]]] = {}
    for row, column in zip(*np.nonzero((code > 0) & (code < 15)), strict=True):
        i, j = int(row), int(column)
        # Edges by their lower-left node and direction: 0 along x, 1 along y.
        bottom, right, top, left = (i, j, 0), (i, j + 1, 1), (i + 1, j, 0), (i, j, 1)
        case = int(code[i, j])
        middle = padded[i : i + 2, j : j + 2].mean() > level
        for one, other in _segments(case, bool(middle), bottom, right, top, left):
            links.setdefault(one, []).append(other)
            links.setdefault(other, []).append(one)

    def point(edge: tuple[int, int, int]) -> Point:
        i, j, way = edge
        k, m = (i, j + 1) if way == 0 else (i + 1, j)
        share = (level - padded[i, j]) / (padded[k, m] - padded[i, j])
        return float(xs[j] + share * (xs[m] - xs[j])), float(ys[i] + share * (ys[k] - ys[i]))

    lines = []
    while links:
        start = next(iter(links))
        chain, at = [start], start
        while True:
            following = links[at].pop()
            links[following].remove(at)
            for edge in (at, following):
                if not links.get(edge, [True]):
                    del links[edge]
            chain.append(following)
            at = following
            if at == start or at not in links:
                break
        lines.append(tuple(point(edge) for edge in chain))
    return tuple(lines)


Edge = tuple[int, int, int]


def _segments(
    case: int, middle: bool, bottom: Edge, right: Edge, top: Edge, left: Edge
) -> Sequence[tuple[Edge, Edge]]:
    """The one or two lines through a square; corners count 1, 2, 4, 8 from the lower left,
    counter-clockwise.
    """
    if case == 5:
        return [(left, top), (bottom, right)] if middle else [(left, bottom), (top, right)]
    if case == 10:
        return [(left, bottom), (top, right)] if middle else [(left, top), (bottom, right)]
    one_corner = {1: (left, bottom), 2: (bottom, right), 4: (right, top), 8: (top, left)}
    if case in one_corner:
        return [one_corner[case]]
    if 15 - case in one_corner:
        return [one_corner[15 - case]]
    return [(left, right)] if case in (3, 12) else [(bottom, top)]
