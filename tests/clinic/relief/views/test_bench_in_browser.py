"""The bench in a browser: dragging, nudging and drawing a lesion on either foot."""

from __future__ import annotations

import pytest

from offload.models import ReliefPlan
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def value(page, lesion, name):
    return float(page.input_value(f"[name=l{lesion.pk}-{name}]"))


@pytest.fixture
def bench_page(live_server, page, context, client):
    """Open a limb's bench in Chromium, signed in as a podiatrist of its site."""

    def open_bench(limb):
        user = factories.user("podiatrist", at=limb.person.site)
        client.force_login(user)
        context.add_cookies(
            [{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}]
        )
        faults = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda line: faults.append(line.text) if line.type == "error" else None)
        page.goto(f"{live_server.url}/limbs/{limb.pk}/bench/")
        page.wait_for_selector(".lesion-mark .ring")
        return page, faults

    return open_bench


def drag(page, dx, dy):
    box = page.locator(".lesion-mark .ring").first.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    with page.expect_response("**/preview/") as answer:
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + dx / 2, y + dy / 2)
        page.mouse.move(x + dx, y + dy)
        page.mouse.up()
    assert answer.value.status == 200


@pytest.mark.parametrize(("side", "lateral"), [("right", 1), ("left", -1)])
def test_a_lesion_is_dragged_and_nudged_on_the_drawing(bench_page, side, lateral):
    person = factories.person()
    factories.weight(of=person)
    limb = factories.limb(of=person, side=side)
    lesion = factories.lesion(on=limb, place="mth_3")
    page, faults = bench_page(limb)
    scale = page.locator("#insole-drawing svg").bounding_box()["width"] / float(
        page.get_attribute("#insole-drawing", "data-width")
    )
    x, y = value(page, lesion, "x_mm"), value(page, lesion, "y_mm")
    # Ten mm to the right and five mm down on the screen: lateral on a right foot, medial on a left one.
    drag(page, 10 * scale, 5 * scale)
    assert value(page, lesion, "x_mm") == pytest.approx(x + 10 * lateral, abs=0.3)
    assert value(page, lesion, "y_mm") == pytest.approx(y - 5, abs=0.3)
    x, y = value(page, lesion, "x_mm"), value(page, lesion, "y_mm")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowUp")
    assert value(page, lesion, "x_mm") == pytest.approx(x + lateral, abs=0.051)
    assert value(page, lesion, "y_mm") == pytest.approx(y + 5, abs=0.051)
    page.wait_for_function(
        "!document.querySelector('#result').textContent.includes('move it to the imprint')"
    )
    assert faults == []


def test_an_outline_is_drawn_with_the_finger_and_kept(bench_page):
    person = factories.person()
    factories.weight(of=person)
    limb = factories.limb(of=person, side="left")
    factories.lesion(on=limb, place="mth_3")
    page, faults = bench_page(limb)
    page.click("text=Draw its outline")
    box = page.locator(".lesion-mark .ring").first.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    corners = [(-30, -20), (30, -20), (30, 20), (-30, 20), (-30, -16)]
    with page.expect_response("**/preview/") as answer:
        page.mouse.move(x + corners[0][0], y + corners[0][1])
        page.mouse.down()
        for dx, dy in corners[1:]:
            page.mouse.move(x + dx, y + dy, steps=6)
        page.mouse.up()
    assert answer.value.status == 200
    page.click("text=Save draft >> nth=0")
    page.wait_for_url("**/plans/*/")
    (one,) = ReliefPlan.objects.get().spec["lesions"]
    assert len(one["outline_mm"]) > 8
    assert faults == []


