"""A nurse with a tablet: photo, corners, trace, visit; and nothing lost when the network or the page goes."""

import io
import math
import time

import numpy as np
import pytest
from django.utils import timezone
from playwright.sync_api import expect

from clinic.models import Imprint, Measurement, Photo, PhotoConsent, PhotoScale, Trace, Visit
from tests import factories
from tests.journeys.conftest import Visitor
from tests.offload.core.photo_scenes import scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

TABLET = {"width": 820, "height": 1180}


@pytest.fixture
def lesion(transactional_db):
    site = factories.site(name="Alder Lane clinic")
    factories.user("staff", at=site, username="nurse", password="a long pass phrase")
    factories.user("podiatrist", at=site, username="pod", password="a long pass phrase")
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    PhotoConsent.objects.create(
        person=lesion.limb.person, given_on=timezone.localdate(), created_by=factories.author()
    )
    factories.weight(of=lesion.limb.person)
    last_week = timezone.localdate() - timezone.timedelta(days=7)
    factories.series(lesion, [3.0, 2.6, 2.2, 1.9], last=last_week)
    return lesion


@pytest.fixture
def tablet(browser, live_server):
    """A page that is touched: no mouse, the size of a tablet."""
    context = browser.new_context(has_touch=True, viewport=TABLET)
    made = Visitor(context.new_page(), live_server)
    made.taps = 0
    made.touch = context.new_cdp_session(made.page)
    yield made
    context.close()
    assert not made.faults, made.faults


def tap(tablet, what):
    """One tap on a control, counted."""
    tablet.page.locator(what).first.tap()
    tablet.taps += 1


def stroke(tablet, points):
    """One finger from point to point of the screen."""

    def at(x, y):
        return [{"x": x, "y": y, "id": 1}]

    tablet.touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": at(*points[0])})
    for point in points[1:]:
        tablet.touch.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": at(*point)})
    tablet.touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    tablet.taps += 1


