"""Forms under the hand: how each is filled and pressed, and the nine things that go wrong."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib.sessions.models import Session
from django.utils import timezone
from playwright.sync_api import expect

from clinic.models import LimbPlan, MeasuredMap, Person, Prescription, Referral, Visit
from tests import factories, factories_care, feet
from tests.clinic.fields.cases_relief import GRID, csv
from tests.journeys.touch import unfold

# What a page shows after an answer of the server; a busy machine is no fault of it.
expect.set_options(timeout=15000)
PASSWORD = "a long pass phrase"
DRAFTS = """Object.entries(localStorage).filter(([name]) => name.startsWith("draft:"))
  .map(([name, row]) => ({ name, ...JSON.parse(row), sealed: "" }))"""
NOT_SENT = re.compile(r"not sent|not yet sent|is not saved", re.IGNORECASE)


@dataclass(frozen=True)
class FormCase:
    """One form of one record: its address, how it is filled, its button, and what it stored so far."""

    address: str
    fill: Callable[[Any], None]
    button: str
    stored: Callable[[], int]


def case(site, **foot):
    person = factories.person(at=site)
    factories.weight(of=person, kg=82)
    limb = factories.limb(of=person, side="right", foot_length_mm=260, foot_breadth_mm=98, **foot)
    return factories.lesion(on=limb)


def visit(site):
    lesion = case(site)

    def fill(page):
        page.check("[name=red_flags][value=none]")
        page.fill(f"[name=lesion-{lesion.pk}-length_mm]", "14")
        page.fill(f"[name=lesion-{lesion.pk}-width_mm]", "11")
        page.check(f"[name=lesion-{lesion.pk}-debridement][value=before]")
        page.check("[name=next_in][value='7']")
        unfold(page, "[name=note]")
        page.fill("[name=note]", "typed once")

    held = Visit.objects.filter(person=lesion.limb.person, note="typed once")
    return FormCase(f"/people/{lesion.limb.person_id}/visits/new/", fill, "Save visit", held.count)


def referral(site):
    person = case(site).limb.person

    def fill(page):
        page.check("[name=to][value=vascular]")
        page.check("[name=urgency][value=planned]")
        page.fill("[name=because]", "typed once")

    held = Referral.objects.filter(person=person, because="typed once")
    return FormCase(f"/people/{person.pk}/referrals/new/", fill, "", held.count)


def device(site):
    lesion = case(site)
    limb, person = lesion.limb, lesion.limb.person
    factories.finding(of=limb, toe_pressure_mmhg=80, deformity="small", rigid_deformity=False, charcot="none")
    person.circumstances.create(
        asked_on=timezone.localdate(),
        high_falls_risk=False,
        cannot_attend_weekly=False,
        declines_non_removable=False,
        mobility="walks",
        created_by=factories.author(),
    )
    factories_care.bone(of=lesion)
    factories.series(lesion, [2.0, 1.9, 1.9, 1.95, 1.9])[-1].measurements.update(**feet.CLEAN_LOOK)

    def fill(page):
        for fact in ("needs_frequent_dressing", "over_weight_limit"):
            page.check(f"[name={fact}][value=no]")
        page.check("[name=device_available][value=yes]")
        page.wait_for_function("() => !document.querySelector('.htmx-request')")
        page.check("[name=device_class][value=total_contact_cast]")
        page.fill("[name=reason]", "typed once")

    held = Prescription.objects.filter(limb=limb, reason="typed once")
    return FormCase(f"/limbs/{limb.pk}/prescribe/", fill, "Sign prescription", held.count)


def bench(site):
    limb = case(site).limb

    def fill(page):
        page.get_by_label("Along, from the heel (mm)").fill("171")

    return FormCase(f"/limbs/{limb.pk}/bench/", fill, "Save draft", LimbPlan.objects.filter(limb=limb).count)


def maps(site):
    limb = case(site).limb

    def fill(page):
        for name, value in {
            **GRID,
            "grid": csv(),
            "kind": "peak",
            "taken": "shoe",
            "measured_on": f"{timezone.localdate()}",
        }.items():
            field = page.locator(f"[name={name}]").first
            if field.evaluate("field => field.tagName") == "SELECT":
                field.select_option(value)
            elif field.get_attribute("type") == "radio":
                page.check(f"[name={name}][value='{value}']")
            else:
                field.fill(value)
        page.check("[name=uncut]")
        page.fill("[name=worn]", "typed once")

    held = MeasuredMap.objects.filter(limb=limb, worn="typed once")
    return FormCase(f"/limbs/{limb.pk}/maps/", fill, "Keep the map", held.count)


def person(site):
    known = case(site).limb.person

    def fill(page):
        page.fill("[name=given_name]", "Typed")
        page.fill("[name=why]", "typed once")

    def held():
        changed = Person.history.filter(id=known.pk, given_name="Typed").values("version").distinct()
        return changed.count()

    return FormCase(f"/people/{known.pk}/edit/", fill, "Save the correction", held)


FORMS = {one.__name__: one for one in (visit, referral, device, bench, maps, person)}


class FormHand:
    """One hand on one form: what it does, and what the pages say that is not so."""

    def __init__(self, tablet, form):
        self.tablet, self.form = tablet, form
        self.false: list[str] = []
        self.page = self.opened(tablet.page)

    def opened(self, page):
        page.on("dialog", self._asked)
        page.goto(self.tablet.base + self.form.address)
        page.wait_for_selector("main form[data-tended=yes]")
        return page

    def _asked(self, dialog):
        self.false.append(f"a dialog: {dialog.type}")
        dialog.accept()

    def fill(self):
        self.form.fill(self.page)
        self.page.wait_for_selector("main form[data-kept=yes]")

    def press(self, **how):
        name = self.form.button
        button = self.page.get_by_role("button", name=name, exact=True) if name else None
        (button or self.page.locator("main form button:not([type=button])")).first.click(**how)

    def signs_in(self, username):
        panel = self.page.get_by_role("dialog")
        panel.get_by_label("Username").fill(username)
        panel.get_by_label("Password").fill(PASSWORD)
        panel.get_by_role("button", name="Sign in and send").click()

    def waits(self):
        expect(self.page.locator("main form").last).to_contain_text("Not yet sent")

    def arrives(self, *, said=False):
        """The page that the server leads to once the form is stored."""
        self.page.wait_for_url(lambda url: not url.endswith(self.form.address))
        self.page.wait_for_load_state()
        if said:
            expect(self.page.locator(".sent-bar")).to_have_count(1)
            expect(self.page.locator(".sent-bar a")).to_have_attribute("href", re.compile("^/"))
        self.no_false_word("after it arrived")

    def no_false_word(self, when):
        for line in self.page.locator(".note, [role=status]").all_inner_texts():
            if NOT_SENT.search(line):
                self.false.append(f"{when}: {line}")

    def looks_again(self):
        """The form opened anew: nothing is said to wait, and signing out warns of nothing."""
        self.opened(self.page)
        self.no_false_word("opened again")
        left = self.page.evaluate(DRAFTS)
        if left:
            self.false.append(f"left on the device: {left}")


# --- what goes wrong on the way ---
def idle_end(hand):
    hand.fill()
    Session.objects.all().delete()
    hand.press()
    hand.signs_in(hand.tablet.who)
    hand.arrives(said=True)


def both_cookies_gone(hand):
    hand.fill()
    hand.page.context.clear_cookies()
    hand.press()
    hand.signs_in(hand.tablet.who)
    hand.arrives(said=True)


def server_restarted(hand):
    """Killed between receipt and answer: it is stored, and nobody was told; then nobody listens; then it is
    back.
    """
    hand.fill()
    seen = []

    def down(route):
        if route.request.method == "GET" and not seen:
            return route.continue_()
        if not seen:
            seen.append(route.fetch(max_redirects=0).status)
        return route.abort("connectionrefused")

    places = ("**/draft-key/**", f"**{hand.form.address}")
    for place in places:
        hand.page.route(place, down)
    hand.press()
    hand.waits()
    assert hand.form.stored() == 1
    hand.press()
    hand.waits()
    for place in places:
        hand.page.unroute(place)
    hand.arrives(said=True)


def network_out_and_back(hand):
    hand.fill()
    hand.page.context.set_offline(True)
    hand.press()
    hand.waits()
    hand.page.context.set_offline(False)
    hand.arrives(said=True)


def reopened_page(hand):
    hand.fill()
    context = hand.page.context
    hand.page.close()
    hand.page = hand.tablet.page = hand.opened(context.new_page())
    bar = hand.page.locator(".draft-bar")
    expect(bar).to_contain_text("not sent")  # true: it was not
    back = bar.get_by_role("button", name="Bring it back")
    if back.count():
        back.click()
    hand.press()
    hand.arrives()


def two_tabs(hand):
    first = hand.page
    hand.page = second = hand.opened(first.context.new_page())
    hand.fill()
    second.fill("[name=note]", "typed in the second tab")
    hand.page = first
    hand.fill()
    hand.press()
    hand.arrives()
    hand.page = second
    hand.press()
    told = second.locator("[aria-label='Where the two differ'], .errors").first
    expect(told).to_be_visible()
    assert second.locator("main a[href^='/visits/']").count(), "no way to the stored visit"
    assert second.input_value("[name=note]") == "typed in the second tab"
    second.reload()
    expect(second.locator("[name=note]")).to_have_value("typed in the second tab")
    second.get_by_role("button", name="Discard it").click()
    second.close()
    hand.page = first


def back_button(hand):
    hand.fill()
    hand.press()
    hand.arrives()
    hand.page.go_back()
    hand.page.wait_for_selector("main form[data-tended=yes]")
    expect(hand.page.locator("main form").last).to_contain_text("was sent and stored")
    hand.no_false_word("after going back")
    hand.press()
    hand.arrives(said=True)


def double_press(hand):
    hand.fill()
    hand.press(click_count=2, delay=0)
    hand.arrives()


def tablet_in_standby(hand):
    hand.fill()
    devtools = hand.page.context.new_cdp_session(hand.page)
    devtools.send("Page.setWebLifecycleState", {"state": "frozen"})
    Session.objects.all().delete()
    devtools.send("Page.setWebLifecycleState", {"state": "active"})
    hand.press()
    hand.signs_in(hand.tablet.who)
    hand.arrives(said=True)


SITUATIONS = {
    one.__name__.replace("_", " "): one
    for one in (
        idle_end,
        both_cookies_gone,
        server_restarted,
        network_out_and_back,
        reopened_page,
        two_tabs,
        back_button,
        double_press,
        tablet_in_standby,
    )
}