@pytest.mark.full_pressure
@pytest.mark.parametrize(("side", "lateral"), [("right", 1), ("left", -1)])
def test_an_inlay_is_drawn_by_its_corners_and_its_gain_is_told(bench_page, side, lateral):
    person = factories.person()
    factories.weight(of=person)
    limb = factories.limb(of=person, side=side)
    factories.lesion(on=limb, place="mth_3")
    page, faults = bench_page(limb)
    page.click("text=Inlays of other foam")
    page.select_option("[name=inlay0-layer]", "2")
    page.select_option("[name=inlay0-foam]", "soft")
    page.locator(".draw-inlay").first.click()
    box = page.locator("#insole-drawing svg").bounding_box()
    scale = box["width"] / float(page.get_attribute("#insole-drawing", "data-width"))
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] - 60 * scale
    corners = [
        (-12 * scale, -12 * scale),
        (12 * scale, -12 * scale),
        (12 * scale, 12 * scale),
        (-12 * scale, 12 * scale),
    ]
    with page.expect_response("**/preview/") as answer:
        for dx, dy in (*corners, corners[0]):
            page.mouse.click(x + dx, y + dy)
    assert answer.value.status == 200
    points = [
        [float(v) for v in one.split(",")] for one in page.input_value("[name=inlay0-points]").split(";")
    ]
    assert [round(a - b) for a, b in zip(points[1], points[0], strict=True)] == [24 * lateral, 0]
    assert [round(a - b) for a, b in zip(points[2], points[1], strict=True)] == [0, -24]
    page.fill("[name=departure_reason]", "The heel is tender; a softer place for it.")
    page.click("text=Save draft >> nth=0")
    page.wait_for_url("**/plans/*/")
    plan = ReliefPlan.objects.get()
    assert plan.spec["stack"][2]["inlays"][0]["foam"] == "soft"
    assert "Estimated, inlay in the base" in page.inner_text("main")
    assert len(plan.result["inlay_gains"]) == 1
    assert faults == []


def ring_on_the_drawing(page):
    """How far down the drawing the mark stands, wherever the page is scrolled to. [px]"""
    ring, board = (page.locator(one).bounding_box()["y"] for one in (".lesion-mark .ring", ".drawing-board"))
    return ring - board


def test_typed_numbers_move_the_mark_and_a_lost_answer_is_said(bench_page):
    person = factories.person()
    factories.weight(of=person)
    limb = factories.limb(of=person, side="right")
    lesion = factories.lesion(on=limb, place="mth_3")
    page, _ = bench_page(limb)
    before = ring_on_the_drawing(page)
    field = page.locator(f"[name=l{lesion.pk}-y_mm]")
    with page.expect_response("**/preview/"):
        field.fill("150")
    assert ring_on_the_drawing(page) > before + 20
    assert page.input_value(f"[name=l{lesion.pk}-how]") == "typed"
    page.wait_for_selector(".result-column:not(.waiting)")
    page.route("**/preview/", lambda route: route.abort())
    field.fill("160")
    page.wait_for_selector("#bench-late:not([hidden])")
    assert "from before the last change" in page.inner_text("#bench-late")
    page.unroute("**/preview/")
    field.fill("170")
    page.wait_for_selector("#bench-late", state="hidden")


def test_a_fault_shows_while_the_lesion_can_still_be_moved_back(bench_page):
    person = factories.person()
    factories.weight(of=person)
    limb = factories.limb(of=person, side="right")
    lesion = factories.lesion(on=limb, place="mth_3")
    page, _ = bench_page(limb)
    page.locator(f"[name=l{lesion.pk}-x_mm]").fill("70")
    page.wait_for_selector("#headline .stop")
    assert "off the insole" in page.inner_text("#headline .stop")
    assert "What is wrong" in page.inner_text("#result")
    page.locator(f"[name=l{lesion.pk}-x_mm]").fill("5")
    page.wait_for_selector("#result .checks")
    assert page.locator("#headline .stop").count() == 0


def test_the_width_grip_of_a_left_foot_widens_the_lesion(bench_page):
    person = factories.person()
    factories.weight(of=person)
    limb = factories.limb(of=person, side="left")
    lesion = factories.lesion(on=limb, place="mth_3")
    page, _ = bench_page(limb)
    width = value(page, lesion, "width_mm")
    grip = page.locator(".grip").nth(1).bounding_box()
    mark = page.locator(".lesion-mark .ring").bounding_box()
    # Lateral of a left foot is to the left on the drawing.
    assert grip["x"] < mark["x"]
    x, y = grip["x"] + grip["width"] / 2, grip["y"] + grip["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 3, y, steps=3)
    page.mouse.up()
    assert value(page, lesion, "width_mm") > width
