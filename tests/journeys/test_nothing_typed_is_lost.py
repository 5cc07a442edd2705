"""What is typed stays on the device until the server has said: stored, with this key. Situations × forms."""

import pytest
from django.contrib.sessions.models import Session
from playwright.sync_api import expect

from clinic.models import Person
from tests import factories
from tests.journeys.forms_sent import DRAFTS, FORMS, PASSWORD, SITUATIONS, FormHand
from tests.journeys.touch import unfold

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: All on the visit; each other form with one that leaves its page by the browser, not by htmx.
ON_OTHERS = {
    "referral": ("back button", "idle end"),
    "device": ("both cookies gone",),
    "bench": ("network out and back",),
    "maps": ("tablet in standby",),
    "person": ("reopened page",),
}
EXPECTED = (
    "[object HTML",
    "ERR_INTERNET_DISCONNECTED",
    "ERR_CONNECTION_REFUSED",
    "sendError",
    "422",
    "responseError",
    "403 (Forbidden)",
)


@pytest.fixture
def site(transactional_db):
    site = factories.site(name="Alder Lane clinic")
    factories.user("staff", at=site, username="nurse", password=PASSWORD)
    factories.user("podiatrist", at=site, username="pod", password=PASSWORD)
    return site


def try_out(tablet, site, form, situation):
    """One cell of the table: lost, stored twice, and what was said that is not so."""
    tablet.page.context.clear_cookies()
    tablet.sign_in(site.members.get(username=tablet.who))
    hand = FormHand(tablet, FORMS[form](site))
    SITUATIONS[situation](hand)
    stored = hand.form.stored()
    hand.looks_again()
    return {"lost": int(stored == 0), "twice": max(stored - 1, 0), "said falsely": hand.false}


def judge(tablet, site, cells):
    table = {}
    for form, situation in cells:
        try:
            table[form, situation] = try_out(tablet, site, form, situation)
        except Exception as fault:  # noqa: BLE001  the other cells are looked at all the same
            table[form, situation] = {"stopped": str(fault).splitlines()[:6]}
    # What the browser says of answers that the situations withhold or refuse.
    tablet.faults = [fault for fault in tablet.faults if not any(words in fault for words in EXPECTED)]
    print(*(f"{form:9} {situation:22} {cell}" for (form, situation), cell in table.items()), sep="\n")
    wrong = {
        cell: told for cell, told in table.items() if told != {"lost": 0, "twice": 0, "said falsely": []}
    }
    assert not wrong, wrong


def test_on_the_visit_nothing_is_lost_stored_twice_or_falsely_said(tablet, site):
    tablet.who = "nurse"
    judge(tablet, site, [("visit", situation) for situation in SITUATIONS])


def test_on_every_other_form_nothing_is_lost_stored_twice_or_falsely_said(tablet, site):
    tablet.who = "pod"
    judge(tablet, site, [(form, one) for form, situations in ON_OTHERS.items() for one in situations])


def test_another_person_who_signs_in_at_the_panel_sees_and_sends_nothing_of_it(tablet, site):
    tablet.sign_in(site.members.get(username="nurse"))
    hand = FormHand(tablet, FORMS["visit"](site))
    hand.fill()
    Session.objects.all().delete()
    hand.press()
    with hand.page.expect_event("load"):
        hand.signs_in("pod")
    hand.page.wait_for_selector("main form[data-tended=yes]")
    expect(hand.page.locator("header.top")).to_contain_text("pod")
    assert hand.page.input_value("[name=note]") == ""
    assert hand.page.locator(".draft-bar").count() == 0
    assert hand.form.stored() == 0
    # The live check of the page may have been asked after the sign-in had ended.
    tablet.faults = [fault for fault in tablet.faults if "/visits/check/" not in fault]
    # Handed back, it is there; and the code of nobody else was needed.
    hand.page.context.clear_cookies()
    tablet.sign_in(site.members.get(username="nurse"))
    hand.opened(hand.page)
    expect(hand.page.locator("[name=note]")).to_have_value("typed once")
    hand.press()
    hand.arrives()
    assert hand.form.stored() == 1
    assert not hand.false


def test_a_form_that_returns_to_its_own_address_and_one_that_stores_nothing_leave_no_word(tablet, site):
    """Nor a question of the browser when a link is pressed right after a key, nor a draft."""
    tablet.sign_in(site.members.get(username="pod"))
    hand = FormHand(tablet, FORMS["referral"](site))
    hand.fill()
    hand.press()
    hand.arrives()
    for words in ("their secretary", "their registrar"):
        hand.page.wait_for_selector("main form[data-tended=yes]")
        hand.page.locator("main form [name=result]").fill(words)
        with hand.page.expect_event("load"):
            hand.page.locator("main form button:not([type=button])").first.click()
        hand.page.wait_for_selector("main form[data-tended=yes]")
        hand.no_false_word("back at its own address")
        assert hand.page.locator(".draft-bar").count() == 0
        assert hand.page.evaluate(DRAFTS) == []
    hand = FormHand(tablet, FORMS["device"](site))
    hand.page.check("[name=device_available][value=yes]")
    with hand.page.expect_event("load"):
        hand.page.get_by_role("button", name="Work out the advice").click()
    hand.page.wait_for_selector("main form[data-tended=yes]")
    assert hand.page.locator(".draft-bar").count() == 0
    hand = FormHand(tablet, FORMS["visit"](site))
    unfold(hand.page, "[name=note]")
    hand.page.locator("[name=note]").type("a")
    hand.page.locator("header.top a[href='/people/']").click()
    hand.page.wait_for_url("**/people/")
    hand.opened(hand.page)
    expect(hand.page.locator("[name=note]")).to_have_value("a")
    assert not hand.false


def test_a_record_that_is_no_longer_there_keeps_what_was_typed(tablet, site):
    """As when an emergency reading ends meanwhile: the answer is "not found", the text comes back."""
    tablet.sign_in(site.members.get(username="nurse"))
    hand = FormHand(tablet, FORMS["referral"](site))
    hand.fill()
    Person.objects.update(site=factories.site())
    with hand.page.expect_event("load"):
        hand.press()
    Person.objects.update(site=site)
    hand.opened(hand.page)
    hand.page.get_by_role("button", name="Bring it back").click()
    assert hand.page.input_value("[name=because]") == "typed once"
    hand.press()
    hand.arrives()
    assert hand.form.stored() == 1
    tablet.faults = [fault for fault in tablet.faults if "404" not in fault]
