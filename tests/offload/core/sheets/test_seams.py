"""Where two tiles of a template meet: clear of every opening and zone line, and of every inlay where there is
room for that."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from offload.core.foam.stack import Inlay
from offload.core.plan.inlays import inlays_in
from offload.core.shapes.outline import Outline
from offload.core.sheets.sheet_layout import OVERLAP, SheetLayout, sheet_layout
from tests.offload.core.sheet_plans import plan_of

HALF = OVERLAP / 2 + 1.0
Span = tuple[float, float]
BARE = {
    "one seam": plan_of("right", 290.0, (("A", (0.0, 205.0), 10.0, 10.0),)),
    "an opening at the middle": plan_of("left", 290.0, (("A", (0.0, 150.0), 12.0, 10.0),)),
    "little to spare": plan_of("right", 350.0, (("A", (0.0, 300.0), 10.0, 10.0),)),
}
pieces = st.lists(
    st.tuples(st.integers(0, 2), st.floats(20.0, 320.0), st.floats(4.0, 90.0)), min_size=1, max_size=3
)


def with_inlays(plan, drawn):
    """The plan with blocks let into its layers within the insole; each is layer, lower end, length [mm]."""
    stack, most = list(plan.spec.stack), plan.insole.outline.bounds[3] - 5.0
    for index, low, length in drawn:
        start, end = min(low, most - 4.0), min(low + length, most)
        block = Outline(((-9.0, start), (9.0, start), (9.0, end), (-9.0, end)))
        stack[index] = replace(stack[index], inlays=(*stack[index].inlays, Inlay("soft", block)))
    return replace(plan, spec=replace(plan.spec, stack=tuple(stack)))


def lines_of(plan) -> tuple[list[Span], list[Span]]:
    """What a seam keeps clear of along the foot: openings and zone lines; and inlays."""
    cuts = [cut.top.polygon.bounds[1::2] for opening in plan.openings for cut in opening.layers]
    zones = [(y, y) for y in plan.insole.zone_lines]
    return [*cuts, *zones], [one.inlay.region.polygon.bounds[1::2] for one in inlays_in(plan.spec.stack)]


def crossed(seam: float, spans: list[Span]) -> list[Span]:
    return [span for span in spans if span[0] - HALF <= seam <= span[1] + HALF]


def widest_gap(spans: list[Span], low: float, high: float) -> float:
    """The widest piece between two ends that lies clear of every span [mm]."""
    widest, at = 0.0, low
    for start, end in sorted(spans):
        widest, at = max(widest, min(start - HALF, high) - at), max(at, end + HALF)
    return max(widest, high - at)


def room_of(layout: SheetLayout, number: int) -> Span:
    """Between which ends a seam may lie, whatever its neighbours do [mm]."""
    count, (low, high) = len(layout.tiles), (layout.seams[0], layout.seams[-1])
    even = low + (high - low) * number / count
    spare = layout.window.height - OVERLAP - (high - low) / count
    reach = max(0.0, spare if count == 2 else spare / 2)
    return even - int(reach), even + int(reach)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", BARE)
@given(drawn=pieces)
@example(drawn=[(1, 130.0, 40.0)])  # over the middle, with room beside it
@example(drawn=[(0, 20.0, 90.0), (1, 110.0, 90.0), (2, 200.0, 90.0)])  # no room anywhere
def test_a_seam_crosses_no_inlay_where_there_is_room_and_no_opening_for_an_inlays_sake(name, paper, drawn):
    plan = with_inlays(BARE[name], drawn)
    layout, before = sheet_layout(plan, paper), sheet_layout(BARE[name], paper)
    fixed, inlays = lines_of(plan)
    for number, seam in enumerate(layout.seams[1:-1], start=1):
        room = room_of(layout, number)
        if widest_gap([*fixed, *inlays], *room) >= 1.0:
            assert not crossed(seam, [*fixed, *inlays])
        if not crossed(before.seams[number], fixed):
            assert not crossed(seam, fixed)
    for tile in range(len(layout.tiles)):
        low, high = layout.shown(tile)
        assert high - low <= layout.window.height + 1e-6


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_an_inlay_far_from_a_seam_does_not_move_it(paper):
    bare = BARE["one seam"]
    seams = sheet_layout(bare, paper).seams
    assert sheet_layout(with_inlays(bare, [(1, 20.0, 30.0)]), paper).seams == seams


def test_an_inlay_at_the_middle_moves_the_seam_off_it():
    bare = BARE["one seam"]
    (seam,) = sheet_layout(bare, "A4").seams[1:-1]
    plan = with_inlays(bare, [(1, seam - 6.0, 12.0)])
    (moved,) = sheet_layout(plan, "A4").seams[1:-1]
    assert not crossed(moved, lines_of(plan)[1])
    assert moved != seam
