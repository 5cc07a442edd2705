"""A clinic with one podiatrist and a known severe ischaemia: the second signature comes by telephone, the
walker is worn unsealed, and it is sealed once the confirmation is there.
"""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.models import DangerOwner, Prescription
from tests import factories, feet
from tests.journeys.touch import sent

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def lesion(transactional_db):
    site = factories.site(name="Alder Lane clinic")
    factories.user("podiatrist", at=site)
    person = factories.person(at=site)
    factories.weight(of=person, kg=82)
    lesion = factories.lesion(on=factories.limb(of=person, side="right"))
    feet.clean_foot(lesion, toe_pressure_mmhg=25, deformity="small", rigid_deformity=False)
    return lesion


def fill_list(page):
    """Every step of the fitting list done."""
    for step in page.locator("fieldset.step").all():
        step.get_by_label("Done", exact=True).check()


def test_the_only_podiatrist_decides_with_an_outside_clinician_by_telephone(visitor, lesion):
    page, limb = visitor.page, lesion.limb
    visitor.sign_in(limb.person.site.members.get())
    # The danger is known, and a team has it.
    visitor.open(f"/people/{limb.person_id}/")
    page.get_by_role("link", name="Who has it").first.click()
    page.get_by_label("Ischaemia grade 3").check()
    page.get_by_label("Team that has it from now on").fill("vascular team, city hospital")
    page.get_by_label("Seen there next on").fill((timezone.localdate() + timedelta(days=20)).isoformat())
    sent(page, "Record who has it")
    assert DangerOwner.objects.get().team == "vascular team, city hospital"

    visitor.open(f"/limbs/{limb.pk}/prescribe/")
    page.check("[name=needs_frequent_dressing][value=no]")
    for fact in page.locator("#asked-fields fieldset").all():
        if fact.locator("[value=no]").count() and not fact.locator(":checked:not([value=''])").count():
            fact.locator("[value=no]").check()
    page.check("[name=device_available][value=yes]")
    page.wait_for_load_state("networkidle")
    with page.expect_navigation():
        page.get_by_role("button", name="Work out the advice").click()
    page.get_by_text("Withheld, and why").click()
    assert "needs a second signature" in page.locator("[data-message=override_second]").inner_text()
    page.check("[name=device_class][value=walker_non_removable]")
    page.select_option("[name=departure_reason]", label="Other clinical finding")
    page.fill("[name=reason]", "No bypass is possible; the team wants the load off at every step.")
    page.get_by_role("button", name="Sign prescription").click()
    page.wait_for_url("**/prescriptions/*/")
    line = page.locator("[data-message=override]").first
    assert "Signed against a known danger" in line.inner_text()
    for size in ("desktop", "tablet"):
        visitor.resize(size)
        box, height = line.bounding_box(), page.viewport_size["height"]
        assert box["y"] + 40 < height, f"the red line stands below the fold at {size}"

    page.get_by_role("link", name="Second signature by telephone").click()
    page.get_by_label("Name of the outside clinician").fill("Dr Ines Falk")
    page.get_by_label("Role").fill("vascular surgeon on call")
    page.get_by_label("Number").fill("000 4455")
    page.get_by_role("button", name="Record the agreement").click()
    page.wait_for_url("**/prescriptions/*/")
    assert "to be confirmed by" in line.inner_text()

    made = Prescription.objects.get()
    visitor.open(f"/prescriptions/{made.pk}/fit/")
    fill_list(page)
    sent(page, "Record the fitting")
    made.refresh_from_db()
    assert made.fitted_on
    assert made.sealed_on is None

    visitor.open("/today/")
    assert "stays unsealed" in page.locator("ul.rows > li", has_text=limb.person.family_name).inner_text()
    page.get_by_role("link", name="confirm the second signature").click()
    page.get_by_label("Confirmed how").fill("letter of today, scanned")
    page.get_by_role("button", name="Record the confirmation").click()
    page.wait_for_url("**/prescriptions/*/")

    page.get_by_role("link", name="Opening card").click()
    page.get_by_label("Must be opened by").fill((timezone.localdate() + timedelta(days=6)).isoformat())
    sent(page, "Make the card")
    sent(page, "The patient has the card")
    visitor.open(f"/prescriptions/{made.pk}/fit/")
    fill_list(page)
    page.get_by_label("Sealed: the patient cannot take it off").check()
    page.get_by_label("Open by").fill((timezone.localdate() + timedelta(days=6)).isoformat())
    page.get_by_label("Bandage ends below the knee (cm)").fill("4")
    page.get_by_label("Skin to check at the next visit").fill("shin edge, ankle bones")
    page.get_by_label("Next review").fill((timezone.localdate() + timedelta(days=6)).isoformat())
    page.get_by_role("button", name="Record the fitting").click()
    page.wait_for_url("**/prescriptions/*/")
    made.refresh_from_db()
    assert made.sealed_on == timezone.localdate()
    assert not visitor.faults