def pinch(tablet, centre, start, end):
    """Two fingers about a point of the screen, from one distance to another."""
    x, y = centre
    for step in range(9):
        half = (start + (end - start) * step / 8) / 2
        kind = "touchStart" if step == 0 else "touchMove"
        fingers = [{"x": x - half, "y": y, "id": 1}, {"x": x + half, "y": y, "id": 2}]
        tablet.touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": fingers})
    tablet.touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def jpeg(picture):
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=92)
    return {"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def on_screen(tablet, points):
    """Points of the stage's own units on the screen."""
    return tablet.page.evaluate(
        """points => {
          const matrix = document.getElementById("stage").getScreenCTM();
          return points.map(([x, y]) => { const p = new DOMPoint(x, y).matrixTransform(matrix); return [p.x, p.y]; });
        }""",
        [[float(x), float(y)] for x, y in points],
    )


def wait_for_words(tablet, place, words):
    expect(tablet.page.locator(f"#{place}")).to_contain_text(words, timeout=20000)


def plane_points(tablet, shot):
    """The true outline of the wound as it lies on the flattened photo."""
    scale = PhotoScale.objects.latest("pk")
    flat = np.column_stack([shot.wound_px, np.ones(len(shot.wound_px))]) @ np.array(scale.matrix).T
    return flat[:, :2] / flat[:, 2:]


def upload_and_scale(tablet, shot):
    tap(tablet, ".trace-link")
    tablet.page.wait_for_url("**/photos/new/**")
    tablet.page.set_input_files("[name=photo]", jpeg(shot.picture))
    tablet.taps += 2  # the camera's shutter and its "use photo"
    tap(tablet, "button.main")
    tablet.page.wait_for_url("**/scale/**")
    wait_for_words(tablet, "scale-says", "Straight edges found")
    tap(tablet, "button.main")
    tablet.page.wait_for_url("**/trace/**")


def trace(tablet, shot):
    tablet.page.locator("#stage").scroll_into_view_if_needed()
    screen = on_screen(tablet, plane_points(tablet, shot))
    stroke(tablet, [*screen, *screen[:3]])
    wait_for_words(tablet, "trace-says", "cm²")


def test_from_the_visit_to_a_saved_traced_area_that_changes_the_chart(tablet, lesion, record_property):
    page = tablet.page
    shot = scene(7, 20)
    tablet.sign_in(lesion.limb.person.site.members.get(username="nurse"))
    tablet.open(f"/lesions/{lesion.pk}/")
    chart_before = page.locator("figure img").first.get_attribute("src")
    tablet.open(f"/people/{lesion.limb.person_id}/visits/new/")
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
        "[name=next_in_7]",
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


def visit_page(tablet, lesion):
    tablet.sign_in(lesion.limb.person.site.members.get(username="nurse"))
    tablet.open(f"/people/{lesion.limb.person_id}/visits/new/")
    return tablet.page


def fill_visit(page, lesion, length="14"):
    page.check("[name=red_flags][value=none]")
    page.fill(f"[name=lesion-{lesion.pk}-length_mm]", length)
    page.fill(f"[name=lesion-{lesion.pk}-width_mm]", "11")
    page.check(f"[name=lesion-{lesion.pk}-debridement][value=before]")
    page.check("[name=next_in_7]")
    page.wait_for_selector("#visit[data-kept=yes]")


def today(lesion):
    return Visit.objects.filter(person=lesion.limb.person, visited_on=timezone.localdate()).count()


def test_a_network_cut_while_saving_keeps_the_form_and_sends_it_once_when_it_is_back(tablet, lesion):
    page = visit_page(tablet, lesion)
    fill_visit(page, lesion)
    page.context.set_offline(True)
    page.locator("form#visit button:text-is('Save visit')").tap()
    expect(page.locator("#draft")).to_contain_text("Not yet sent")
    assert today(lesion) == 0
    page.context.set_offline(False)
    page.wait_for_url("**/lesions/*/")
    assert today(lesion) == 1
    tablet.faults = [
        fault
        for fault in tablet.faults
        if "ERR_INTERNET_DISCONNECTED" not in fault and "sendError" not in fault
    ]


def test_an_answer_lost_on_the_way_is_no_second_visit(tablet, lesion):
    page = visit_page(tablet, lesion)
    fill_visit(page, lesion)
    lost = []

    def lose(route):
        if route.request.method == "POST" and not lost:
            lost.append(route.fetch().status)  # the server stored it; the answer never arrives
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/visits/new/", lose)
    page.locator("form#visit button:text-is('Save visit')").tap()
    expect(page.locator("#draft")).to_contain_text("Not yet sent")
    assert today(lesion) == 1
    page.locator("form#visit button:text-is('Save visit')").tap()
    page.wait_for_url("**/visits/*/")
    expect(page.locator("main")).to_contain_text("was stored already")
    assert today(lesion) == 1
    tablet.faults = [
        fault for fault in tablet.faults if "ERR_CONNECTION_RESET" not in fault and "sendError" not in fault
    ]


def test_a_page_that_is_closed_and_opened_again_has_what_was_typed(tablet, lesion):
    page = visit_page(tablet, lesion)
    fill_visit(page, lesion, length="17")
    stored = page.evaluate("Object.entries(localStorage).filter(([name]) => name.startsWith('draft:'))")
    assert len(stored) == 1
    assert lesion.limb.person.family_name not in stored[0][1]
    assert "length_mm" not in stored[0][1], "what is kept is sealed"
    page.reload()
    page.wait_for_selector(".draft-bar")
    assert page.input_value(f"[name=lesion-{lesion.pk}-length_mm]") == "17"
    assert page.is_checked("[name=red_flags][value=none]")
    page.get_by_role("button", name="Discard it").tap()
    assert page.input_value(f"[name=lesion-{lesion.pk}-length_mm]") == ""
    page.reload()
    page.wait_for_load_state("networkidle")
    assert page.locator(".draft-bar").count() == 0


def test_two_tabs_store_one_visit_and_the_second_keeps_its_text(tablet, lesion):
    page = visit_page(tablet, lesion)
    other = page.context.new_page()
    other.goto(tablet.base + f"/people/{lesion.limb.person_id}/visits/new/")
    fill_visit(page, lesion, length="14")
    fill_visit(other, lesion, length="19")
    page.locator("form#visit button:text-is('Save visit')").tap()
    page.wait_for_url("**/lesions/*/")
    other.locator("form#visit button:text-is('Save visit')").tap()
    other.wait_for_selector(".errors")
    expect(other.locator("main")).to_contain_text("is recorded already")
    assert other.input_value(f"[name=lesion-{lesion.pk}-length_mm]") == "19"
    stored = Measurement.objects.get(visit__visited_on=timezone.localdate())
    assert str(stored.length_mm) == "14.0"


def test_signing_out_warns_about_what_is_not_sent_and_then_wipes_it(tablet, lesion):
    page = visit_page(tablet, lesion)
    fill_visit(page, lesion)
    page.get_by_role("button", name="Sign out").tap()
    expect(page.get_by_role("dialog")).to_contain_text("not sent")
    page.get_by_role("button", name="Stay signed in").tap()
    assert page.get_by_role("dialog").count() == 0
    page.get_by_role("button", name="Sign out").tap()
    page.get_by_role("button", name="Remove it and sign out").tap()
    page.wait_for_url("**/sign-in/**")
    assert page.evaluate("Object.keys(localStorage).filter(name => name.startsWith('draft:'))") == []


def test_another_persons_session_cannot_read_a_draft(tablet, lesion):
    page = visit_page(tablet, lesion)
    fill_visit(page, lesion, length="17")
    page.context.clear_cookies()
    tablet.sign_in(lesion.limb.person.site.members.get(username="pod"))
    tablet.open(f"/people/{lesion.limb.person_id}/visits/new/")
    assert page.locator(".draft-bar").count() == 0
    assert page.input_value(f"[name=lesion-{lesion.pk}-length_mm]") == ""


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
    page.wait_for_timeout(400)
    page.reload()
    wait_for_words(tablet, "trace-says", "cm²")
    assert page.input_value("[name=outline]").startswith("[[[[")
    tablet.faults = [fault for fault in tablet.faults if "ERR_INTERNET_DISCONNECTED" not in fault]


def test_the_tools_of_drawing(traced_page):
    tablet, shot = traced_page
    page = tablet.page

    def area():
        page.wait_for_timeout(600)
        return float(page.inner_text("#trace-says").split(" cm²")[0])

    trace(tablet, shot)
    whole = area()
    # A ring inside is a hole.
    middle = plane_points(tablet, shot).mean(axis=0)
    turns = [(math.cos(t / 10), math.sin(t / 10)) for t in range(65)]
    page.locator("#stage").scroll_into_view_if_needed()
    stroke(tablet, on_screen(tablet, [(middle[0] + 1.5 * c, middle[1] + 1.5 * s) for c, s in turns]))
    assert area() == pytest.approx(whole - 0.0707, abs=0.02)
    page.get_by_role("button", name="Undo", exact=True).tap()
    assert area() == pytest.approx(whole, abs=0.001)
    page.get_by_role("button", name="Redo", exact=True).tap()
    assert area() < whole
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
    assert area() == pytest.approx(0.25, abs=0.001)
    page.keyboard.press("PageDown")
    page.keyboard.press("ArrowUp")
    assert area() != pytest.approx(0.25, abs=0.001)
    page.keyboard.press("Delete")
    assert area() < 0.2
    assert not tablet.axe_faults()


def test_the_imprint_goes_from_the_photo_to_the_bench(tablet, lesion):
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
