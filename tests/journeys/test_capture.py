"""A nurse with a tablet: photo, corners, trace, visit; a podiatrist: photo, imprint, bench."""

import json
import math
import time

import numpy as np
import pytest
from django.utils import timezone
from playwright.sync_api import expect

from clinic.models import Imprint, Measurement, Photo, PhotoScale, Trace
from tests.journeys.touch import (
    insole_picture,
    jpeg,
    on_screen,
    pinch,
    plane_points,
    stroke,
    tap,
    trace,
    unfold,
    upload_and_scale,
    visit_page,
    wait_for_area,
    wait_for_words,
)
from tests.offload.core.photo_scenes import scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_from_the_visit_to_a_saved_traced_area_that_changes_the_chart(tablet, lesion, record_property):
    page = tablet.page
    shot = scene(7, 20)
    tablet.sign_in(lesion.limb.person.site.members.get(username="nurse"))
    tablet.open(f"/lesions/{lesion.pk}/")
    chart_before = page.locator("figure img").first.get_attribute("src")
    tablet.open(f"/people/{lesion.limb.person_id}/visits/new/")
    unfold(page, "[name=note]")
    page.fill("[name=note]", "typed before the trace")
    page.wait_for_selector("#visit[data-kept=yes]")
    began, tablet.taps = time.perf_counter(), 0

    upload_and_scale(tablet, shot)
    trace(tablet, shot)
    tap(tablet, "#keep")
    page.wait_for_url("**/visits/new/?trace=*")
    page.wait_for_selector(".draft-bar")
    assert page.input_value("[name=note]") == "typed before the trace"
    for choice in (
        "[name=red_flags][value=none]",
        f"[name=lesion-{lesion.pk}-debridement][value=before]",
        "[name=next_in][value='7']",
    ):
        tap(tablet, choice)
    tap(tablet, "form#visit button:text-is('Save visit')")
    page.wait_for_url("**/lesions/*/")
    seconds = time.perf_counter() - began

    stored = Measurement.objects.get(visit__visited_on=timezone.localdate())
    assert stored.method == "traced"
    assert stored.trace is not None
    assert stored.area_mm2 == pytest.approx(shot.area, rel=0.05)
    assert page.locator("figure img").first.get_attribute("src") != chart_before
    assert tablet.taps <= 12
    assert seconds < 60
    print(f"\nvisit page to saved traced area: {seconds:.1f} s of machine time, {tablet.taps} taps")
    record_property("taps", tablet.taps)
    page.goto(tablet.base + f"/people/{lesion.limb.person_id}/visits/new/")
    page.wait_for_load_state("networkidle")
    assert page.locator(".draft-bar").count() == 0, "what was saved does not come back as a draft"


@pytest.fixture
def traced_page(tablet, lesion):
    """A photo already brought to scale, and the page to draw on."""
    shot = scene(7, 20)
    visit_page(tablet, lesion)
    upload_and_scale(tablet, shot)
    return tablet, shot


def test_drawing_survives_a_cut_network_and_a_reload_and_is_kept_once(traced_page):
    tablet, shot = traced_page
    page = tablet.page
    trace(tablet, shot)
    page.context.set_offline(True)
    page.locator("#keep").tap()
    expect(page.locator("#trace-says")).to_contain_text("Not yet sent")
    page.context.set_offline(False)
    page.wait_for_url("**/visits/new/?trace=*")
    assert Trace.objects.count() == 1
    page.go_back()
    trace(tablet, shot)
    page.wait_for_function("Object.keys(localStorage).some(name => /^draft:.*\\/trace\\//.test(name))")
    page.reload()
    wait_for_words(tablet, "trace-says", "cm²")
    assert page.input_value("[name=outline]").startswith("[[[[")
    tablet.faults = [fault for fault in tablet.faults if "ERR_INTERNET_DISCONNECTED" not in fault]


