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
            dressing="foam",
        )
        for wound in wounds:
            factories.measurement(at=at, of=wound, cm2=1.5, method="ellipse", debridement="before")
    factories.prescription(of=limb, lesions=wounds, fitted_on=today - timedelta(days=21))
    return person, wounds


#: What one visit without news may cost at most; two lesions may cost their own questions and nothing more.
ALLOWED = {1: (14, 4), 2: (18, 8)}


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
        hand.choose(f"[name={head}-infection][value=none]")
    expect(page.locator(".live").last).to_contain_text("cm²")
    hand.choose("[name=fall][value=no]")
    hand.choose("[name=other_foot][value=clear]")
    hand.choose("[name=device_condition][value=sound]")
    hand.choose("[name=wear][value=most]")
    hand.choose("[name=dressing_same]")
    hand.choose("[name=next_in_7]")
    hand.touch(page.get_by_role("button", name="Save visit"))
    page.wait_for_url("**/lesions/*/" if lesions == 1 else f"**/people/{person.pk}/")
    page.wait_for_load_state("networkidle")

    stored = Visit.objects.get(person=person, visited_on=timezone.localdate())
    assert stored.measurements.count() == lesions
    assert (stored.dressing, stored.wear, stored.fall) == ("foam", "most", False)
    with capsys.disabled():
        print(
            f"\n{lesions} unchanged lesion{'s' if lesions > 1 else ''}, Today to saved: {hand.touches} "
            "touches, "
            f"{hand.keys} keystrokes, {hand.seconds:.2f} s of server time in {hand.requests} requests"
        )
    touches, keys = ALLOWED[lesions]
    assert hand.touches <= touches
    assert hand.keys <= keys
