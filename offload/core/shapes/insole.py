"""The insole: outline, zone lines and landmarks from foot length and breadth, or traced."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon, Polygon, box

from offload.core.errors import ReliefError
from offload.core.shapes.outline import Outline, Point

__all__ = [
    "ZONES",
    "Insole",
    "Landmark",
    "estimate_width",
    "insole_for",
    "insole_on_ring",
    "move_landmark",
    "move_zone_lines",
    "place_on_insole",
    "zone_areas",
]

ZONES = ("rearfoot", "midfoot", "forefoot", "toes")
STEPS = 10  # points of the drawn outline between two points of the template


@dataclass(frozen=True)
class Landmark:
    """A named point of the foot on the insole; draggable, since deformity is the rule. [mm]"""

    name: str
    at: Point


@dataclass(frozen=True)
class Insole:
    """An insole in the anatomical frame (y from heel to toes, x lateral).

    Parameters
    ----------
    outline : Outline
        [mm]
    foot_length, foot_width, heel_width : float
        [mm]
    zone_lines : (float, float, float)
        y of the lines rearfoot|midfoot, midfoot|forefoot, forefoot|toes. [mm]
    landmarks : tuple of Landmark
        Hallux, toes, metatarsal heads 1 to 5, heel.
    traced : bool
        Whether the outline was traced rather than estimated.
    notes : tuple of str
        What was estimated, in sentences.
    """

    outline: Outline
    foot_length: float
    foot_width: float
    heel_width: float
    zone_lines: tuple[float, float, float]
    landmarks: tuple[Landmark, ...]
    traced: bool
    notes: tuple[str, ...] = ()

    def zone_of(self, y: float) -> str:
        """Name of the zone in which a point at this y lies; a line belongs to the zone beyond it."""
        return ZONES[sum(y >= line for line in self.zone_lines)]


def estimate_width(foot_length: float, measure: str = "foot_width", group: str = "all") -> float:
    """Breadth of the foot or of its heel, estimated from the foot's length.

    Parameters
    ----------
    foot_length : float
        [mm]
    measure : str
        ``foot_width`` or ``heel_width``.
    group : str
        ``men``, ``women`` or ``all``.

    Returns
    -------
    float
        [mm]

    Notes
    -----
    slope·L + intercept. Breadth does not scale with length: the slope is below the mean ratio.

    References
    ----------
    .. [1] ANSUR II, public subset, 2012; own least-squares fit.

    Examples
    --------
    >>> from offload.core.shapes.insole import estimate_width
    >>> round(estimate_width(260.0)), round(estimate_width(260.0, 'heel_width'))
    (98, 70)
    """
    line = _constants()["regression"][measure][group]
    return float(line["slope"] * foot_length + line["intercept"])


def insole_for(foot_length: float, foot_width: float | None = None, traced: Outline | None = None) -> Insole:
    """Insole for a foot, estimated from its length and breadth unless it was traced.

    Parameters
    ----------
    foot_length : float
        [mm]
    foot_width : float or None
        Breadth; estimated from the length if None. [mm]
    traced : Outline or None
        Traced insole in the anatomical frame. [mm]

    Returns
    -------
    Insole

    Notes
    -----
    The estimated outline is a smooth closed curve through a template ring, stretched to the insole's length
    (foot length plus a toe allowance), the foot's breadth and the heel's breadth.

    Examples
    --------
    >>> from offload.core.shapes.insole import insole_for
    >>> insole = insole_for(255.0)
    >>> low, high = insole.outline.polygon.bounds[1::2]  # from the heel to the toes
    >>> round(low), round(high)
    (0, 265)
    """
    constants = _constants()
    notes = []
    width = foot_width
    if width is None:
        width = estimate_width(foot_length)
        spread = constants["regression"]["foot_width"]["all"]["residual_sd"]
        notes.append(
            f"Foot breadth was not given: {width:.0f} mm is estimated from the length (residual sd {spread} "
            "mm)."
        )
    shortest, longest = constants["regression"]["shortest"], constants["regression"]["longest"]
    if not shortest <= foot_length <= longest and (foot_width is None or traced is None):
        notes.append(
            f"Foot length {foot_length:g} mm lies outside the surveyed {shortest:.0f} to {longest:.0f} mm: "
            "breadths are extrapolated, measure them."
        )
    heel = min(estimate_width(foot_length, "heel_width"), constants["outline"]["widest_heel_share"] * width)
    if traced is None:
        allowance = constants["outline"]["toe_allowance"]
        outline = _drawn_outline(foot_length + allowance, width, heel)
        notes.append(
            f"The insole outline is estimated from foot length and breadth, with {allowance:.0f} mm beyond "
            "the longest toe; compare it with the real insole before cutting."
        )
    else:
        outline = traced.without_holes()
    low, mid, high = (share * foot_length for share in constants["zones"]["lines"])
    landmarks = tuple(
        Landmark(name, (across * width, along * foot_length))
        for name, (along, across) in constants["landmarks"].items()
    )
    return Insole(
        outline=outline,
        foot_length=foot_length,
        foot_width=width,
        heel_width=heel,
        zone_lines=(low, mid, high),
        landmarks=landmarks,
        traced=traced is not None,
        notes=tuple(notes),
    )


def insole_on_ring(foot_length: float, foot_width: float | None, ring: Sequence[Sequence[float]]) -> Insole:
    """Insole of a foot on the outline of the real insole.

    Parameters
    ----------
    foot_length : float
        [mm]
    foot_width : float or None
        Breadth; estimated from the length if None. [mm]
    ring : sequence of pairs
        The outline in the anatomical frame. [mm]

    Returns
    -------
    Insole

    Raises
    ------
    OutlineError
        If the ring is no outline.

    Examples
    --------
    >>> from offload.core.shapes.insole import insole_on_ring
    >>> insole_on_ring(255.0, None, [(-45, 0), (45, 0), (45, 280), (-45, 280)]).traced
    True
    """
    traced = Outline(tuple((float(x), float(y)) for x, y in ring), name="insole outline")
    return insole_for(foot_length, foot_width, traced)


def move_zone_lines(insole: Insole, lines: Sequence[float]) -> Insole:
    """The same insole with other zone lines.

    Parameters
    ----------
    insole : Insole
    lines : sequence of 3 floats
        y of the lines, rising from heel to toes. [mm]

    Raises
    ------
    ReliefError
        If they do not rise, or one lies off the insole.
    """
    low, high = insole.outline.bounds[1], insole.outline.bounds[3]
    if len(lines) != 3 or not all(a < b for a, b in pairwise((low, *lines, high))):
        given = ", ".join(f"{line:g}" for line in lines)
        raise ReliefError(
            f"zone lines are {given} mm; the limit is 3 rising values between {low:g} and {high:g}"
        )
    return replace(insole, zone_lines=(float(lines[0]), float(lines[1]), float(lines[2])))


def move_landmark(insole: Insole, name: str, at: Point) -> Insole:
    """The same insole with one landmark dragged to another place.

    Raises
    ------
    ReliefError
        If no landmark has that name, or the place is off the insole.
    """
    names = [mark.name for mark in insole.landmarks]
    if name not in names:
        raise ReliefError(f"landmark is {name!r}; the limit is one of {', '.join(names)}")
    if not insole.outline.polygon.covers(shapely.Point(at)):
        raise ReliefError(
            f"landmark {name} is at ({at[0]:g}, {at[1]:g}) mm; the limit is a place on the insole"
        )
    moved = tuple(Landmark(name, at) if mark.name == name else mark for mark in insole.landmarks)
    return replace(insole, landmarks=moved)


def zone_areas(insole: Insole) -> dict[str, Polygon | MultiPolygon]:
    """The part of the insole in each zone, as geometry. [mm]"""
    x0, y0, x1, y1 = insole.outline.bounds
    edges = (y0 - 1.0, *insole.zone_lines, y1 + 1.0)
    return {
        zone: insole.outline.polygon.intersection(box(x0 - 1.0, low, x1 + 1.0, high))
        for zone, (low, high) in zip(ZONES, pairwise(edges), strict=True)
    }


def place_on_insole(insole: Insole, landmark: str | None, across: float, along: float) -> Point:
    """A point of the insole: a landmark if it has that name, else shares across and along the foot.

    Parameters
    ----------
    insole
        The insole.
    landmark
        Name of a landmark, or none.
    across
        Share of the width at that height, from the lower x. [-]
    along
        Share of the foot's length, from the heel. [-]

    Returns
    -------
    Point
        The place, drawn inwards where it would lie off the insole or within 10 mm, a fingertip, of its edge
        (design choice). [mm]
    """
    for mark in insole.landmarks:
        if mark.name == landmark:
            return round(mark.at[0], 1), round(mark.at[1], 1)
    y = along * insole.foot_length
    x0, _, x1, _ = insole.outline.bounds
    row = insole.outline.polygon.intersection(LineString([(x0 - 1, y), (x1 + 1, y)]))
    low, high = (row.bounds[0], row.bounds[2]) if not row.is_empty else (0.0, 0.0)
    inset = min(10.0, (high - low) / 2)
    x = min(max(low + across * (high - low), low + inset), high - inset)
    return round(x, 1), round(y, 1)


@lru_cache(maxsize=1)
def _constants() -> dict[str, Any]:
    return tomllib.loads(files("offload.core").joinpath("data/insole.toml").read_text(encoding="utf-8"))


@lru_cache(maxsize=256)
def _drawn_outline(length: float, width: float, heel: float) -> Outline:
    """Template ring as a smooth curve with exactly this length, breadth and about this heel breadth."""
    shape = _constants()["outline"]
    ring = _smooth(np.array([(across, along) for along, across in shape["ring"]]))
    along = (ring[:, 1] - ring[:, 1].min()) / np.ptp(ring[:, 1])
    across = ring[:, 0] / np.ptp(ring[:, 0])
    at_heel = np.abs(along - shape["heel_at"]) < 0.02
    drawn_heel = float(np.ptp(across[at_heel]))
    start, end = shape["blend"]
    share = np.clip((along - start) / (end - start), 0.0, 1.0)
    forefoot = share * share * (3.0 - 2.0 * share)
    across = across * (forefoot + (1.0 - forefoot) * heel / width / drawn_heel)
    across = across - across[int(np.argmin(along))]
    across = across / np.ptp(across) * width
    return Outline(tuple(zip(across.tolist(), (along * length).tolist(), strict=True)), name="insole outline")


def _smooth(corners: np.ndarray) -> np.ndarray:
    """Periodic cubic spline (continuous curvature) through the corners, sampled evenly between them."""
    count = len(corners)
    previous, following = np.roll(corners, 1, axis=0), np.roll(corners, -1, axis=0)
    system = 4.0 * np.eye(count) + np.roll(np.eye(count), 1, axis=0) + np.roll(np.eye(count), -1, axis=0)
    slopes = np.linalg.solve(system, 3.0 * (following - previous))
    next_slopes = np.roll(slopes, -1, axis=0)
    t = (np.arange(STEPS) / STEPS)[None, :, None]
    here, there = corners[:, None, :], following[:, None, :]
    curve = (
        (2 * t**3 - 3 * t**2 + 1) * here
        + (t**3 - 2 * t**2 + t) * slopes[:, None, :]
        + (3 * t**2 - 2 * t**3) * there
        + (t**3 - t**2) * next_slopes[:, None, :]
    )
    return curve.reshape(-1, 2)
