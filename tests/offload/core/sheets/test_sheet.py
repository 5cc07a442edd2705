from dataclasses import replace
from datetime import date
from functools import cache

import pypdfium2
import pytest
from shapely import LineString, Point, Polygon, box

from offload.core.errors import ReliefError
from offload.core.foam.stack import DEMONSTRATION_STACK, Layer
from offload.core.plan.checks import Check
from offload.core.shapes.outline import Outline
from offload.core.sheets.drawing import Path, ScaleBar, Text, text_width
from offload.core.sheets.sheet import PAPERS, cutting_drawing, template_drawing
from offload.core.sheets.sheet_blocks import CARD, SheetLabel
from offload.core.sheets.sheet_code import sheet_code
from offload.core.sheets.writers.pdf import write_pdf
from tests.offload.core.sheet_plans import plan_of

CODE = sheet_code(b"test")
UNSIGNED = SheetLabel(CODE, 2, date(2026, 11, 25))
SIGNED = replace(UNSIGNED, signed=True)
TWO = (("A", (-20.0, 190.0), 8.0, 7.0), ("B", (15.0, 165.0), 7.0, 6.0))
CASES = {
    "left 255": plan_of("left", 255.0),
    "right 290": plan_of("right", 290.0, (("A", (0.0, 205.0), 10.0, 10.0),)),
    "two ulcers, two layers": plan_of("right", 255.0, TWO, cut=("middle", "base")),
    "three cut layers": plan_of(
        "left",
        240.0,
        stack=(*DEMONSTRATION_STACK[:2], Layer("middle", "medium", 4.0), DEMONSTRATION_STACK[2]),
        cut=("middle", "base"),
        lesions=(("A", (0.0, 170.0), 6.0, 6.0),),
    ),
    "wide": plan_of("left", 270.0, outline=Outline.ellipse((0.0, 140.0), 280.0, 150.0)),
    "longest": plan_of("right", 350.0, (("A", (0.0, 300.0), 10.0, 10.0),)),
    "child": plan_of("left", 130.0, (("A", (0.0, 90.0), 3.0, 3.0),)),
    "just fits": plan_of("right", 266.0),
    "blunt heel": plan_of(
        "right", 262.0, outline=Outline(((-50.0, 0.0), (50.0, 0.0), (50.0, 272.0), (-50.0, 272.0)))
    ),
    "one at the middle": plan_of("right", 290.0, (("A", (0.0, 150.0), 12.0, 10.0),)),
}
everywhere = pytest.mark.parametrize("paper", list(PAPERS))
each_case = pytest.mark.parametrize("plan", CASES.values(), ids=CASES)


@cache
def pages_of(plan, paper):
    return template_drawing(plan, UNSIGNED, paper=paper)


def texts_of(data):
    """The words of every page as a reader of the file finds them."""
    pages = pypdfium2.PdfDocument(data)
    return [" ".join(page.get_textpage().get_text_range().split()) for page in pages]


def items(drawing, kind, *names):
    return [
        i
        for lay in drawing.layers
        if not names or lay.name in names
        for i in lay.items
        if isinstance(i, kind)
    ]


def word_box(text):
    """Box of an unturned line, by the estimate that errs wide."""
    width = text_width(text.text, text.size, bold=text.bold)
    left = text.at[0] - {"start": 0, "middle": width / 2, "end": width}[text.anchor]
    return box(left, text.at[1] - 0.2 * text.size, left + width, text.at[1] + 0.75 * text.size)


@each_case
@everywhere
def test_every_page_can_be_checked_and_stays_in_the_printable_area(plan, paper):
    for page in pages_of(plan, paper):
        assert (page.width, page.height) == PAPERS[paper]
        bars = items(page, ScaleBar)
        assert sorted(bar.vertical for bar in bars) == [False, True]
        assert {bar.length for bar in bars} == {100.0}
        cards = [p.bounds for p in page.paths("SCALE") if p.closed]
        assert (cards[0].height, cards[0].width) == pytest.approx(CARD[:2])
        printable = box(9.9, 9.9, page.width - 9.9, page.height - 9.9)
        for layer in page.layers:
            for item in layer.primitives():
                if isinstance(item, Path):
                    assert printable.covers(box(*_bounds(item))), (layer.name, item.bounds)
                elif not item.angle:
                    assert printable.covers(word_box(item)), item.text


def _bounds(path):
    b = path.bounds
    return b.left, b.bottom, b.right, b.top