def test_a_small_wound_is_drawn_closer_after_a_first_rough_ring(tablet, lesion):
    shot = scene(1019, 10)  # about 4 mm radius
    page = visit_page(tablet, lesion)
    upload_and_scale(tablet, shot)
    trace(tablet, shot)
    expect(page.locator("#trace-says")).to_contain_text("One pixel of this screen all round is")
    coarse = page.inner_text("#trace-says").split("all round is ")[1].split(" %")[0]
    rough = page.input_value("[name=outline]")
    page.get_by_role("button", name="Draw it closer").tap()
    assert page.input_value("[name=outline]") == "", "the rough ring is away"
    wide = np.ptp(plane_points(tablet, shot), axis=0)
    view = [float(v) for v in page.get_attribute("#stage", "viewBox").split()]
    assert max(wide[0] / view[2], wide[1] / view[3]) == pytest.approx(0.6, abs=0.08)
    page.get_by_role("button", name="Undo", exact=True).tap()
    assert page.input_value("[name=outline]") == rough
    page.get_by_role("button", name="Redo", exact=True).tap()
    trace(tablet, shot)
    expect(page.locator("#trace-says")).not_to_contain_text("One pixel")
    assert float(coarse) > 2
    area = float(page.inner_text("#trace-says").split(" cm²")[0])
    assert area * 100 == pytest.approx(shot.area, rel=0.02)


def test_the_tools_of_drawing(traced_page):
    tablet, shot = traced_page
    page = tablet.page

    trace(tablet, shot)
    whole = float(page.inner_text("#trace-says").split(" cm²")[0])
    # A ring inside is a hole.
    middle = plane_points(tablet, shot).mean(axis=0)
    turns = [(math.cos(t / 10), math.sin(t / 10)) for t in range(65)]
    page.locator("#stage").scroll_into_view_if_needed()
    stroke(tablet, on_screen(tablet, [(middle[0] + 1.5 * c, middle[1] + 1.5 * s) for c, s in turns]))
    wait_for_area(tablet, whole - 0.0907, whole - 0.0507)
    page.get_by_role("button", name="Undo", exact=True).tap()
    wait_for_area(tablet, whole - 0.001, whole + 0.001)
    page.get_by_role("button", name="Redo", exact=True).tap()
    wait_for_area(tablet, whole - 0.0907, whole - 0.0507)
    page.get_by_role("button", name="Undo", exact=True).tap()
    page.get_by_role("button", name="Smooth", exact=True).tap()
    expect(page.locator("#trace-says")).to_contain_text("Smoothing changed the area by")
    before = page.get_attribute("#stage", "viewBox")
    box = page.locator("#stage").bounding_box()
    pinch(tablet, (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2), 80, 240)
    after = page.get_attribute("#stage", "viewBox")
    assert float(after.split()[2]) == pytest.approx(float(before.split()[2]) / 3, rel=0.15)
    assert page.evaluate("document.querySelectorAll('.open')[0].getAttribute('points')") == ""
    page.get_by_role("button", name="Whole picture").tap()
    # By keys alone: a square of 5 mm.
    page.get_by_role("button", name="Remove ring").tap()
    page.focus("#stage")
    for key in (
        "Enter",
        "Shift+ArrowRight",
        "Enter",
        "Shift+ArrowDown",
        "Enter",
        "Shift+ArrowLeft",
        "Enter",
        "c",
    ):
        page.keyboard.press(key)
    wait_for_area(tablet, 0.249, 0.251)
    page.keyboard.press("PageDown")
    page.keyboard.press("ArrowUp")  # the first corner, half a millimetre outwards: 1.25 mm² more
    wait_for_area(tablet, 0.259, 0.261)
    page.keyboard.press("Delete")
    wait_for_area(tablet, 0.1, 0.2)
    assert not tablet.axe_faults()


def circle(at, radius, turns=64):
    steps = [2 * math.pi * n / turns for n in range(turns + 3)]
    return [(at[0] + radius * math.cos(t), at[1] + radius * math.sin(t)) for t in steps]


def test_three_islands_with_holes_and_last_weeks_outline_over_them(tablet, lesion):
    last = Measurement.objects.filter(lesion=lesion).latest("visit__visited_on")
    last.outline_mm = [[round(x, 2), round(y, 2)] for x, y in circle((0, 0), 7.5)[:-3]]
    last.method, last.area_mm2 = "traced", math.pi * 7.5**2
    last.save()
    page = visit_page(tablet, lesion)
    upload_and_scale(tablet, scene(7, 20))
    middle = plane_points(tablet, scene(7, 20)).mean(axis=0)
    page.locator("#stage").scroll_into_view_if_needed()
    islands = [(middle + (dx, dy), r) for dx, dy, r in ((-12, 0, 5), (2, -6, 6), (14, 4, 4))]
    for at, radius in [*islands, (islands[0][0], 2), (islands[1][0], 2.5)]:
        stroke(tablet, on_screen(tablet, circle(at, radius)))
    true = math.pi * (25 + 36 + 16 - 4 - 6.25) / 100
    wait_for_area(tablet, 0.98 * true, 1.02 * true)
    parts = json.loads(page.input_value("[name=outline]"))
    assert sorted(len(part) for part in parts) == [1, 2, 2], "three parts, two with a hole"
    assert page.get_attribute("#last", "visibility") == "hidden"
    page.get_by_label("Outline of").check(force=True)
    assert page.get_attribute("#last", "visibility") == "visible"
    wide = page.evaluate("document.getElementById('last').getBBox().width")  # in the stage's own millimetres
    assert wide == pytest.approx(15, abs=0.1), "last week's outline is drawn at the same scale"
    page.get_by_label("High contrast").check(force=True)
    assert not tablet.axe_faults()
    tap(tablet, "#keep")
    page.wait_for_url("**/visits/new/?trace=*")
    stored = Trace.objects.get()
    assert stored.blind is False, "whoever saw last week's outline did not draw a repeat"
    assert stored.area_mm2 / 100 == pytest.approx(true, rel=0.02)
    assert json.loads(json.dumps(stored.outline_mm)) == parts


