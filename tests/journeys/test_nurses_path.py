"""From Today to a saved visit with nothing new: touches, keystrokes and the server's share of the wait,
counted.
"""

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from clinic.models import Visit
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


class Hand:
    """A nurse's hand: every touch and key is counted, and how long the server took to answer."""

    def __init__(self, page):
        self.page, self.touches, self.keys, self.seconds, self.requests = page, 0, 0, 0.0, 0
        page.on("requestfinished", self._answered)

    def _answered(self, request):
        if request.resource_type in ("document", "xhr", "fetch"):
            timing = request.timing
            self.seconds += max(0.0, timing["responseStart"] - timing["requestStart"]) / 1000
            self.requests += 1

    def touch(self, place):
        place.click()
        self.touches += 1

    def choose(self, selector):
        self.touch(self.page.locator(f"label:has({selector})"))

    def type(self, selector, text):
        self.touch(self.page.locator(selector))
        self.page.keyboard.type(text)
        self.keys += len(text)


#: Last week's row of each lesion.
LAST_WEEK = {"method": "ellipse", "debridement": "before", "tissue": "granulating", "dressing": "foam"}


def booked(site, lesions):
    today = timezone.localdate()
    person = factories.person(at=site)
    factories.weight(of=person)
    limb = factories.limb(of=person)
    wounds = [factories.lesion(on=limb, place=place) for place in ("mth_1", "mth_4")[:lesions]]
    for back in (21, 14, 7):
        at = factories.visit(
            of=person,
            on=today - timedelta(days=back),
            next_on=today - timedelta(days=back - 7),
        )
        for wound in wounds:
            factories.measurement(at=at, of=wound, cm2=1.5, **LAST_WEEK)
    factories.prescription(of=limb, lesions=wounds, fitted_on=today - timedelta(days=21))
    return person, wounds


#: What one visit without news may cost at most; two lesions may cost their own questions and nothing more.
ALLOWED = {1: (12, 4), 2: (17, 8)}


@pytest.mark.parametrize("lesions", [1, 2])
def test_a_visit_without_news_is_logged_in_a_few_touches(visitor, transactional_db, capsys, lesions):
    site = factories.site()
    nurse = factories.user("staff", at=site)
    person, wounds = booked(site, lesions)
    page = visitor.page
    visitor.resize("tablet")
    visitor.sign_in(nurse)
    visitor.open("/today/")
    hand = Hand(page)

    hand.touch(page.get_by_role("link", name="Log visit").first)
    page.wait_for_url("**/visits/new/")
    hand.choose("[name=red_flags][value=none]")
    for wound in wounds:
        head = f"lesion-{wound.pk}"
        hand.type(f"[name={head}-length_mm]", "16")
        hand.type(f"[name={head}-width_mm]", "12")
        hand.choose(f"[name={head}-debridement][value=before]")
        hand.choose(f"[name={head}-nothing_found]")
        hand.choose(f"[name={head}-unchanged]")
    expect(page.locator(".live").last).to_contain_text("cm²")
    hand.choose("[name=asked_none]")
    hand.choose("[name=looked_clear]")
    hand.choose("[name=wear][value=most]")
    hand.choose("[name=next_in][value='7']")
    hand.touch(page.get_by_role("button", name="Save visit"))
    page.wait_for_url("**/lesions/*/" if lesions == 1 else f"**/people/{person.pk}/")
    page.wait_for_load_state("networkidle")

    stored = Visit.objects.get(person=person, visited_on=timezone.localdate())
    assert stored.measurements.count() == lesions
    assert {(row.dressing, row.infection_looked) for row in stored.measurements.all()} == {("foam", True)}
    assert (stored.wear, stored.fall) == ("most", False)
    assert (stored.other_foot, stored.device_condition) == ("clear", "sound")
    with capsys.disabled():
        print(
            f"\n{lesions} unchanged ulcer{'s' if lesions > 1 else ''}, Today to saved: {hand.touches} "
            "touches, "
            f"{hand.keys} keystrokes, {hand.seconds:.2f} s of server time in {hand.requests} requests"
        )
    touches, keys = ALLOWED[lesions]
    assert hand.touches <= touches
    assert hand.keys <= keys
