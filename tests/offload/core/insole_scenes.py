"""Rendered photographs of an insole with a print on it and a card beside it, seen by a pinhole camera.

The real insole is 0.88 to 1.12 of the length drawn for the foot, of another breadth and not quite of the
drawn shape; the card stands upright or lies; the camera is tilted by up to 20 degrees. What is true of the
print is its place from the heel edge and from the long axis of the real insole.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from offload.core.shapes.insole import Insole, insole_for
from offload.core.shapes.rectify import ID1_CARD

PX_PER_MM = 4.0  # of the drawn plane
PLANE = (320.0, 380.0)  # [mm] what is drawn
SIZE = (1200, 1500)  # [px] of the photograph
FOCAL = 1500.0  # [px]
CARD_RADIUS = 3.18  # [mm] ISO/IEC 7810


@dataclass(frozen=True)
class InsoleScene:
    """A photograph and what is true in it; points are pixels of the photograph, the print's place is [mm]."""

    picture: Image.Image
    side: str
    drawn: Insole  # what the record draws for this foot
    ratio: float  # length of the real insole over that of the drawn one
    upright: bool
    card_px: np.ndarray
    edge_px: np.ndarray
    print_px: np.ndarray
    heel_px: np.ndarray
    second_toe_px: np.ndarray
    big_toe_px: np.ndarray
    holes_px: np.ndarray
    centre: tuple[float, float]  # of the print, in the frame of the real insole
    edge: np.ndarray  # of the real insole, in its frame
    ring: np.ndarray  # of the print, in that frame
    px_per_mm: float

    @property
    def grey(self) -> np.ndarray:
        return np.asarray(self.picture.convert("L"), dtype=float)


def real_edge(rng: np.random.Generator, drawn: Insole, ratio: float) -> np.ndarray:
    """Edge of a real insole [mm]: its own length and breadth, and a smooth departure from the drawn shape."""
    width = drawn.foot_width * rng.uniform(0.94, 1.06)
    length = drawn.outline.bounds[3] * ratio - 10.0  # the drawing adds 10 mm beyond the toes
    ring = np.asarray(insole_for(length, width).outline.exterior)
    out = ring - (0.0, ring[:, 1].mean())
    out = out / np.hypot(*out.T)[:, None]
    along = np.linspace(0, 2 * math.pi, len(ring), endpoint=False)
    bump = sum(rng.normal(0, 0.6 / k) * np.cos(k * along + rng.uniform(0, 2 * math.pi)) for k in range(2, 7))
    ring = ring + out * bump[:, None]
    return ring - (0.0, ring[:, 1].min())


def scene(seed: int, *, ratio: float | None = None, upright: bool | None = None) -> InsoleScene:
    """One photograph of the family; equal seeds give equal scenes."""
    rng = np.random.default_rng(seed)
    side = "left" if rng.random() < 0.5 else "right"
    foot = float(rng.uniform(225, 285))
    drawn = insole_for(foot)
    share = float(rng.uniform(0.88, 1.12)) if ratio is None else ratio
    stands = bool(rng.random() < 0.5) if upright is None else upright
    edge = real_edge(rng, drawn, share)
    marks = {mark.name: np.array(mark.at) for mark in drawn.landmarks}
    at = (
        marks[f"metatarsal_head_{rng.integers(1, 6)}"] * rng.uniform(0.6, 0.95)
        if rng.random() < 0.75
        else (marks["heel"] + rng.uniform(-8, 8, 2))
    )
    turn = np.linspace(0, 2 * math.pi, 60, endpoint=False)
    size = rng.uniform(4.0, 9.0, 2)
    ring = np.column_stack([size[0] * np.cos(turn), size[1] * np.sin(turn)]) + at
    ahead = edge[edge[:, 1] > edge[:, 1].max() / 2]
    ahead = ahead[np.argsort(ahead[:, 0])]
    front = (marks["toe_2"][0], float(np.interp(marks["toe_2"][0], *ahead.T)))
    toe = (marks["hallux"][0], min(marks["hallux"][1], 0.88 * edge[:, 1].max()))

    spin = math.radians(rng.uniform(-12, 12))
    flip = np.array([1.0 if side == "right" else -1.0, -1.0])
    c, s = math.cos(spin), math.sin(spin)
    middle = np.array([PLANE[0] / 2 - 50.0, PLANE[1] / 2])

    def laid(points) -> np.ndarray:
        """Points of the insole's frame on the table [mm], y down."""
        flat = (np.atleast_2d(points) - (0.0, edge[:, 1].max() / 2)) * flip
        return flat @ np.array([[c, s], [-s, c]]) + middle

    w, h = ID1_CARD if not stands else ID1_CARD[::-1]
    tilt_card = math.radians(rng.uniform(-12, 12))
    cc, cs = math.cos(tilt_card), math.sin(tilt_card)
    corner = np.array([(-w / 2, -h / 2), (w / 2, -h / 2), (w / 2, h / 2), (-w / 2, h / 2)])
    card = corner @ np.array([[cc, cs], [-cs, cc]]) + (PLANE[0] - 75.0, rng.uniform(110, 260))
    camera = _camera(rng, np.array(PLANE) / 2)
    picture = _photographed(_drawn_plane(rng, laid(edge), laid(ring), card, (w, h)), camera, rng)
    one, other = _seen(camera, np.array([card[0], card[1]]))
    return InsoleScene(
        picture,
        side,
        drawn,
        share,
        stands,
        _seen(camera, card),
        _seen(camera, laid(edge)),
        _seen(camera, laid(ring)),
        *(_seen(camera, laid(p))[0] for p in ((0.0, 0.0), front, toe)),
        _seen(camera, laid([(0.0, 20.0), (0.0, 120.0)])),
        (float(at[0]), float(at[1])),
        edge,
        ring,
        float(np.hypot(*(other - one))) / w,
    )