@each_case
@everywhere
def test_bars_card_and_words_keep_clear_of_the_outlines_and_of_each_other(plan, paper):
    for page in pages_of(plan, paper):
        lines = [p for name in _cut_layers(page) for p in page.paths(name)]
        drawn = [Polygon(p.points) if p.closed else LineString(p.points) for p in lines]
        marks = [Polygon(p.points) if p.closed else LineString(p.points) for p in page.paths("SCALE")]
        words = [word_box(t) for t in page.layers[-2].items if isinstance(t, Text)]
        assert page.layers[-2].name == "TEXT"
        assert len(words) > 8
        for shape in drawn:
            assert not any(shape.intersects(mark.buffer(1)) for mark in marks)
            assert not any(shape.intersects(word) for word in words)
        for i, word in enumerate(words):
            assert not any(word.intersects(mark) for mark in marks)
            assert not any(word.intersects(other) for other in words[i + 1 :])


def _cut_layers(page):
    return [layer.name for layer in page.layers if layer.name.startswith(("OUTLINE", "CUT_"))]


@each_case
@everywhere
def test_what_a_sheet_must_say_stands_in_the_text_of_every_page(plan, paper):
    pages = texts_of(write_pdf(pages_of(plan, paper)))
    for number, text in enumerate(pages, start=1):
        assert "NOT SIGNED – do not cut" in text
        assert CODE in text
        assert {"left": "LEFT", "right": "RIGHT"}[plan.spec.side] in text
        assert {"left": "RIGHT", "right": "LEFT"}[plan.spec.side] not in text
        assert "foot side up" in text
        assert "Plan version 2 · 25 Nov 2026" in text
        assert f"page {number} of {len(pages)}" in text
        assert "follow local protocol" in text
        assert "Not a diagnosis" in text
    whole = " ".join(pages)
    assert "Cut order" in whole
    for lesion in plan.spec.lesions:
        assert f"Section through ulcer {lesion.label}" in whole


def test_an_insole_that_fits_is_kept_whole_and_a_longer_one_is_tiled():
    assert len(template_drawing(CASES["left 255"], UNSIGNED, paper="A4")) == 1
    assert len(template_drawing(CASES["left 255"], UNSIGNED, paper="A3")) == 1
    assert len(template_drawing(CASES["just fits"], UNSIGNED, paper="A4")) == 1
    assert len(template_drawing(CASES["right 290"], UNSIGNED, paper="A4")) == 2
    assert len(template_drawing(CASES["right 290"], UNSIGNED, paper="A3")) == 1
    assert len(template_drawing(CASES["left 255"], UNSIGNED, paper="Letter")) == 2


def test_an_insole_whose_heel_would_cover_the_horizontal_bar_is_tiled_though_it_fits():
    assert len(template_drawing(CASES["blunt heel"], UNSIGNED, paper="A4")) == 2
    assert len(template_drawing(CASES["blunt heel"], UNSIGNED, paper="A3")) == 1


def test_each_cut_layer_has_its_own_sheet_in_order():
    pages = template_drawing(CASES["three cut layers"], UNSIGNED, paper="A3")
    tops = [[lay.name for lay in page.layers if lay.name.endswith("_TOP")] for page in pages]
    assert tops == [["CUT_MIDDLE_1_TOP"], ["CUT_MIDDLE_2_TOP"], ["CUT_BASE_TOP"]]
    assert any("Layer 2 of 3 to cut: middle 2, 4 mm" in t for t in pages[1].texts())


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["right 290", "longest", "one at the middle", "wide"])
def test_tiles_laid_cross_on_cross_give_the_whole_insole_again(name, paper):
    plan = CASES[name]
    pages = [p for p in template_drawing(plan, SIGNED, paper=paper) if p.paths("OUTLINE")]
    assert len(pages) > 1
    crosses = [sorted({p.bounds.bottom + 2 for p in page.paths("REGISTER") if p.closed}) for page in pages]
    shift, drawn, seams = 0.0, [], []
    for number, page in enumerate(pages):
        if number:
            shift += crosses[number - 1][-1] - crosses[number][0]
            seams.append(crosses[number][0] + shift)
        for path in page.paths("OUTLINE"):
            drawn += [(x, y + shift) for x, y in path.points]
    xs, ys = zip(*drawn, strict=True)
    bounds = plan.insole.outline.polygon.bounds
    assert max(ys) - min(ys) == pytest.approx(bounds[3] - bounds[1], abs=0.02)
    assert max(xs) - min(xs) == pytest.approx(bounds[2] - bounds[0], abs=0.02)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["right 290", "one at the middle"])
def test_a_seam_does_not_cross_an_opening(name, paper):
    plan = CASES[name]
    area = plan.openings[0].area
    whole = [
        Polygon(p.points).area
        for page in template_drawing(plan, SIGNED, paper=paper)
        for p in page.paths("CUT_MIDDLE_TOP")
        if p.closed
    ]
    assert whole == [pytest.approx(area, rel=1e-9)]


