"""Plans for the drawing tests, their openings made here by hand so that the tests lean on no other module."""

import math

from shapely import LineString, Polygon, affinity, unary_union

from offload.core.foam.stack import DEMONSTRATION_STACK
from offload.core.plan.compute import ClearanceAdvice, ComputedPlan
from offload.core.plan.openings import CutLayer, Opening
from offload.core.plan.policy import DEFAULT_POLICY, decide
from offload.core.plan.spec import ReliefSpec
from offload.core.shapes.insole import insole_for
from offload.core.shapes.lesion import LesionSpec
from offload.core.shapes.outline import Outline


def swept(polygon, margin, distal):
    """Polygon ⊕ disc(margin) ⊕ the segment from 0 to (distal − margin)·y."""
    grown = polygon.buffer(margin, quad_segs=32)
    step = distal - margin
    moved = affinity.translate(grown, 0, step)
    ring = list(grown.exterior.coords)
    sides = [
        LineString([a, b]).union(LineString([(a[0], a[1] + step), (b[0], b[1] + step)])).convex_hull
        for a, b in zip(ring, ring[1:], strict=False)
    ]
    return unary_union([grown, moved, *(s for s in sides if isinstance(s, Polygon))])


def plan_of(
    side="right",
    foot_length=255.0,
    lesions=(("A", (0.0, 180.0), 10.0, 10.0),),
    cut=("middle",),
    stack=DEMONSTRATION_STACK,
    bevel=45.0,
    outline=None,
):
    """A plan with one opening per lesion; a lesion is label, centre, half length and half width [mm]."""
    made = tuple(
        LesionSpec(label, Outline.ellipse(centre, 2 * long, 2 * wide, name=label))
        for label, centre, long, wide in lesions
    )
    spec = ReliefSpec(
        side=side,
        foot_length=foot_length,
        body_weight=82.0,
        lesions=made,
        stack=stack,
        bevel=bevel,
        insole_outline=outline,
    )
    insole = insole_for(foot_length) if outline is None else insole_for(foot_length, None, outline)
    openings = []
    for lesion in made:
        face = swept(lesion.outline.polygon, spec.margin, spec.distal_margin)
        layers = []
        for index in reversed([i for i, layer in enumerate(stack) if layer.role in cut]):
            top = face.buffer(stack[index].thickness / math.tan(math.radians(bevel)), quad_segs=32)
            layers.insert(
                0, CutLayer(index, stack[index].role, Outline.of_polygon(top), Outline.of_polygon(face))
            )
            face = top
        openings.append(Opening((lesion.label,), tuple(layers)))
    return ComputedPlan(
        spec,
        DEFAULT_POLICY,
        decide(stack, spec.body_weight),
        insole,
        tuple(openings),
        tuple(cut),
        ClearanceAdvice(None, "not computed"),
        ("82 kg is below 90 kg.",),
        (),
    )
