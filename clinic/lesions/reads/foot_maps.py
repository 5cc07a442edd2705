"""Where a place of the foot stands on the page: two views of each foot, as one looks at them.

A sole is drawn as seen by someone facing it, toes up: the big toe of a left foot is then on the left of the
page. A top is drawn as the person looks down on it: the big toe of a left foot is on the right.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import cos, hypot, pi, sin

from clinic.guidelines.sites import SITES, FootSite
from clinic.models import Lesion, Side

__all__ = ["FootMap", "FootMark", "Spot", "lesion_maps", "pick_maps", "place_on_page", "view_of"]

SOLE, TOP = "sole", "top"
VIEW_WORDS = {SOLE: "Sole", TOP: "Top"}

#: Drawing box of one view (the template's viewBox), and the foot within it.
WIDTH, HEIGHT = 200, 430
FOOT_LEFT, FOOT_WIDTH, FOOT_HEEL, FOOT_LENGTH = 14, 172, 420, 404
#: Marks are discs of this size; two of them never cover each other.
MARK_RADIUS, MARK_APART = 18, 39
#: The tip of a toe lies beyond its pulp and its top.
TIP_BEYOND = 0.082


@dataclass(frozen=True)
class FootMark:
    """A lesion on the map: the dot where it is, and the lettered disc beside it when there is a crowd."""

    lesion: Lesion
    x: float
    y: float
    at_x: float
    at_y: float

    @property
    def moved(self) -> bool:
        return hypot(self.x - self.at_x, self.y - self.at_y) > 1


@dataclass(frozen=True)
class Spot:
    """A place one can choose on the map."""

    site: FootSite
    x: float
    y: float


@dataclass(frozen=True)
class FootMap:
    """One view of one foot with its marks and, for choosing, its spots."""

    side: str
    view: str
    marks: tuple[FootMark, ...] = ()
    spots: tuple[Spot, ...] = ()

    @property
    def mirrored(self) -> bool:
        """The outline is drawn with the inner side on the left; half of the views need it the other way."""
        return _medial_on_right(self.side, self.view)

    @property
    def words(self) -> str:
        return f"{Side(self.side).label} foot, {VIEW_WORDS[self.view].lower()}"

    @property
    def caption(self) -> str:
        return f"{VIEW_WORDS[self.view]}; big toe on the {'right' if self.mirrored else 'left'}"


def view_of(site: FootSite) -> str:
    """The view in which a place is seen."""
    return SOLE if site.surface in ("plantar", "apex") else TOP


def _medial_on_right(side: str, view: str) -> bool:
    return (side == Side.LEFT) == (view == TOP)


def place_on_page(site: FootSite, side: str) -> tuple[float, float]:
    """Point of a place in the box of its view, x to the right and y down."""
    across, along = site.map_xy
    if site.surface == "apex" and site.region == "lesser_toe":
        along += TIP_BEYOND
    if _medial_on_right(side, view_of(site)):
        across = 1 - across
    return FOOT_LEFT + across * FOOT_WIDTH, FOOT_HEEL - along * FOOT_LENGTH


def _spread(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Push discs apart until none covers another, staying inside the box; the same points give the same
    answer.
    """
    moved = [list(point) for point in points]
    for _ in range(200):
        calm = True
        for i in range(len(moved)):
            for j in range(i):
                dx, dy = moved[i][0] - moved[j][0], moved[i][1] - moved[j][1]
                far = hypot(dx, dy)
                if far >= MARK_APART - 0.01:
                    continue
                calm = False
                if far < 0.01:  # two at one place: a direction of their own for each pair
                    angle = pi * (i + 3 * j) / 7
                    dx, dy, far = cos(angle), sin(angle), 1.0
                    push = MARK_APART / 2
                else:
                    push = (MARK_APART - far) / 2
                for index, sign in ((i, 1), (j, -1)):
                    moved[index][0] += sign * push * dx / far
                    moved[index][1] += sign * push * dy / far
        for point in moved:
            point[0] = min(max(point[0], MARK_RADIUS + 1), WIDTH - MARK_RADIUS - 1)
            point[1] = min(max(point[1], MARK_RADIUS + 1), HEIGHT - MARK_RADIUS - 1)
        if calm:
            break
    return [(x, y) for x, y in moved]


def lesion_maps(side: str, lesions: Iterable[Lesion]) -> tuple[FootMap, FootMap]:
    """Sole and top of one foot with its lesions."""
    ours = [lesion for lesion in lesions if lesion.limb.side == side]
    maps = []
    for view in (SOLE, TOP):
        seen = [lesion for lesion in ours if view_of(lesion.foot_site) == view]
        at = [place_on_page(lesion.foot_site, side) for lesion in seen]
        marks = tuple(
            FootMark(lesion, round(x, 1), round(y, 1), round(ax, 1), round(ay, 1))
            for lesion, (x, y), (ax, ay) in zip(seen, _spread(at), at, strict=True)
        )
        maps.append(FootMap(side, view, marks=marks))
    return maps[0], maps[1]


def pick_maps(side: str) -> tuple[FootMap, FootMap]:
    """Sole and top of one foot with every place one can choose."""
    maps = []
    for view in (SOLE, TOP):
        spots = tuple(
            Spot(site, *(round(value, 1) for value in place_on_page(site, side)))
            for site in SITES.values()
            if view_of(site) == view
        )
        maps.append(FootMap(side, view, spots=spots))
    return maps[0], maps[1]