def test_left_and_right_sheets_are_mirror_images():
    lesions = (("A", (25.0, 170.0), 6.0, 5.0),)
    (right,), (left,) = (
        template_drawing(plan_of(s, lesions=lesions), UNSIGNED, paper="A4") for s in ("right", "left")
    )

    def from_middle(page):
        outline, cut = page.paths("OUTLINE")[0].bounds, page.paths("CUT_MIDDLE_TOP")[0].bounds
        return (cut.left + cut.right) / 2 - (outline.left + outline.right) / 2

    assert from_middle(right) > 15
    assert from_middle(left) == pytest.approx(-from_middle(right))


def test_a_signed_sheet_carries_no_warning_and_a_replaced_one_says_by_what():
    plan = CASES["left 255"]
    signed = write_pdf(template_drawing(plan, SIGNED))
    (text,) = texts_of(signed)
    assert "NOT SIGNED" not in text
    assert "REPLACED" not in text
    replaced = write_pdf(template_drawing(plan, replace(SIGNED, replaced_by=3)))
    assert "REPLACED by v3" in texts_of(replaced)[0]
    assert "REPLACED by v3" in cutting_drawing(plan, replace(SIGNED, replaced_by=3)).texts()


def test_the_warning_runs_across_the_insole():
    (page,) = template_drawing(CASES["left 255"], UNSIGNED)
    (across,) = items(page, Text, "STATUS")
    outline = Polygon(page.paths("OUTLINE")[0].points)
    length = text_width(across.text, across.size, bold=True)
    assert length > 0.6 * outline.bounds[3] - outline.bounds[1]
    assert outline.centroid.buffer(25).contains(Point(across.at))


def test_flagged_checks_are_printed_and_the_others_not():
    checks = (
        Check("edge", "error", False, 3.0, 8.0, "The edge strip is 3 mm; the limit is 8 mm."),
        Check("web", "warn", False, 9.0, 10.0, "The web is 9 mm; the limit is 10 mm."),
        Check("cover", "warn", True, 0.0, 0.0, "The cover is whole."),
    )
    pages = template_drawing(replace(CASES["left 255"], checks=checks), UNSIGNED)
    text = " ".join(t for page in pages for t in page.texts())
    assert "Flagged: The edge strip is 3 mm" in text
    assert "The web is 9 mm" in text
    assert "The cover is whole" not in text


def test_a_sheet_without_a_date_leaves_a_line_for_it():
    (page,) = template_drawing(CASES["left 255"], replace(UNSIGNED, date=None))
    assert any("date ____" in text for text in page.texts())


def test_the_side_words_can_be_another_language():
    (page,) = template_drawing(CASES["left 255"], replace(UNSIGNED, side_words=("LINKS", "RECHTS")))
    assert "LINKS" in page.texts()
    assert "LEFT" not in page.texts()


def test_the_cutting_drawing_holds_every_cut_layer_at_true_size():
    plan = CASES["two ulcers, two layers"]
    drawing = cutting_drawing(plan, UNSIGNED)
    names = {layer.name for layer in drawing.layers}
    assert {"OUTLINE", "ZONES", "LESION", "TEXT", "SCALE", "STATUS"} <= names
    for index, role in ((0, "MIDDLE"), (1, "BASE")):
        for face in ("TOP", "FLOOR"):
            areas = [Polygon(p.points).area for p in drawing.paths(f"CUT_{role}_{face}")]
            cuts = [opening.layers[index] for opening in plan.openings]
            wanted = [(cut.top if face == "TOP" else cut.bottom).area for cut in cuts]
            assert areas == pytest.approx(wanted, rel=1e-9)
    sheet = box(0, 0, drawing.width, drawing.height)
    for layer in drawing.layers:
        for item in layer.primitives():
            if isinstance(item, Path):
                assert sheet.covers(box(*_bounds(item)))


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"code": "AAAAAA"}, "sheet code: AAAAAA"),
        ({"version": 0}, "plan version: 0"),
        ({"replaced_by": 2}, "replaced by: 2 given, must be above the version, 2"),
    ],
)
def test_an_imprint_that_cannot_be_is_refused(fields, message):
    with pytest.raises(ReliefError, match=message):
        replace(UNSIGNED, **fields)


def test_an_unknown_paper_and_an_insole_wider_than_it_are_refused():
    with pytest.raises(ReliefError, match="paper: A5 given, must be one of A4, A3, Letter"):
        template_drawing(CASES["left 255"], UNSIGNED, paper="A5")
    wide = plan_of(outline=Outline.ellipse((0.0, 120.0), 240.0, 200.0))
    with pytest.raises(ReliefError, match="200 mm wide, the limit on this paper is 190 mm"):
        template_drawing(wide, UNSIGNED, paper="A4")
    assert template_drawing(wide, UNSIGNED, paper="A3")
