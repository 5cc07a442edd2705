"""Planimetry against scikit-image on pixels and against open outlines; rectification against its
projective fit.
"""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from offload.core.shapes.outline import Outline, planimetry
from offload.core.shapes.rectify import homography, rectify
from tests.oracles.timing import seconds

pytestmark = pytest.mark.oracle

OPEN_OUTLINES = Path(__file__).parent / "data/naturalearth_outlines.geojson"


def wavy(lobes, depth, radius=10.0, hole=0.0):
    """A star-like outline in smooth waves, with a round hole if asked."""
    turn = np.linspace(0.0, 2 * math.pi, 720, endpoint=False)
    r = radius * (1.0 + depth * np.cos(lobes * turn))
    ring = tuple(zip(r * np.cos(turn), r * np.sin(turn), strict=True))
    inner = tuple(zip(hole * np.cos(turn), hole * np.sin(turn), strict=True))
    return Outline(ring, (inner,) if hole else ())


SHAPES = {
    "ellipse": Outline.ellipse((0.0, 0.0), 18.0, 11.0, 25.0),
    "three lobes": wavy(3, 0.2),
    "five lobes with a hole": wavy(5, 0.15, hole=4.0),
    "kidney": wavy(1, 0.6),
}


def pixels(outline, per_mm):
    """The outline on a grid of pixels, holes left open, by scikit-image's own polygon filling."""
    from skimage.draw import polygon2mask

    x0, y0, x1, y1 = outline.bounds
    margin = 3.0 / per_mm
    shape = tuple(int(math.ceil((b - a + 2 * margin) * per_mm)) for a, b in ((x0, x1), (y0, y1)))

    def mask(ring):
        # A pixel's centre stands at its index, so half a pixel is taken off.
        return polygon2mask(shape, (np.array(ring) - (x0 - margin, y0 - margin)) * per_mm - 0.5)

    image = mask(outline.exterior)
    for hole in outline.holes:
        image &= ~mask(hole)
    return image


def region(outline, per_mm):
    from skimage.measure import label, regionprops

    found = regionprops(label(pixels(outline, per_mm)))
    assert len(found) == 1
    return found[0]


@pytest.mark.parametrize("name", SHAPES)
def test_area_and_centre_converge_to_those_of_pixels(name):
    """The area of pixels is within a pixel's strip along the margin, and nearer with finer pixels."""
    outline = SHAPES[name]
    misses = []
    for per_mm in (4, 11, 32):
        found = region(outline, per_mm)
        misses.append(abs(found.area / per_mm**2 - outline.area))
        assert misses[-1] <= 0.1 * outline.perimeter / per_mm
        x0, y0 = outline.bounds[:2]
        centre = (np.array(found.centroid) + 0.5) / per_mm - 3.0 / per_mm + (x0, y0)
        assert np.abs(centre - outline.centroid).max() <= 0.5 / per_mm
    assert misses[-1] <= 3e-4 * outline.area
    assert misses[-1] < misses[0]


@pytest.mark.parametrize("name", SHAPES)
def test_perimeter_is_that_of_pixels_within_the_estimators_own_error(name):
    """Pixels give no true length: the Crofton estimate in 4 directions is within 0.5 % on these smooth
    shapes.

    The plain count of border pixels runs 5 to 6 % long on them, at any resolution, and is no reference.
    """
    found = region(SHAPES[name], 32)
    assert found.perimeter_crofton / 32 == pytest.approx(SHAPES[name].perimeter, rel=0.005)


@pytest.mark.parametrize("name", SHAPES)
def test_the_longest_chord_is_that_of_pixels(name):
    found = region(SHAPES[name], 32)
    length = planimetry([SHAPES[name]]).length
    assert found.feret_diameter_max / 32 == pytest.approx(length, abs=2.5 / 32)


def test_a_hole_is_a_hole_to_both():
    outline = SHAPES["five lobes with a hole"]
    found = region(outline, 32)
    assert found.euler_number == 0  # one part less one hole
    assert found.area_filled / 32**2 == pytest.approx(outline.without_holes().area, rel=5e-4)
    assert (found.area_filled - found.area) / 32**2 == pytest.approx(
        outline.without_holes().area - outline.area, rel=2e-3
    )


