"""Drawn placeholders where a clinic would have photos. Nobody's foot is in them."""

from __future__ import annotations

import io
import math
from random import Random

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter

from offload.core.shapes.rectify import ID1_CARD

__all__ = ["Outline", "placeholder", "scene"]

Outline = tuple[tuple[float, float], ...]

PX_PER_MM = 12
SIZE = (960, 720)
PLANE_MM = (150.0, 130.0)
PLANE_PX = 8  # [px/mm] of the plane that is drawn and then seen from a camera
FOCAL_PX = 1150.0
CARD_RADIUS_MM = 3.18  # ISO/IEC 7810


def placeholder(outline_mm: Outline, words: str, seed: Random) -> io.BytesIO:
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


def scene(outline_mm: Outline, seed: Random) -> tuple[io.BytesIO, list[tuple[float, float]]]:
    """A drawn wound beside a drawn card as a camera held a little askew sees them; and the outline in its
    pixels.
    """
    at = (PLANE_MM[0] / 2 + seed.uniform(-5, 5), 30.0)
    ring = [(at[0] + x, at[1] + y) for x, y in outline_mm]
    plane = Image.new("RGB", (int(PLANE_MM[0] * PLANE_PX), int(PLANE_MM[1] * PLANE_PX)), "#cfae97")
    draw = ImageDraw.Draw(plane)
    for _ in range(900):
        x, y = seed.randrange(plane.width), seed.randrange(plane.height)
        draw.ellipse((x, y, x + 9, y + 9), fill=seed.choice(("#cba78f", "#d3b49e", "#c9a58d")))
    draw.polygon([(x * PLANE_PX, y * PLANE_PX) for x, y in ring], fill="#a8574c", outline="#6d342c", width=3)
    left, top = PLANE_MM[0] / 2 - ID1_CARD[0] / 2, 66.0
    corners = (left, top, left + ID1_CARD[0], top + ID1_CARD[1])
    draw.rounded_rectangle([v * PLANE_PX for v in corners], CARD_RADIUS_MM * PLANE_PX, fill="#f1efe8")
    draw.text(
        ((left + 8) * PLANE_PX, (top + 22) * PLANE_PX),
        "Drawn card, 85.60 by 53.98 mm",
        fill="#51605a",
        font_size=32,
    )
    draw.text((20, plane.height - 44), "Drawn scene. Nobody's foot.", fill="#1e2b26", font_size=26)
    camera = _camera(seed)
    back = np.diag([PLANE_PX, PLANE_PX, 1.0]) @ np.linalg.inv(camera)
    back = back / back[2, 2]
    picture = plane.filter(ImageFilter.GaussianBlur(1.0)).transform(
        (1280, 960),
        Image.Transform.PERSPECTIVE,
        tuple(float(v) for v in back.ravel()[:8]),
        Image.Resampling.BICUBIC,
        fillcolor="#7d8a86",
    )
    seen = np.column_stack([np.array(ring), np.ones(len(ring))]) @ camera.T
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=92)
    out.seek(0)
    return out, [(float(x), float(y)) for x, y in seen[:, :2] / seen[:, 2:]]


def _camera(seed: Random) -> NDArray[np.float64]:
    """Plane [mm] to picture [px]: a pinhole camera tilted by up to 14 degrees, 19 to 22 cm away."""
    tilt, spin = math.radians(seed.uniform(4, 14)), math.radians(seed.uniform(-6, 6))
    c, s = math.cos(tilt), math.sin(tilt)
    tilted = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    turned = tilted @ np.array(
        [[math.cos(spin), -math.sin(spin), 0], [math.sin(spin), math.cos(spin), 0], [0, 0, 1]]
    )
    lens = np.array([[FOCAL_PX, 0, 640], [0, FOCAL_PX, 480], [0, 0, 1]])
    pose = np.column_stack([turned[:, 0], turned[:, 1], [0, 0, seed.uniform(190, 220)]])
    move = np.array([[1, 0, -PLANE_MM[0] / 2], [0, 1, -PLANE_MM[1] / 2], [0, 0, 1]])
    return lens @ pose @ move
