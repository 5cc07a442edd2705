"""The weekly page under a nurse's hands: keys, live figures, a lost network, an impatient double press."""

from datetime import timedelta

import pytest
from django.conf import settings
from django.test import Client
from django.utils import timezone
from playwright.sync_api import expect

from clinic.models import Visit
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def signed_in(page, live_server):
    site = factories.site(name="Alder Lane clinic")
    nurse = factories.user("staff", at=site)
    client = Client()
    client.force_login(nurse)
    page.context.add_cookies(
        [
            {
                "name": settings.SESSION_COOKIE_NAME,
                "value": client.cookies[settings.SESSION_COOKIE_NAME].value,
                "url": live_server.url,
            }
        ]
    )
    page.site = site
    return page


def test_from_today_to_a_visit_stored_once(signed_in, live_server):
    page = signed_in
    who = factories.person(at=page.site)
    lesion = factories.lesion(on=factories.limb(of=who))
    week_ago = timezone.localdate() - timedelta(days=7)
    factories.series(lesion, [4.0, 3.0], last=week_ago)

    page.goto(f"{live_server.url}/today/")
    page.keyboard.press("1")
    page.wait_for_url("**/visits/new/")

    length, width = page.get_by_label("Length (mm)"), page.get_by_label("Width (mm)")
    page.get_by_text("Outline, not measurable, other").click()
    page.get_by_label("Outline points (mm)").fill("0,0; 15,0; 15,15; 0,15")
    page.get_by_label("Before, or without, debridement").check()
    expect(page.locator(".live")).to_contain_text("2.25 cm² · 25 % smaller (± 14 %, beyond error)")
    assert Visit.objects.count() == 2

    # A chip chosen by mistake is let go again: untouched means not looked at.
    slough = page.get_by_label("Slough")
    slough.click()
    slough.click()
    expect(slough).not_to_be_checked()

    page.get_by_role("button", name="Save visit").click()
    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("Red flags: not answered")
    expect(alert).to_contain_text("Next visit: no date given")
    assert page.evaluate("document.activeElement.name") == "red_flags"
    expect(page.get_by_label("Outline points (mm)")).to_have_value("0,0; 15,0; 15,15; 0,15")
    expect(length).to_have_value("")
    expect(width).to_have_value("")

    page.get_by_label("Foot newly cold, pale or blue").check()
    page.get_by_role("button", name="Back to the page").click()
    page.get_by_label("None new or worse of these").check()
    expect(page.get_by_label("Foot newly cold, pale or blue")).not_to_be_checked()
    page.get_by_label("7 days").check()
    page.context.set_offline(True)
    page.get_by_role("button", name="Save visit").click()
    expect(page.locator("#draft")).to_contain_text("Not yet sent: no answer from the clinic's server")
    expect(page.get_by_label("Outline points (mm)")).to_have_value("0,0; 15,0; 15,15; 0,15")
    page.context.set_offline(False)

    # Back on the network it goes by itself.
    page.wait_for_url(f"**/lesions/{lesion.pk}/")
    expect(page.locator(".messages")).to_contain_text("saved.")
    stored = Visit.objects.get(visited_on=timezone.localdate())
    assert stored.measurements.get().area_mm2 == 225.0
    assert stored.measurements.get().tissue == ""

    page.goto(f"{live_server.url}/today/")
    expect(page.get_by_text("Nobody is due today")).to_be_visible()


def test_the_page_saves_without_scripts(browser, live_server):
    site = factories.site()
    nurse = factories.user("staff", at=site)
    client = Client()
    client.force_login(nurse)
    context = browser.new_context(java_script_enabled=False)
    context.add_cookies(
        [
            {
                "name": settings.SESSION_COOKIE_NAME,
                "value": client.cookies[settings.SESSION_COOKIE_NAME].value,
                "url": live_server.url,
            }
        ]
    )
    page = context.new_page()
    who = factories.person(at=site)
    lesion = factories.lesion(on=factories.limb(of=who))
    page.goto(f"{live_server.url}/people/{who.pk}/visits/new/")
    page.get_by_label("None new or worse of these").check()
    page.get_by_label("Fully covered and dry").check()
    page.get_by_role("button", name="Save visit").click()
    expect(page.get_by_role("alert")).to_contain_text("Next visit: no date given")
    expect(page.get_by_label("Fully covered and dry")).to_be_checked()
    page.get_by_label("7 days").check()
    page.get_by_role("button", name="Save visit").click()
    page.wait_for_url(f"**/lesions/{lesion.pk}/")
    assert Visit.objects.get().measurements.get().covered_dry
    context.close()