def open_outline(name):
    features = json.loads(OPEN_OUTLINES.read_text())["features"]
    shape = next(f["geometry"] for f in features if f["properties"]["name"] == name)
    parts = shape["coordinates"] if shape["type"] == "MultiPolygon" else [shape["coordinates"]]
    return [
        Outline(tuple(map(tuple, rings[0])), tuple(tuple(map(tuple, r)) for r in rings[1:]))
        for rings in parts
    ]


@pytest.mark.parametrize(
    ("name", "parts", "area"), [("Norway", 4, 90.496255), ("Italy", 3, 34.685652), ("Iceland", 1, 20.569244)]
)
def test_open_outlines_have_their_known_areas(name, parts, area):
    """Six decimals were computed beside this project with the shoelace formula on the same coordinates."""
    outlines = open_outline(name)
    assert len(outlines) == parts
    assert planimetry(outlines).area == pytest.approx(area, abs=1e-6)
    if name == "Iceland":
        assert planimetry(outlines).perimeter == pytest.approx(29.433457, abs=1e-6)


@pytest.mark.parametrize("name", ["Norway", "Italy", "Iceland"])
def test_open_outlines_have_the_areas_of_their_pixels(name):
    for part in open_outline(name):
        per = 200.0 / math.sqrt(part.area)
        area = pixels(part, per).sum() / per**2
        assert area == pytest.approx(part.area, rel=2e-3)


CARD = ((0.0, 0.0), (85.6, 0.0), (85.6, 53.98), (0.0, 53.98))


def seen_from(seed):
    """Corners of a card in a photograph from some height and tilt, clockwise as seen."""
    rng = np.random.default_rng(seed)
    while True:
        quad = np.array([(300, 250), (1200, 260), (1190, 830), (310, 820)]) + rng.uniform(-70, 70, (4, 2))
        sides = np.roll(quad, -1, axis=0) - quad
        cross = (
            sides[:, 0] * np.roll(sides, -1, axis=0)[:, 1] - sides[:, 1] * np.roll(sides, -1, axis=0)[:, 0]
        )
        if (cross > 0).all():
            return quad


@pytest.mark.parametrize("seed", range(20))
def test_a_card_is_rectified_as_by_scikit_image(seed):
    from skimage.transform import ProjectiveTransform

    corners = seen_from(seed)
    theirs = ProjectiveTransform.from_estimate(corners, np.array(CARD))
    points = np.random.default_rng(seed + 50).uniform((200, 150), (1300, 950), (200, 2))
    ours = np.array(rectify(corners).to_mm(points))
    assert np.abs(ours - theirs(points)).max() <= 1e-8


@pytest.mark.parametrize("seed", range(10))
def test_many_noisy_pairs_are_fitted_as_by_scikit_image(seed):
    """Both minimise the algebraic error of scaled points, one scaling by the mean distance, the other by its
    root mean square.

    With noise of 0.2 mm that difference moves a fitted point by less than 0.0001 mm.
    """
    from skimage.transform import ProjectiveTransform

    rng = np.random.default_rng(seed)
    true = ProjectiveTransform.from_estimate(seen_from(seed), np.array(CARD))
    source = rng.uniform((200, 150), (1300, 950), (30, 2))
    target = true(source) + rng.normal(0.0, 0.2, (30, 2))
    theirs = ProjectiveTransform.from_estimate(source, target)
    mapped = np.column_stack([source, np.ones(30)]) @ homography(source, target).T
    assert np.abs(mapped[:, :2] / mapped[:, 2:] - theirs(source)).max() <= 1e-4


def test_planimetry_beside_pixels_in_time(capsys):
    outline = SHAPES["five lobes with a hole"]
    ours = seconds(lambda: planimetry([Outline(outline.exterior, outline.holes)]), 5)
    theirs = seconds(lambda: (lambda r: (r.area, r.perimeter, r.feret_diameter_max))(region(outline, 16)))
    with capsys.disabled():
        print(
            f"\nPlanimetry of a checked outline of 1,440 points: {1e3 * ours:.1f} ms; scikit-image on 16 "
            "pixels a mm "
            f"(area within 0.1 %, perimeter within 2 %): {1e3 * theirs:.0f} ms, ratio {theirs / ours:.1f}"
        )
