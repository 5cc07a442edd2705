"""Tokens and sheet of all charts: one place for colours, sizes and how a figure becomes bytes."""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from clinic.charts.inks import EDGE, INK, PINE, RULE, SOFT, SURFACE

__all__ = [
    "EDGE",
    "HEIGHT",
    "INK",
    "LINE",
    "PINE",
    "RULE",
    "SMALL",
    "SOFT",
    "SURFACE",
    "THIN",
    "WIDTH",
    "as_svg",
    "bare",
    "points",
    "sheet",
]

WIDTH, HEIGHT = 900, 420
"""Size on screen. [px]"""

_SYSTEM_FONTS = "system-ui, 'Segoe UI', 'DejaVu Sans', sans-serif"
_MEASURED_FONT = "DejaVu Sans"  # ships with matplotlib and is wider than system fonts, so nothing collides


def points(px: float) -> float:
    """Typographic points of a length in CSS pixels (96 to the inch)."""
    return px * 72.0 / 96.0


LINE = points(2)
THIN = points(1)
SMALL = points(12)


@contextmanager
def _settings() -> Iterator[None]:
    values: dict[Any, Any] = {
        "svg.fonttype": "none",  # text stays text: searchable, sharp, small
        "svg.hashsalt": "charts",  # else every call names its clip paths anew
        "path.simplify": False,
        "font.family": [_MEASURED_FONT],
        "font.size": SMALL,
        "text.color": INK,
        "axes.labelcolor": SOFT,
        "xtick.color": SOFT,
        "ytick.color": SOFT,
        "hatch.linewidth": 0.5,
        "axes.unicode_minus": True,
    }
    with matplotlib.rc_context(values):
        yield


@contextmanager
def sheet(width: float = WIDTH, height: float = HEIGHT) -> Iterator[Figure]:
    """An empty figure under the settings of all charts; draw and turn it to bytes inside the block.

    The object interface only: pyplot keeps figures in global state, which leaks in a server.
    """
    with _settings():
        yield Figure(figsize=(width / 96.0, height / 96.0), dpi=96, facecolor=SURFACE)


def as_svg(figure: Figure, title: str) -> bytes:
    """The same bytes for the same figure, whatever the day or the process."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None, "Title": title})
    return buffer.getvalue().replace(f"'{_MEASURED_FONT}'".encode(), _SYSTEM_FONTS.encode())


def bare(axes: Axes) -> None:
    """Hairlines instead of a box."""
    axes.set_facecolor(SURFACE)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set(color=EDGE, linewidth=THIN)
    axes.tick_params(length=points(4), width=THIN, color=EDGE, labelsize=SMALL, pad=points(4))
    axes.yaxis.grid(True, color=RULE, linewidth=THIN)
    axes.tick_params(axis="y", length=0)
    axes.set_axisbelow(True)
