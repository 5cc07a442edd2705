"""A red flag with the network cut: the sheet is there at once, what was typed is kept, it is sent once
when back.
"""

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from clinic.models import RedFlag, Visit
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def case(transactional_db):
    site = factories.site(name="Alder Lane clinic", protocol_text="First the foot team, then the ward.")
    nurse = factories.user("staff", at=site)
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    person = lesion.limb.person
    factories.weight(of=person)
    last = timezone.localdate() - timedelta(days=6)
    factories.series(lesion, [4.0, 3.4], last=last)
    factories.prescription(
        of=lesion.limb,
        lesions=[lesion],
        device_class="total_contact_cast",
        fitted_on=last,
        sealed_on=last,
        open_by=last + timedelta(days=7),
    )
    return nurse, lesion


def fill_the_rest(page, lesion):
    page.fill(f"[name=lesion-{lesion.pk}-length_mm]", "24")
    page.fill(f"[name=lesion-{lesion.pk}-width_mm]", "16")
    page.check(f"[name=lesion-{lesion.pk}-debridement][value=before]")
    page.check("[name=device_opened]")
    page.check("[name=next_in][value='7']")


def steps_top(sheet):
    return sheet.locator("ol.steps").bounding_box()["y"]


def number_of_the_hour(site, urgency="immediate"):
    from clinic.rules.reads.clocks import telephone_now

    site.refresh_from_db()
    return telephone_now(site, timezone.now(), urgency)[0]


def test_the_sheet_works_without_network_and_the_flag_is_sent_once(visitor, case):
    nurse, lesion = case
    page = visitor.page
    visitor.sign_in(nurse)
    visitor.open(f"/people/{lesion.limb.person_id}/visits/new/")
    before = Visit.objects.count()

    page.context.set_offline(True)
    page.get_by_label("Foot newly cold, pale or blue").check()
    sheet = page.get_by_role("dialog")
    expect(sheet).to_be_visible()
    steps = sheet.locator("ol.steps > li h3").all_inner_texts()
    assert steps == ["Device", "Call", "By when", "What was done"]
    expect(sheet).to_contain_text("Open the non-removable device on the left foot now")
    ambulance, own = sheet.locator(".emergency-number"), sheet.locator("[data-number]")
    expect(ambulance).to_have_text("112")
    assert ambulance.bounding_box()["y"] < steps_top(sheet) < own.bounding_box()["y"]
    expect(sheet.locator("[data-number]")).to_have_text(number_of_the_hour(lesion.limb.person.site))
    expect(sheet).to_contain_text("First the foot team, then the ward.")
    expect(sheet.locator("[data-by]")).to_contain_text("At once")
    expect(sheet.locator("[data-flag=cold_pale_blue_foot]")).to_be_visible()
    expect(sheet.locator("[data-flag=gangrene]")).to_be_hidden()
    assert not visitor.axe_faults()
    sheet.get_by_label("Spoke to team").check()
    sheet.get_by_label("Who was called").fill("Foot team, Dr on call answered; ambulance on its way")
    sheet.get_by_role("button", name="Back to the page").click()

    fill_the_rest(page, lesion)
    page.get_by_role("button", name="Save visit").click()
    expect(page.locator("#draft")).to_contain_text("Not yet sent")
    expect(page.locator("[data-sending]")).to_contain_text("Not yet sent: no network")
    assert page.input_value("[name=flag_answer_note]").startswith("Foot team")
    assert page.input_value(f"[name=lesion-{lesion.pk}-length_mm]") == "24"
    assert (Visit.objects.count(), RedFlag.objects.count()) == (before, 0)

    page.context.set_offline(False)
    page.wait_for_url(f"**/lesions/{lesion.pk}/", timeout=30000)
    assert Visit.objects.count() == before + 1
    flag = RedFlag.objects.get()
    assert flag.flags == ["cold_pale_blue_foot"]
    assert flag.answer == "called"
    assert flag.answered_by == nurse
    assert "ambulance" in flag.answer_note
    # Requests given up for want of a network are what this test is about; nothing else went wrong.
    network = ("ERR_INTERNET_DISCONNECTED", "htmx:sendError", "htmx:afterRequest", "Failed to fetch")
    assert [fault for fault in visitor.faults if not any(words in fault for words in network)] == []
    visitor.faults.clear()


def test_an_answer_left_open_leads_to_the_flag_and_a_slower_flag_has_its_clock_time(visitor, case):
    nurse, lesion = case
    page = visitor.page
    visitor.sign_in(nurse)
    visitor.open(f"/people/{lesion.limb.person_id}/visits/new/")
    page.get_by_label("suspected acute Charcot").check()
    sheet = page.get_by_role("dialog")
    expect(sheet.locator("[data-by]")).to_contain_text("By ")
    site = lesion.limb.person.site
    slower = number_of_the_hour(site, "one_working_day")
    assert slower != number_of_the_hour(site)
    expect(sheet.locator("[data-number]")).to_have_text(slower)
    expect(sheet.locator(".offload")).to_be_visible()
    page.keyboard.press("Escape")
    fill_the_rest(page, lesion)
    page.get_by_role("button", name="Save visit").click()
    page.wait_for_url("**/flags/*/answer/")
    assert RedFlag.objects.get().answer == ""


def test_without_a_script_the_sheet_stands_open_under_the_questions(browser, live_server, case):
    from django.conf import settings
    from django.test import Client

    nurse, lesion = case
    client = Client()
    client.force_login(nurse)
    context = browser.new_context(java_script_enabled=False)
    name = settings.SESSION_COOKIE_NAME
    context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
    page = context.new_page()
    page.goto(f"{live_server.url}/people/{lesion.limb.person_id}/visits/new/")
    expect(page.locator("#flag-sheet")).to_be_hidden()
    page.get_by_label("Any black or dead tissue").check()
    expect(page.locator("#flag-sheet")).to_be_visible()
    expect(page.locator("#flag-sheet")).to_contain_text("000 1000")
    expect(page.locator("#flag-sheet")).to_contain_text("000 2000")
    # The other urgency a red flag can have, by either hour.
    expect(page.locator("#flag-sheet")).to_contain_text("000 1001")
    expect(page.locator("#flag-sheet")).to_contain_text("000 2001")
    context.close()
