"""A tablet under a finger: taps, strokes and pinches, and the way from a photo to an outline."""

from __future__ import annotations

import io
import math

import numpy as np
from PIL import Image, ImageDraw
from playwright.sync_api import expect

from clinic.models import PhotoScale
from offload.core.shapes.insole import insole_for

#: Part of the gesture, not a wait for the page: what touches again sooner, the browser takes for a double tap
#: or for the same stroke going on. Counted from the moment the page has seen the finger lifted. [ms]
STROKES_APART = 350


def tap(tablet, what):
    """One tap on a control, counted."""
    tablet.page.locator(what).first.tap()
    tablet.taps += 1


def unfold(page, what):
    """The fold that a control stands in, opened by its summary as a hand does it."""
    fold = page.locator(f"details:not([open]):has({what})")
    if fold.count():
        fold.first.locator("summary").first.click()


def sent(page, name):
    """A form sent by its button; a script sends it, so the next page is waited for, not a quiet network."""
    with page.expect_event("load"):
        page.get_by_role("button", name=name, exact=True).click()


def stroke(tablet, points):
    """One finger from point to point of the screen."""

    def at(x, y):
        return [{"x": x, "y": y, "id": 1}]

    tablet.page.evaluate(
        """apart => {
          globalThis.lifted = new Promise((done) => {
            for (const name of ["pointerup", "pointercancel"])
              addEventListener(name, () => setTimeout(done, apart));
          });
        }""",
        STROKES_APART,
    )
    tablet.touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": at(*points[0])})
    for point in points[1:]:
        tablet.touch.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": at(*point)})
    tablet.touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    tablet.page.evaluate("lifted")
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
          return points.map(([x, y]) => {
            const p = new DOMPoint(x, y).matrixTransform(matrix);
            return [p.x, p.y];
          });
        }""",
        [[float(x), float(y)] for x, y in points],
    )


def wait_for_words(tablet, place, words):
    expect(tablet.page.locator(f"#{place}")).to_contain_text(words, timeout=20000)


def wait_for_area(tablet, low, high):
    """Until the page says an area between the two [cm²]; it tells each change a moment later."""
    tablet.page.wait_for_function(
        """([low, high]) => {
          const area = parseFloat(document.getElementById("trace-says").textContent);
          return low <= area && area <= high;
        }""",
        arg=[low, high],
    )


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


def visit_page(tablet, lesion):
    tablet.sign_in(lesion.limb.person.site.members.get(username="nurse"))
    tablet.open(f"/people/{lesion.limb.person_id}/visits/new/")
    return tablet.page


def insole_picture():
    """A left insole, foot side up, with a print on it and a card beside it: 4 px to the mm, from straight
    above.
    """
    insole = insole_for(260.0)
    picture = Image.new("RGB", (1100, 1300), "#7d8a86")
    draw = ImageDraw.Draw(picture)

    def seen(points):
        return [(320 - 4 * x, 1180 - 4 * y) for x, y in points]

    draw.polygon(seen(insole.outline.exterior), fill="#d9c9a8")
    ring = [(-7 + 6 * math.cos(t / 10), 195 + 7 * math.sin(t / 10)) for t in range(63)]
    draw.polygon(seen(ring), fill="#8c3b36")
    w, h = 85.60 * 4, 53.98 * 4
    draw.rounded_rectangle((640, 500, 640 + w, 500 + h), 12.7, fill="#f2f0ea")
    toe = next(mark.at for mark in insole.landmarks if mark.name == "toe_2")
    hallux = next(mark.at for mark in insole.landmarks if mark.name == "hallux")
    return picture, seen(ring), seen([(0, 0), (toe[0], 269), hallux])
