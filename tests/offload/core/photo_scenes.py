"""Rendered photographs with a known truth: a wound and a reference card in one plane, seen by a pinhole
camera.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from offload.core.shapes.outline import Outline
from offload.core.shapes.rectify import ID1_CARD

PX_PER_MM = 10.0  # of the drawn plane
PLANE = (220.0, 200.0)  # [mm] what is drawn
CARD_RADIUS = 3.18  # [mm] ISO/IEC 7810
SIZE = (1280, 960)
FOCAL = 1150.0  # [px]


@dataclass(frozen=True)
class Scene:
    """A picture and what is true in it."""

    picture: Image.Image
    wound_px: np.ndarray
    card_px: np.ndarray
    ruler_px: np.ndarray
    area: float  # [mm²]

    @property
    def grey(self) -> np.ndarray:
        return np.asarray(self.picture.convert("L"), dtype=float)


def blob(rng: np.random.Generator, radius: float) -> np.ndarray:
    """An irregular ring about the origin [mm]."""
    turn = np.linspace(0, 2 * math.pi, 90, endpoint=False)
    r = np.ones(90)
    for k in range(2, 6):
        r += rng.normal(0, 0.22 / k) * np.cos(k * turn + rng.uniform(0, 2 * math.pi))
    r = np.clip(r, 0.4, 2.0) * radius
    squash = rng.uniform(0.55, 1.0)
    return np.column_stack([r * np.cos(turn), squash * r * np.sin(turn)])


def scene(
    seed: int,
    tilt: float,
    *,
    noise: float = 4.0,
    card: str = "#e8e6df",
    skin: tuple[int, int, int] = (205, 160, 138),
) -> Scene:
    """A wound of 3 to 12 mm radius beside a card, the camera tilted by degrees about an axis of any
    direction.
    """
    rng = np.random.default_rng(seed)
    middle = np.array(PLANE) / 2
    ring = blob(rng, rng.uniform(3.0, 12.0)) + middle + rng.uniform(-6, 6, 2) + (0, -26)
    turn = math.radians(rng.uniform(-25, 25))
    rotate = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    w, h = ID1_CARD
    corner = np.array([(-w / 2, -h / 2), (w / 2, -h / 2), (w / 2, h / 2), (-w / 2, h / 2)]) @ rotate.T
    card_mm = corner + middle + (rng.uniform(-6, 6), 26)
    plane = _drawn_plane(rng, ring, card_mm, card, skin)
    camera = _camera(rng, tilt, middle)
    wound_px, card_px = _seen(camera, ring), _seen(camera, card_mm)
    ruler_px = _seen(camera, np.array([card_mm[0], card_mm[0] + (card_mm[1] - card_mm[0]) * 50.0 / w]))
    picture = _photographed(plane, camera, rng, noise)
    return Scene(picture, wound_px, card_px, ruler_px, Outline(tuple(map(tuple, ring))).area)


def _camera(rng: np.random.Generator, tilt: float, middle: np.ndarray) -> np.ndarray:
    """Homography from the plane [mm] to the picture [px]."""
    axis, spin = rng.uniform(0, 2 * math.pi), math.radians(rng.uniform(-30, 30))
    t = math.radians(tilt)
    u = np.array([math.cos(axis), math.sin(axis), 0.0])
    cross = np.array([[0, -u[2], u[1]], [u[2], 0, -u[0]], [-u[1], u[0], 0]])
    tilted = np.eye(3) + math.sin(t) * cross + (1 - math.cos(t)) * cross @ cross
    c, s = math.cos(spin), math.sin(spin)
    turned = tilted @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    lens = np.array([[FOCAL, 0, SIZE[0] / 2], [0, FOCAL, SIZE[1] / 2], [0, 0, 1]])
    pose = np.column_stack([turned[:, 0], turned[:, 1], [0, 0, rng.uniform(230, 290)]])
    move = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1]])
    return lens @ pose @ move


def _seen(camera: np.ndarray, points: np.ndarray) -> np.ndarray:
    flat = np.column_stack([points, np.ones(len(points))]) @ camera.T
    return flat[:, :2] / flat[:, 2:]


def _drawn_plane(rng, ring, card_mm, card, skin) -> Image.Image:
    size = tuple(int(v * PX_PER_MM) for v in PLANE)
    texture = rng.normal(0, 1, (size[1] // 16, size[0] // 16, 1)) * 9 + np.array(skin)
    plane = Image.fromarray(np.clip(texture, 0, 255).astype(np.uint8)).resize(size, Image.Resampling.BICUBIC)
    draw = ImageDraw.Draw(plane)
    draw.polygon([tuple(p * PX_PER_MM) for p in ring], fill="#8c3b36")
    flat = Image.new("L", tuple(int(v * PX_PER_MM) for v in ID1_CARD), 0)
    ImageDraw.Draw(flat).rounded_rectangle(
        (0, 0, flat.width - 1, flat.height - 1), CARD_RADIUS * PX_PER_MM, fill=255
    )
    face = Image.new("RGB", flat.size, card)
    marks = ImageDraw.Draw(face)
    marks.rectangle((60, 250, 560, 290), fill="#b9b6ac")
    marks.rectangle((60, 330, 380, 360), fill="#b9b6ac")
    sides = np.array([card_mm[1] - card_mm[0], card_mm[3] - card_mm[0]]).T * PX_PER_MM
    to_plane = np.column_stack([sides / np.array(flat.size), card_mm[0] * PX_PER_MM])
    back = np.linalg.inv(np.vstack([to_plane, [0, 0, 1]]))
    data = tuple(back[:2].ravel())
    affine = (size, Image.Transform.AFFINE, data, Image.Resampling.BICUBIC)
    plane.paste(face.transform(*affine), mask=flat.transform(*affine))
    return plane


def _photographed(
    plane: Image.Image, camera: np.ndarray, rng: np.random.Generator, noise: float
) -> Image.Image:
    back = np.diag([PX_PER_MM, PX_PER_MM, 1.0]) @ np.linalg.inv(camera)
    back = back / back[2, 2]
    picture = plane.filter(ImageFilter.GaussianBlur(1.2)).transform(
        SIZE,
        Image.Transform.PERSPECTIVE,
        tuple(back.ravel()[:8]),
        Image.Resampling.BICUBIC,
        fillcolor="#7d8a86",
    )
    grey = np.asarray(picture, dtype=float) + rng.normal(0, noise, (SIZE[1], SIZE[0], 3))
    return Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8))


def hand_traced(ring: np.ndarray, rng: np.random.Generator, wander: float = 1.5) -> np.ndarray:
    """The ring as a finger follows it: off by `wander` px (standard deviation), smoothly."""
    turn = np.linspace(0, 2 * math.pi, len(ring), endpoint=False)
    off = np.zeros_like(ring)
    for k in range(8):
        off += rng.normal(0, 1, 2) * np.cos(k * turn + rng.uniform(0, 2 * math.pi))[:, None]
    return ring + off * wander / math.sqrt(4.5)