def off(rng: np.random.Generator, point: np.ndarray, px_per_mm: float, most: float = 3.0) -> np.ndarray:
    """A mark as a finger sets it: 0 to `most` mm away, in any direction. [px]"""
    angle, far = rng.uniform(0, 2 * math.pi), rng.uniform(0, most) * px_per_mm
    return point + far * np.array([math.cos(angle), math.sin(angle)])


def wandered(rng: np.random.Generator, ring: np.ndarray, px_per_mm: float, most: float = 3.0) -> np.ndarray:
    """An edge as a finger follows it: smoothly off by at most `most` mm somewhere. [px]"""
    turn = np.linspace(0, 2 * math.pi, len(ring), endpoint=False)
    away = np.zeros_like(ring)
    for k in range(8):
        away += rng.normal(0, 1, 2) * np.cos(k * turn + rng.uniform(0, 2 * math.pi))[:, None]
    far = rng.uniform(0, most) * px_per_mm
    return ring + away * far / np.hypot(*away.T).max()


def _camera(rng: np.random.Generator, middle: np.ndarray) -> np.ndarray:
    axis, t = rng.uniform(0, 2 * math.pi), math.radians(rng.uniform(0, 20))
    u = np.array([math.cos(axis), math.sin(axis), 0.0])
    cross = np.array([[0, -u[2], u[1]], [u[2], 0, -u[0]], [-u[1], u[0], 0]])
    tilted = np.eye(3) + math.sin(t) * cross + (1 - math.cos(t)) * cross @ cross
    lens = np.array([[FOCAL, 0, SIZE[0] / 2], [0, FOCAL, SIZE[1] / 2], [0, 0, 1]])
    pose = np.column_stack([tilted[:, 0], tilted[:, 1], [0, 0, rng.uniform(430, 520)]])
    return lens @ pose @ np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1]])


def _seen(camera: np.ndarray, points: np.ndarray) -> np.ndarray:
    flat = np.column_stack([points, np.ones(len(points))]) @ camera.T
    return flat[:, :2] / flat[:, 2:]


def _drawn_plane(rng, edge, ring, card, size) -> Image.Image:
    pixels = tuple(int(v * PX_PER_MM) for v in PLANE)
    table = rng.normal(0, 1, (pixels[1] // 16, pixels[0] // 16, 1)) * 7 + np.array((118, 128, 124))
    plane = Image.fromarray(np.clip(table, 0, 255).astype(np.uint8)).resize(pixels, Image.Resampling.BICUBIC)
    draw = ImageDraw.Draw(plane)
    for outline, ink in ((edge, "#d2c29e"), (ring, "#8c3b36")):
        draw.polygon([tuple(p * PX_PER_MM) for p in outline], fill=ink)
    flat = Image.new("L", tuple(int(v * PX_PER_MM) for v in size), 0)
    ImageDraw.Draw(flat).rounded_rectangle(
        (0, 0, flat.width - 1, flat.height - 1), CARD_RADIUS * PX_PER_MM, fill=255
    )
    sides = np.array([card[1] - card[0], card[3] - card[0]]).T * PX_PER_MM
    to_plane = np.column_stack([sides / np.array(flat.size), card[0] * PX_PER_MM])
    back = tuple(np.linalg.inv(np.vstack([to_plane, [0, 0, 1]]))[:2].ravel())
    affine = (pixels, Image.Transform.AFFINE, back, Image.Resampling.BICUBIC)
    plane.paste(Image.new("RGB", pixels, "#f2f0ea"), mask=flat.transform(*affine))
    return plane


def _photographed(plane: Image.Image, camera: np.ndarray, rng: np.random.Generator) -> Image.Image:
    back = np.diag([PX_PER_MM, PX_PER_MM, 1.0]) @ np.linalg.inv(camera)
    back = back / back[2, 2]
    picture = plane.filter(ImageFilter.GaussianBlur(0.8)).transform(
        SIZE,
        Image.Transform.PERSPECTIVE,
        tuple(back.ravel()[:8]),
        Image.Resampling.BICUBIC,
        fillcolor="#76807c",
    )
    noisy = np.asarray(picture, dtype=float) + rng.normal(0, 4.0, (SIZE[1], SIZE[0], 3))
    return Image.fromarray(np.clip(noisy, 0, 255).astype(np.uint8))
