"""A nurse with a tablet: photo, corners, trace, visit; and nothing lost when the network or the page goes."""

import io
import time

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from clinic.models import Measurement, PhotoConsent
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
    import numpy as np

    from clinic.models import PhotoScale

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
