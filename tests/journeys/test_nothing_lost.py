"""What is typed survives the network, the page and the other tab; it is sent once, and sealed while it
waits.
"""

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from clinic.models import Measurement, Visit
from tests.journeys.touch import unfold, visit_page

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def fill_visit(page, lesion, length="14"):
    page.check("[name=red_flags][value=none]")
    page.fill(f"[name=lesion-{lesion.pk}-length_mm]", length)
    page.fill(f"[name=lesion-{lesion.pk}-width_mm]", "11")
    page.check(f"[name=lesion-{lesion.pk}-debridement][value=before]")
    page.check("[name=next_in][value='7']")
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
    expect(page.locator("main")).to_contain_text("stored as a visit")
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
    both = other.get_by_role("region", name="Where the two differ")
    expect(both).to_contain_text("1.21 cm²")  # π/4 · 14 · 11 mm², stored
    expect(both).to_contain_text("1.64 cm²")  # π/4 · 19 · 11 mm², typed
    assert not tablet.axe_faults()
    assert other.input_value(f"[name=lesion-{lesion.pk}-length_mm]") == "19"
    stored = Measurement.objects.get(visit__visited_on=timezone.localdate())
    assert str(stored.length_mm) == "14.0"


def test_two_tabs_correct_one_visit_and_both_versions_are_shown_before_one_is_kept(tablet, lesion):
    page = visit_page(tablet, lesion)
    stored = Visit.objects.latest("visited_on")
    tabs = [page, page.context.new_page()]
    for number, tab in enumerate(tabs):
        tab.goto(tablet.base + f"/visits/{stored.pk}/correct/")
        unfold(tab, "[name=note]")
        tab.fill("[name=note]", f"note {number}")
        tab.fill("[name$=-length_mm]", "18")
        tab.fill("[name$=-width_mm]", "12")
        tab.fill("[name=reason]", "typed wrongly")
        tab.check("[name$=-debridement][value=before]")
    save = "button:text-is('Save the correction')"
    tabs[0].locator(save).tap()
    tabs[0].wait_for_url(f"**/visits/{stored.pk}/")
    tabs[1].locator(save).tap()
    both = tabs[1].get_by_role("region", name="Where the two differ")
    expect(both).to_contain_text("note 0")
    expect(both).to_contain_text("note 1")
    stored.refresh_from_db()
    assert stored.note == "note 0"
    tabs[1].locator(save).tap()
    tabs[1].wait_for_url(f"**/visits/{stored.pk}/")
    stored.refresh_from_db()
    assert stored.note == "note 1"


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
    page.goto("about:blank")  # nothing is under way any more
    page.context.clear_cookies()
    tablet.sign_in(lesion.limb.person.site.members.get(username="pod"))
    tablet.open(f"/people/{lesion.limb.person_id}/visits/new/")
    assert page.locator(".draft-bar").count() == 0
    assert page.input_value(f"[name=lesion-{lesion.pk}-length_mm]") == ""
