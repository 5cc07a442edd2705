"""Clinic staff: from signing in to a logged visit that shows everywhere at once."""

import pytest
from django.utils import timezone

from clinic.models import Visit
from tests import factories
from tests.journeys.touch import unfold

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def lesion(transactional_db):
    site = factories.site(name="Alder Lane clinic")
    factories.user("staff", at=site, username="nurse", password="a long pass phrase")
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site)))
    factories.weight(of=lesion.limb.person)
    last_week = timezone.localdate() - timezone.timedelta(days=7)
    factories.series(lesion, [3.0, 2.6, 2.2, 1.9], last=last_week)
    return lesion


def fill(page, lesion, *, length, width):
    page.check("[name=red_flags][value=none]")
    page.fill(f"[name=lesion-{lesion.pk}-length_mm]", str(length))
    page.fill(f"[name=lesion-{lesion.pk}-width_mm]", str(width))
    page.check(f"[name=lesion-{lesion.pk}-debridement][value=before]")
    unfold(page, f"[name=lesion-{lesion.pk}-infection]")
    page.check(f"[name=lesion-{lesion.pk}-infection][value=none]")
    page.check("[name=next_in][value='7']")


def test_a_visit_logged_in_the_browser_shows_on_today_chart_and_verdict(visitor, lesion):
    page = visitor.page
    page.goto(visitor.base + "/")
    page.fill("[name=username]", "nurse")
    page.fill("[name=password]", "a long pass phrase")
    page.click("button.main")
    page.wait_for_url("**/today/")
    assert page.get_by_role("heading", name="Expected today").count() == 1

    visitor.open(f"/lesions/{lesion.pk}/")
    chart_before = page.locator("figure img").get_attribute("src")
    verdict_before = page.locator(".verdict").inner_text()

    visitor.open("/today/")
    page.get_by_role("link", name="Log visit").first.click()
    page.wait_for_url("**/visits/new/")
    fill(page, lesion, length=30, width=24)
    page.wait_for_selector("main >> text=5.65 cm²")  # π/4 · 30 · 24 mm², live, before saving
    page.get_by_role("button", name="Save visit").click()
    page.wait_for_url("**/lesions/*/")

    visitor.open(f"/lesions/{lesion.pk}/")
    page.locator("summary", has_text="Measurements").click()
    assert page.locator("figure img").get_attribute("src") != chart_before
    assert page.locator(".verdict").inner_text() != verdict_before
    assert "5.65 cm²" in page.locator("table.measurements").inner_text()
    visitor.open("/today/")
    due = page.get_by_role("region", name="Expected today")
    assert "Nobody is due" in due.inner_text()
    assert due.get_by_role("link", name="Log visit").count() == 0


def test_a_double_click_stores_the_visit_once(visitor, lesion):
    page = visitor.page
    visitor.sign_in(lesion.limb.person.site.members.get())
    visitor.open(f"/people/{lesion.limb.person_id}/visits/new/")
    before = Visit.objects.count()
    fill(page, lesion, length=14, width=11)
    page.get_by_role("button", name="Save visit").dblclick()
    page.wait_for_url("**/lesions/*/")
    assert Visit.objects.count() == before + 1


def test_the_same_form_sent_again_finds_the_visit_it_made(visitor, lesion):
    page = visitor.page
    visitor.sign_in(lesion.limb.person.site.members.get())
    visitor.open(f"/people/{lesion.limb.person_id}/visits/new/")
    before = Visit.objects.count()
    fill(page, lesion, length=14, width=11)
    # The answer is lost on the way; the nurse presses the button again.
    sent = page.evaluate(
        """async () => {
          const form = document.querySelector("form[method=post]:has([name=submission_key])");
          const codes = [];
          for (let i = 0; i < 2; i += 1) {
            const body = new FormData(form);
            codes.push((await fetch(form.action || location.href, {method: "POST", body})).status);
          }
          return codes;
        }"""
    )
    assert sent == [200, 200]
    assert Visit.objects.count() == before + 1


def test_what_was_typed_survives_a_form_that_needs_another_look(visitor, lesion):
    page = visitor.page
    visitor.sign_in(lesion.limb.person.site.members.get())
    visitor.open(f"/people/{lesion.limb.person_id}/visits/new/")
    page.fill(f"[name=lesion-{lesion.pk}-length_mm]", "11")
    unfold(page, "[name=note]")
    page.fill("[name=note]", "typed before the fault")
    page.get_by_role("button", name="Save visit").click()
    page.wait_for_selector(".errors")
    assert page.input_value("[name=note]") == "typed before the fault"
    assert page.input_value(f"[name=lesion-{lesion.pk}-length_mm]") == "11"
    assert Visit.objects.filter(visited_on=timezone.localdate()).count() == 0
