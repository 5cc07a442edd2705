"""What is decided on stands on the first screen of the bench and of a draft, on a desk and on a tablet: the
insole with its legend, the section, the proposal, the headline, and the button that goes on.
"""

from __future__ import annotations

import pytest
from django.utils import timezone

from offload.models import ReliefPlan
from tests import factories
from tests.journeys.conftest import SIZES
from tests.journeys.touch import sent

pytestmark = [pytest.mark.browser, pytest.mark.full_pressure, pytest.mark.django_db(transaction=True)]

PARTS = {
    "insole": "#insole-drawing",
    "legend": ".drawing-legend",
    "section": "#sections .section:not([hidden])",
    "inlay": ".inlay-lines",
    "headline": "#headline",
    "proposal": "#proposal",
}
ONE, TWO = ["mth_2"], ["mth_2", "heel_central"]
#: Where each part ends, from the top of the page; of several sections the one that is shown. [px]
ENDS = """(parts) => Object.fromEntries(Object.entries(parts).map(([name, where]) => {
  const shown = [...document.querySelectorAll(where)].filter((one) => one.checkVisibility());
  const ends = shown.map((one) => one.getBoundingClientRect().bottom + scrollY);
  return [name, ends.length ? Math.round(Math.max(...ends)) : null];
}))"""


@pytest.fixture
def limb(transactional_db):
    """A right foot whose blood flow is not known, so that the strip of dangers stands above."""
    person = factories.person(at=factories.site(name="Alder Lane clinic"))
    factories.user("podiatrist", at=person.site)
    factories.weight(of=person)
    return factories.limb(of=person, side="right")


def below(visitor, parts):
    """The parts that end below the window, at each size."""
    found = []
    for size, window in SIZES.items():
        visitor.resize(size)
        ends = visitor.page.evaluate(ENDS, parts)
        found += [(size, name, end) for name, end in ends.items() if end is None or end > window["height"]]
    return found


def lay_ring(page, ulcer):
    """A ring of soft foam round the opening of an ulcer, in the layer that is cut."""
    page.get_by_text("Inlays of other foam").click()
    page.select_option("[name=inlay0-foam]", "soft")
    page.select_option("[name=inlay0-around]", ulcer)
    page.fill("[name=inlay0-reach_mm]", "12")
    page.select_option("[name=inlay0-layer]", "1")
    sent(page, "Compute")


@pytest.mark.parametrize(
    ("places", "inlays", "walker"),
    [
        (ONE, 0, False),
        (TWO, 0, False),
        (ONE, 1, False),
        (TWO, 1, False),
        (TWO, 1, True),  # whose load factors make the sentences long
    ],
    ids=[
        "one ulcer",
        "two ulcers",
        "an inlay",
        "two ulcers and an inlay",
        "two ulcers and an inlay in a walker",
    ],
)
def test_what_is_decided_on_stands_on_the_first_screen(visitor, limb, places, inlays, walker):
    lesions = [factories.lesion(on=limb, place=place) for place in places]
    if walker:
        factories.prescription(of=limb, lesions=lesions, prescribed_on=timezone.localdate())
    page = visitor.page
    page.set_default_timeout(60000)  # the chances of two ulcers with an inlay are many solutions
    parts = {name: where for name, where in PARTS.items() if inlays or name != "inlay"}
    visitor.sign_in(limb.person.site.members.get())
    visitor.open(f"/limbs/{limb.pk}/bench/")
    if inlays:
        lay_ring(page, "A")
    sent(page, "Work out the chances")
    assert walker or page.locator(".suggestion").count() == 2, "the longest proposal is what is measured"
    assert below(visitor, {**parts, "save": ".title [value=save]"}) == []

    page.get_by_role("button", name="Save draft").first.click()
    page.wait_for_url("**/plans/*/")
    assert page.locator("#sign textarea").count() == inlays + 1, "each reason is asked"
    assert below(visitor, {**parts, "not signed": ".stop", "sign": "#sign button"}) == []


def test_each_ulcer_has_its_section_without_a_script(browser, visitor, limb, client):
    for place in ("mth_2", "heel_central"):
        factories.lesion(on=limb, place=place)
    visitor.sign_in(limb.person.site.members.get())
    context = browser.new_context(
        java_script_enabled=False, storage_state=visitor.page.context.storage_state()
    )
    page = context.new_page()
    page.goto(f"{visitor.base}/limbs/{limb.pk}/bench/")
    shown = page.locator("#sections .section:visible")
    assert "ulcer A" in shown.text_content()
    page.get_by_text("Ulcer B", exact=True).first.click()
    assert "ulcer B" in shown.text_content()
    page.get_by_role("button", name="Compute").click()
    assert "ulcer B" in shown.text_content(), "what is computed anew shows the same section"
    page.get_by_role("button", name="Save draft").first.click()
    page.wait_for_url("**/plans/*/")
    assert "ulcer A" in shown.text_content()
    page.get_by_text("Ulcer B", exact=True).first.click()
    assert "ulcer B" in shown.text_content()
    context.close()


def test_the_ulcer_that_is_moved_is_the_one_whose_section_shows(visitor, limb):
    for place in ("mth_2", "heel_central"):
        factories.lesion(on=limb, place=place)
    page = visitor.page
    visitor.sign_in(limb.person.site.members.get())
    visitor.open(f"/limbs/{limb.pk}/bench/")
    with page.expect_response("**/preview/"):
        page.locator(".lesion-mark").nth(1).focus()
        page.keyboard.press("ArrowUp")
    page.wait_for_selector(".result-column:not(.waiting)")
    assert "ulcer B" in page.locator("#sections .section:visible").text_content()
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.get_by_text("Ulcer A", exact=True).first.click()
    assert "ulcer A" in page.locator("#sections .section:visible").text_content()
    # A move is sent later than a choice would have been.
    with page.expect_response("**/preview/"):
        page.locator(".lesion-mark").first.focus()
        page.keyboard.press("ArrowUp")
    assert len(asked) == 1, "which section is shown computes nothing anew"
    assert not ReliefPlan.objects.exists()
