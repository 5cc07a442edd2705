"""Marks on a photo, and an imprint laid on the insole, survive a crash, a dead network and an ended
sign-in.
"""

import io
import math
import uuid

import numpy as np
import pytest
from django.contrib.sessions.models import Session
from django.utils import timezone
from playwright.sync_api import expect

from clinic.capture.writes.photos import photo_store
from clinic.capture.writes.scales import scale_guess, scale_store
from clinic.capture.writes.traces import trace_store
from clinic.models import Imprint, PhotoScale, PhotoSubject
from tests.journeys.touch import insole_picture, jpeg, wait_for_words
from tests.offload.core.photo_scenes import scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

DRAFTS = "Object.entries(localStorage).filter(([name]) => name.startsWith('draft:'))"


def photo_of(lesion, picture, subject=PhotoSubject.WOUND):
    nurse = lesion.limb.person.site.members.get(username="nurse")
    upload = io.BytesIO(jpeg(picture)["buffer"])
    return photo_store(by=nurse, lesion=lesion, taken_on=timezone.localdate(), upload=upload, subject=subject)


@pytest.fixture
def scale_page(tablet, lesion):
    """The page with the card found, and one corner moved away by keys."""
    photo = photo_of(lesion, scene(7, 20).picture)
    tablet.sign_in(lesion.limb.person.site.members.get(username="nurse"))
    tablet.open(f"/photos/{photo.pk}/scale/")
    found = tablet.page.input_value("[name=marks]")
    tablet.page.focus("[aria-label^='The first mark']")
    for _ in range(3):
        tablet.page.keyboard.press("Shift+ArrowLeft")
    moved = tablet.page.input_value("[name=marks]")
    assert moved != found
    tablet.page.wait_for_selector("#scale[data-kept=yes]")
    return tablet, found, moved


@pytest.fixture
def place_page(tablet, lesion):
    """A traced imprint on a photo of the insole, one mark moved and the dressing typed."""
    nurse = lesion.limb.person.site.members.get(username="nurse")
    picture, ring, _ = insole_picture()
    photo = photo_of(lesion, picture, PhotoSubject.INSOLE)
    scale = scale_store(by=nurse, photo=photo, reference="card", marks=scale_guess(photo, "card"))
    flat = np.column_stack([np.array(ring), np.ones(len(ring))]) @ np.array(scale.matrix).T
    outline = [[[[float(x), float(y)] for x, y in flat[:, :2] / flat[:, 2:]]]]
    trace_store(by=nurse, scale=scale, outline=outline, submission_key=uuid.uuid4())
    tablet.sign_in(nurse)
    tablet.open(f"/scales/{scale.pk}/imprint/")
    tablet.page.fill("[name=dressing_mm]", "3")
    tablet.page.focus("[aria-label^='Middle of the heel edge']")
    tablet.page.keyboard.press("Shift+ArrowDown")
    tablet.page.wait_for_selector("#place[data-kept=yes]")
    return tablet, scale, picture


def without_network_faults(tablet):
    tablet.faults = [fault for fault in tablet.faults if "ERR_INTERNET_DISCONNECTED" not in fault]


def test_moved_corners_come_back_after_a_crash_sealed_meanwhile(scale_page):
    tablet, _, moved = scale_page
    page = tablet.page
    stored = page.evaluate(DRAFTS)
    assert len(stored) == 1
    assert moved.split(",")[0] not in stored[0][1], "what is kept is sealed"
    context, url = page.context, page.url
    page.close(run_before_unload=False)
    tablet.page = page = context.new_page()
    page.goto(url)
    page.wait_for_selector(".draft-bar")
    assert page.input_value("[name=marks]") == moved
    x = float(moved.split(",")[0])
    assert float(page.locator(".mark-ring").first.get_attribute("cx")) == pytest.approx(x, abs=0.06)
    assert not page.locator("details[open]").count(), "the numbers stay folded"
    page.get_by_role("button", name="Discard it").tap()
    assert page.input_value("[name=marks]") != moved


def test_a_scale_pressed_without_network_is_sent_once_when_it_is_back(scale_page):
    tablet, *_ = scale_page
    page = tablet.page
    page.context.set_offline(True)
    page.locator("button.main").tap()
    expect(page.locator("#scale-says")).to_contain_text("Not yet sent")
    page.locator("button.main").tap()
    expect(page.locator("#scale-says")).to_contain_text("Not yet sent")
    assert len(page.evaluate(DRAFTS)) == 1
    page.context.set_offline(False)
    page.wait_for_url("**/trace/**")
    page.wait_for_load_state("networkidle")
    assert PhotoScale.objects.count() == 1
    assert page.evaluate(DRAFTS) == []
    without_network_faults(tablet)


