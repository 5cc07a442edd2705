"""Checks of a relief plan that need no pressure, each a sentence with value and limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from functools import partial

import shapely

from offload.core.foam.stack import Layer
from offload.core.plan.openings import Opening, least_web
from offload.core.plan.policy import DEFAULT_POLICY, Policy
from offload.core.shapes.insole import Insole, zone_areas
from offload.core.shapes.lesion import LesionSpec

__all__ = ["Check", "Kind", "geometry_checks", "plantar_check", "weight_check"]

EDGE_WIDTH = 0.05  # [mm] a boundary this near to the insole's edge is the edge
SMALL = 1e-3  # [mm²] areas below this are rounding


class Kind(Enum):
    """What a check looks at."""

    GEOMETRY = "geometry"
    RECORD = "record"
    ESTIMATE = "estimate"  # ranks plans and says where to look first


@dataclass(frozen=True)
class Check:
    """One checked property of a plan.

    Parameters
    ----------
    id : str
        Stable name.
    severity : str
        ``error``, ``warn`` or ``note``: how loud it is when it is flagged.
    passed : bool
        True means *not flagged*; it never means that the plan is safe.
    value, limit : float, str or None
        What was found and what it is held against.
    message : str
        One sentence.
    kind : Kind
        Said where the check is made: an estimate never stops a signature, however loud it is.
    """

    id: str
    severity: str
    passed: bool
    value: float | str | None
    limit: float | str | None
    message: str
    kind: Kind = Kind.RECORD

    @property
    def stops(self) -> bool:
        """Whether the check, as it came out, stops a signature."""
        return not self.passed and self.severity == "error" and self.kind is not Kind.ESTIMATE


def geometry_checks(
    openings: Sequence[Opening],
    lesions: Sequence[LesionSpec],
    insole: Insole,
    stack: Sequence[Layer],
    policy: Policy = DEFAULT_POLICY,
) -> tuple[Check, ...]:
    """All checks that follow from the geometry alone.

    Parameters
    ----------
    openings : sequence of Opening
        At least one.
    lesions : sequence of LesionSpec
    insole : Insole
    stack : sequence of Layer
        From the foot down.
    policy : Policy
        The limits.

    Returns
    -------
    tuple of Check
    """
    return (
        _inside_insole(openings),
        _one_piece(openings, insole),
        _web(openings, stack, policy),
        _edge_strip(openings, policy),
        _full_depth(openings, lesions),
        _wall(openings, lesions, insole, policy),
        _cover(openings, stack, policy),
        _floor_left(openings, stack, policy),
        _zone_share(openings, insole, policy),
    )


def weight_check(body_weight: float | None, age: int | None, policy: Policy = DEFAULT_POLICY) -> Check:
    """Whether the body weight on record is there and recent.

    Parameters
    ----------
    body_weight : float or None
        [kg]
    age : int or None
        Days since it was taken. [d]
    policy : Policy
        Holds the oldest weight that is not flagged.
    """
    limit = policy.weight_age
    if body_weight is None or age is None:
        return Check(
            "weight_age",
            "error",
            False,
            None,
            limit,
            f"No dated body weight is on record; at most {limit} days old is asked.",
        )
    passed = age <= limit
    words = "recent enough" if passed else f"older than {limit} days: weigh again"
    return Check(
        "weight_age",
        "warn",
        passed,
        age,
        limit,
        f"Body weight {body_weight:g} kg is {age} days old, {words}.",
    )


def plantar_check(label: str, surface: str) -> Check:
    """Whether a lesion is under the foot at all, so that an insole can relieve it."""
    passed = surface == "plantar"
    message = (
        f"Ulcer {label} is plantar."
        if passed
        else f"Ulcer {label} is {surface}, not plantar: no insole can relieve it. Take pressure off by the "
        "upper, the "
        "fastening, a spacer or the bed and chair, as the device advice says."
    )
    return Check("plantar_lesion", "error", passed, surface, "plantar", message)


_geometric = partial(Check, kind=Kind.GEOMETRY)


def _names(opening: Opening) -> str:
    return ", ".join(opening.labels)


def _inside_insole(openings: Sequence[Opening]) -> Check:
    worst = max(openings, key=lambda opening: opening.asked_off_insole)
    off = worst.asked_off_insole
    passed = off <= SMALL
    message = (
        "Every opening lies inside the insole."
        if passed
        else f"The opening under {_names(worst)}, as asked, runs {off:.0f} mm² off the insole: on that side "
        "there is less "
        "foam around it than asked, and it ends as a notch."
    )
    return _geometric("opening_inside_insole", "warn", passed, off, 0.0, message)


def _one_piece(openings: Sequence[Opening], insole: Insole) -> Check:
    cut = shapely.union_all([opening.opening.polygon for opening in openings])
    left = insole.outline.polygon.difference(cut)
    pieces = sum(part.area > 1.0 for part in getattr(left, "geoms", [left]))
    message = (
        "The cut layers stay in one piece."
        if pieces == 1
        else f"The cut layers fall into {pieces} pieces, which move when they are glued: cut less, or one "
        "margin smaller."
    )
    return _geometric("foam_in_one_piece", "error", pieces == 1, float(pieces), 1.0, message)


def _web(openings: Sequence[Opening], stack: Sequence[Layer], policy: Policy) -> Check:
    depth = sum(stack[layer.index].thickness for layer in openings[0].layers)
    needed = max(policy.least_web, depth)
    web = least_web(openings)
    if web is None:
        return _geometric(
            "web_width", "warn", True, None, needed, "There is one opening, so there is no web."
        )
    passed = web >= needed
    words = "enough" if passed else "too thin: it folds or tears"
    return _geometric(
        "web_width",
        "warn",
        passed,
        web,
        needed,
        f"The thinnest web between openings is {web:.1f} mm, {words} ({needed:g} mm).",
    )


def _edge_strip(openings: Sequence[Opening], policy: Policy) -> Check:
    limit = policy.edge_strip
    strips = [(o.edge_strip, o) for o in openings if o.edge_strip is not None]
    if not strips:
        return _geometric(
            "edge_strip", "warn", True, None, limit, "No strip of foam is left beside the notch."
        )
    strip, worst = min(strips, key=lambda pair: pair[0])
    passed = strip >= limit
    words = "enough" if passed else "too thin: it folds or tears"
    notch = ", beside the notch" if worst.open_to_edge else ""
    return _geometric(
        "edge_strip",
        "warn",
        passed,
        strip,
        limit,
        f"The strip between the opening under {_names(worst)} and the insole's edge is {strip:.1f} "
        f"mm{notch}, {words} "
        f"({limit:g} mm).",
    )


def _full_depth(openings: Sequence[Opening], lesions: Sequence[LesionSpec]) -> Check:
    uncovered = {}
    for opening in openings:
        faces = [opening.floor.polygon, *(layer.top.polygon for layer in opening.layers)]
        for lesion in lesions:
            if lesion.label in opening.labels:
                uncovered[lesion.label] = max(
                    float(lesion.outline.polygon.difference(face).area) for face in faces
                )
    label = max(uncovered, key=lambda name: uncovered[name])
    bare = uncovered[label]
    passed = bare <= SMALL
    message = (
        "Every ulcer lies over the opening through its full depth."
        if passed
        else f"{bare:.1f} mm² of ulcer {label} lie over the wall and not over the base of the opening: "
        f"raise the margin "
        "or the bevel angle."
    )
    return _geometric("lesion_over_full_depth", "error", passed, bare, 0.0, message)


def _wall(
    openings: Sequence[Opening], lesions: Sequence[LesionSpec], insole: Insole, policy: Policy
) -> Check:
    """How far the nearest wall stands from an ulcer; where a notch runs out at the insole's edge there is
    none.
    """
    limit = policy.least_wall
    found: list[tuple[float, str]] = []
    for opening in openings:
        floor = opening.floor.polygon
        wall = floor.boundary
        if opening.open_to_edge:
            wall = wall.difference(insole.outline.polygon.boundary.buffer(EDGE_WIDTH))
        for lesion in lesions:
            if lesion.label in opening.labels and not wall.is_empty:
                ulcer = lesion.outline.polygon
                bare = ulcer.difference(floor).area > SMALL
                found.append((0.0 if bare else float(wall.distance(ulcer)), lesion.label))
    if not found:
        return _geometric("wall_at_ulcer", "error", True, None, limit, "No wall stands beside an ulcer.")
    near, label = min(found)
    passed = near >= limit
    words = "not at its edge" if passed else "at its edge: the edge would carry the ulcer; raise the margin"
    return _geometric(
        "wall_at_ulcer",
        "error",
        passed,
        near,
        limit,
        f"The nearest wall of the cut stands {near:.1f} mm from ulcer {label}, {words} (at least {limit:g} "
        "mm).",
    )


def _cover(openings: Sequence[Opening], stack: Sequence[Layer], policy: Policy) -> Check:
    cut = any(stack[layer.index].role == "cover" for opening in openings for layer in opening.layers)
    left = 0.0 if cut else sum(layer.thickness for layer in stack if layer.role == "cover")
    passed = left >= policy.least_cover
    words = "spans the opening uncut" if passed else "is too thin to span the opening"
    return _geometric(
        "cover_uncut",
        "error" if cut else "warn",
        passed,
        left,
        policy.least_cover,
        f"A cover of {left:g} mm {words} (at least {policy.least_cover:g} mm).",
    )


def _floor_left(openings: Sequence[Opening], stack: Sequence[Layer], policy: Policy) -> Check:
    lowest = max(layer.index for opening in openings for layer in opening.layers)
    left = sum(layer.thickness for layer in stack[lowest + 1 :])
    if lowest == len(stack) - 1:
        return _geometric(
            "floor_left",
            "note",
            True,
            0.0,
            None,
            "The base is cut through: what lies under the insole becomes the base of the opening. It "
            "must be flat, smooth "
            "and whole there.",
        )
    passed = left >= policy.least_floor
    words = "enough" if passed else "too thin"
    return _geometric(
        "floor_left",
        "warn",
        passed,
        left,
        policy.least_floor,
        f"{left:g} mm of foam are left under the opening, {words} (at least {policy.least_floor:g} mm).",
    )


def _zone_share(openings: Sequence[Opening], insole: Insole, policy: Policy) -> Check:
    cut = shapely.union_all([opening.opening.polygon for opening in openings])
    shares = {
        name: 100.0 * float(cut.intersection(area).area) / float(area.area)
        for name, area in zone_areas(insole).items()
        if area.area > 0.0
    }
    zone = max(shares, key=lambda name: shares[name])
    share, limit = shares[zone], policy.largest_zone_share
    passed = share <= limit
    words = "" if passed else "; the foam around it has to carry the rest"
    return _geometric(
        "zone_share",
        "warn",
        passed,
        share,
        limit,
        f"The openings take {share:.0f} % of the {zone} (limit {limit:g} %){words}.",
    )
