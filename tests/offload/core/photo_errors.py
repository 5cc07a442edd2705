"""Where the error of an area comes from, on rendered photographs of known truth.

`python -m tests.offload.core.photo_errors [scenes]` prints it by tilt and by size. Columns: what the
photograph adds (card found by the program, exact outline), what the hand adds (true corners, an outline that
wanders by one pixel of the photo, about 0.23 mm), both, both with the picture held twice as near on the
screen (the same hand wanders by half as much of the wound), and a ruler instead of the card.
"""

import sys
from functools import cache

import numpy as np

from offload.core.shapes.card import guess_corners
from offload.core.shapes.outline import Outline, OutlineError
from offload.core.shapes.rectify import rectify, scale_by_ruler
from tests.offload.core.photo_scenes import hand_traced, scene

KINDS = ("photograph", "hand", "both", "both, twice as near", "ruler and hand")
WANDER = 1.0  # [px] of the photo


@cache
def errors(tilt, count):
    """Absolute area errors [%] of every scene by kind, and the true areas [mm²].

    A wandering ring that crosses itself is refused, as the program refuses a hand's: it has no area and
    counts nowhere.
    """
    found, areas = [], []
    for number in range(count):
        shot = scene(1000 * tilt + number, tilt)
        rng = np.random.default_rng(number)
        ring = hand_traced(shot.wound_px, rng, WANDER)
        edges = guess_corners(shot.grey)
        assert edges is not None, f"no card found: tilt {tilt}, scene {number}"
        card, true = rectify(edges.corners, edges=edges.points), rectify(shot.card_px)
        ends = shot.ruler_px + rng.normal(0, 1.0, (2, 2))
        ruler = scale_by_ruler(tuple(ends[0]), tuple(ends[1]), 50.0)
        near = (shot.wound_px + ring) / 2
        pairs = ((card, shot.wound_px), (true, ring), (card, ring), (card, near), (ruler, ring))
        try:
            drawn = [Outline(plane.to_mm(at)).area for plane, at in pairs]
        except OutlineError:
            continue
        found.append([100 * abs(area / shot.area - 1) for area in drawn])
        areas.append(shot.area)
    return np.array(found), np.array(areas)


def words(found):
    return "; ".join(
        f"{kind} {np.median(one):.2f} ({np.percentile(one, 95):.2f})"
        for kind, one in zip(KINDS, found.T, strict=True)
    )


if __name__ == "__main__":
    scenes = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    print(f"area error [%], median (95th percentile) of {scenes} scenes")
    for tilt in (0, 10, 20, 30, 40):
        by_scene, _ = errors(tilt, scenes)
        print(f"  {tilt:2d}° ({scenes - len(by_scene)} refused): {words(by_scene)}", flush=True)
    level = [errors(tilt, scenes) for tilt in (0, 10, 20, 30)]
    every, areas = np.vstack([one for one, _ in level]), np.concatenate([one for _, one in level])
    for low, high in ((0, 50), (50, 100), (100, 200), (200, 500)):
        these = every[(areas >= low) & (areas < high)]
        print(f"  up to 30°, {low} to {high} mm² ({len(these)}): {words(these)}")