def test_an_imprint_photographed_and_traced_lies_on_the_bench_where_it_was(tablet, lesion):
    page = tablet.page
    picture, ring, marks = insole_picture()
    tablet.sign_in(lesion.limb.person.site.members.get(username="pod"))
    tablet.open(f"/lesions/{lesion.pk}/imprint/")
    assert not tablet.axe_faults()
    tap(tablet, "a.button.main")
    page.set_input_files("[name=photo]", jpeg(picture))
    tap(tablet, "button.main")
    wait_for_words(tablet, "scale-says", "Straight edges found")
    assert not tablet.axe_faults()
    tap(tablet, "button.main")
    page.wait_for_url("**/trace/**")

    def plane(points):
        flat = np.column_stack([points, np.ones(len(points))]) @ np.array(PhotoScale.objects.get().matrix).T
        return flat[:, :2] / flat[:, 2:]

    page.locator("#stage").scroll_into_view_if_needed()
    screen = on_screen(tablet, plane(ring))
    stroke(tablet, [*screen, *screen[:3]])
    wait_for_words(tablet, "trace-says", "cm²")
    tap(tablet, "#keep")
    page.wait_for_url("**/imprint/")
    page.locator("#stage").scroll_into_view_if_needed()
    assert not tablet.axe_faults()
    for number, at in enumerate(plane(marks)):
        began = page.locator(".mark-ring").nth(number).bounding_box()
        start = np.array([began["x"] + began["width"] / 2, began["y"] + began["height"] / 2])
        end = np.array(on_screen(tablet, [at])[0])
        # A finger slows down and rests before it is lifted; a flick would swallow the next tap.
        shares = [*np.linspace(0, 1, 12), *[1.0] * 6]
        stroke(tablet, [tuple(start + share * (end - start)) for share in shares])
    page.fill("[name=dressing_mm]", "3")
    tap(tablet, "button.main")
    page.wait_for_selector(".insole-over")
    assert not Imprint.objects.exists(), "the insole is looked at over the photo first"
    assert not tablet.axe_faults()
    tap(tablet, "button.main")
    page.wait_for_url("**/bench/")
    imprint = Imprint.objects.get()
    assert (imprint.how, imprint.placed_by) == ("traced", "landmarks")
    x, y = np.mean(imprint.outline_mm, axis=0)
    assert (x, y) == pytest.approx((-7, 195), abs=2.0)
    assert float(page.input_value(f"[name=l{lesion.pk}-y_mm]")) == pytest.approx(195, abs=2.0)
    assert page.input_value(f"[name=l{lesion.pk}-how]") == "traced"


def test_an_imprint_typed_in_numbers_opens_the_bench(tablet, lesion):
    page = tablet.page
    tablet.sign_in(lesion.limb.person.site.members.get(username="pod"))
    tablet.open(f"/lesions/{lesion.pk}/imprint/")
    assert not tablet.axe_faults()
    page.fill("[name=y_mm]", "195")
    page.fill("[name=x_mm]", "-7")
    page.fill("[name=length_mm]", "14")
    page.fill("[name=width_mm]", "11")
    page.fill("[name=dressing_mm]", "3")
    page.get_by_role("button", name="Keep the imprint").tap()
    page.wait_for_url("**/bench/")
    imprint = Imprint.objects.get()
    assert imprint.how == "typed"
    assert page.input_value(f"[name=l{lesion.pk}-y_mm]").startswith("195")
    assert Photo.objects.count() == 0
