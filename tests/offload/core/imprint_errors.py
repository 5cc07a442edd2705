"""How far a print lands from where it was, over rendered photographs of insoles of another length.

`python -m tests.offload.core.imprint_errors [photographs]` prints it: error along (heel to toes) and across
of the middle of the print, by way of placing. A refusal is counted, never an error of nought.
"""

import sys
from functools import cache

import numpy as np

from offload.core.errors import RectifyError
from offload.core.shapes.card import guess_corners
from offload.core.shapes.imprint import (
    ImprintError,
    place_by_holes,
    place_by_landmarks,
    place_by_outline,
    real_insole,
)
from offload.core.shapes.insole import insole_for
from offload.core.shapes.outline import Outline
from offload.core.shapes.rectify import ID1_CARD, rectify, upright
from tests.offload.core.insole_scenes import off, scene, wandered


def upright_plane(edges):
    """As the program scales a photograph: the plane stands as the photograph does."""
    corners, size, turned = upright(edges.corners, ID1_CARD)
    return rectify(corners, size, [*edges.points[turned:], *edges.points[:turned]])


@cache
def shot_of(number):
    """A scene, and the plane that the card found in its picture gives; None where none is found."""
    shot = scene(5000 + number)
    edges = guess_corners(shot.grey)
    try:
        plane = None if edges is None else upright_plane(edges)
    except RectifyError:
        plane = None
    return shot, plane


def placings(shot, plane, rng):
    """By way of placing: how the photograph is laid on the insole, or why it is refused."""
    marks = [off(rng, at, shot.px_per_mm) for at in (shot.heel_px, shot.second_toe_px, shot.big_toe_px)]
    edge = plane.to_mm(wandered(rng, shot.edge_px, shot.px_per_mm))
    heel, toe, big = plane.to_mm(marks)
    holes = plane.to_mm([off(rng, at, shot.px_per_mm) for at in shot.holes_px])
    again = plane.to_mm(wandered(rng, shot.edge_px, shot.px_per_mm))

    @cache
    def own():
        """The insole as it is drawn once its outline is kept, from another trace than is placed by."""
        kept = Outline(real_insole(shot.drawn, shot.side, again).outline)
        return insole_for(shot.drawn.foot_length, None, kept)

    return {
        "drawn insole: heel and toes marked": lambda: place_by_landmarks(
            shot.drawn, shot.side, heel, toe, big
        ),
        "drawn insole: edge traced": lambda: place_by_outline(shot.drawn, shot.side, edge),
        "its own outline: heel and toes marked": lambda: place_by_landmarks(own(), shot.side, heel, toe, big),
        "its own outline: edge traced": lambda: place_by_outline(own(), shot.side, edge),
        "two printed holes": lambda: place_by_holes(shot.side, *holes, big),
    }


def errors(count):
    """By way of placing: errors (along, across) [mm] of the prints kept, and why the others were not."""
    kept, refused = {}, {}
    for number in range(count):
        shot, plane = shot_of(number)
        if plane is None:
            refused.setdefault("no card found", []).append(number)
            continue
        for way, place in placings(shot, plane, np.random.default_rng(number)).items():
            kept.setdefault(way, [])
            refused.setdefault(way, [])
            try:
                placing = place()
            except ImprintError as fault:
                refused[way].append((number, str(fault)))
                continue
            across, along = np.mean(placing.to_insole(plane.to_mm(shot.print_px)), axis=0) - shot.centre
            kept[way].append((abs(along), abs(across), shot.ratio, shot.upright))
    return {way: np.array(found).reshape(-1, 4) for way, found in kept.items()}, refused


def words(found):
    if not len(found):
        return "none kept"
    along, across, *_ = found.T
    return "; ".join(
        f"{name} {np.median(one):.1f} ({np.percentile(one, 95):.1f}, most {one.max():.1f})"
        for name, one in (("along", along), ("across", across), ("together", np.hypot(along, across)))
    )


if __name__ == "__main__":
    photographs = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    by_way, reasons = errors(photographs)
    print(f"error of the print's place [mm], median (95th percentile), {photographs} photographs")
    for way, found in by_way.items():
        print(f"  {way}: {len(found)} kept, {len(reasons[way])} refused: {words(found)}")
        for stands, name in ((0, "lying"), (1, "upright")):
            these = found[found[:, 3] == stands]
            print(f"    card {name} ({len(these)}): {words(these)}")
    print("  no card found:", len(reasons.get("no card found", [])))
