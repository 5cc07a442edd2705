"""Drawn placeholders where a clinic would have photos. Nobody's foot is in them."""

from __future__ import annotations

import io
from random import Random

from PIL import Image, ImageDraw

__all__ = ["placeholder"]

PX_PER_MM = 12
SIZE = (960, 720)


def placeholder(outline_mm: tuple[tuple[float, float], ...], words: str, seed: Random) -> io.BytesIO:
    """A drawing of a wound's outline on paper, with a 10 mm bar and the words that it is drawn."""
    picture = Image.new("RGB", SIZE, "#e9ddcf")
    draw = ImageDraw.Draw(picture)
    for _ in range(420):
        x, y = seed.randrange(SIZE[0]), seed.randrange(SIZE[1])
        draw.ellipse((x, y, x + 2, y + 2), fill="#dccdbb")
    centre = (SIZE[0] / 2, SIZE[1] / 2 - 20)
    ring = [(centre[0] + x * PX_PER_MM, centre[1] - y * PX_PER_MM) for x, y in outline_mm]
    if ring:
        draw.polygon(ring, fill="#b4655a", outline="#6d342c", width=4)
    draw.line((40, 660, 40 + 10 * PX_PER_MM, 660), fill="#1e2b26", width=6)
    draw.text((40, 672), "10 mm", fill="#1e2b26", font_size=24)
    draw.text((220, 672), f"Drawn placeholder. {words}", fill="#1e2b26", font_size=24)
    out = io.BytesIO()
    picture.save(out, "PNG")
    out.seek(0)
    return out