def test_an_ended_sign_in_keeps_the_marks_until_the_same_person_is_back(scale_page, lesion):
    tablet, found, moved = scale_page
    page = tablet.page
    # What the server says of the marks comes late and does not write over what became of the sending.
    held = []
    page.route("**/check/", lambda route: held.append(route))
    with page.expect_request("**/check/"):
        page.focus("[aria-label^='The first mark']")
        page.keyboard.press("ArrowLeft")
        page.keyboard.press("ArrowRight")
    Session.objects.all().delete()
    page.locator("button.main").tap()
    panel = page.get_by_role("dialog")
    expect(panel).to_contain_text("Your sign-in has ended")
    expect(page.locator("#scale-says")).to_contain_text("your sign-in has ended")
    assert held, "the marks are being asked about"
    for route in held:
        route.fulfill(json={"refused": "late"})
    page.evaluate("fetch('/draft-key/').then(answer => answer.text())")
    expect(page.locator("#scale-says")).to_contain_text("your sign-in has ended")
    assert page.input_value("[name=marks]") == moved
    assert not PhotoScale.objects.exists()
    assert not tablet.axe_faults()
    page.unroute("**/check/")
    panel.get_by_label("Username").fill("nurse")
    panel.get_by_label("Password").fill("a wrong pass phrase")
    panel.get_by_role("button", name="Sign in and send").tap()
    expect(panel).to_contain_text("is not right")
    panel.get_by_label("Password").fill("a long pass phrase")
    panel.get_by_role("button", name="Sign in and send").tap()
    page.wait_for_url("**/trace/**")
    expect(page.locator(".sent-bar")).to_contain_text("stored as")
    assert PhotoScale.objects.count() == 1
    assert page.evaluate(DRAFTS) == []
    tablet.faults = [fault for fault in tablet.faults if "403" not in fault]


def test_signing_out_on_purpose_warns_of_the_marks_and_wipes_them(scale_page, lesion):
    tablet, found, _ = scale_page
    page, url = tablet.page, tablet.page.url
    page.get_by_role("button", name="Sign out").tap()
    expect(page.get_by_role("dialog")).to_contain_text("not sent")
    page.get_by_role("button", name="Remove it and sign out").tap()
    page.wait_for_url("**/sign-in/**")
    assert page.evaluate(DRAFTS) == []
    tablet.sign_in(lesion.limb.person.site.members.get(username="nurse"))
    page.goto(url)
    page.wait_for_load_state("networkidle")
    assert page.input_value("[name=marks]") == found


def test_an_imprint_being_placed_survives_the_crash_and_the_network_and_is_kept_once(place_page):
    tablet, _, _ = place_page
    page = tablet.page
    moved = page.input_value("[name=marks]")
    page.reload()
    page.wait_for_selector(".draft-bar")
    assert (page.input_value("[name=marks]"), page.input_value("[name=dressing_mm]")) == (moved, "3")
    # The marks to where they belong, then no network.
    scale = PhotoScale.objects.get()
    marks = np.array(insole_picture()[2])
    flat = np.column_stack([marks, np.ones(len(marks))]) @ np.array(scale.matrix).T
    page.get_by_text("Marks in numbers").tap()
    page.fill("[name=marks]", "\n".join(f"{x:.1f}, {y:.1f}" for x, y in flat[:, :2] / flat[:, 2:]))
    page.locator("[name=dressing_mm]").focus()
    page.context.set_offline(True)
    page.locator("button.main").tap()
    wait_for_words(tablet, "place-says", "Not yet sent")
    assert not Imprint.objects.exists()
    page.context.set_offline(False)
    page.wait_for_selector(".insole-over")
    page.locator("button.main").tap()
    page.wait_for_url("**/lesions/*/")
    assert Imprint.objects.count() == 1
    x, y = np.mean(Imprint.objects.get().outline_mm, axis=0)
    assert math.dist((x, y), (-7, 195)) < 2
    without_network_faults(tablet)


def test_a_refused_imprint_comes_back_with_its_reason_at_the_field_and_everything_typed(place_page):
    tablet, _, _ = place_page
    page = tablet.page
    page.fill("[name=dressing_mm]", "99")
    page.fill("[name=note]", "thick pad")
    moved = page.input_value("[name=marks]")
    page.locator("button.main").tap()
    page.wait_for_selector(".errors")
    assert page.input_value("[name=dressing_mm]") == "99"
    assert page.input_value("[name=note]") == "thick pad"
    assert page.input_value("[name=marks]").split() == moved.split()
    assert not Imprint.objects.exists()
    assert not tablet.axe_faults()
