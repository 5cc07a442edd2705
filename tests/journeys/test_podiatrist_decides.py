"""The podiatrist: from the review list to a signed device and a signed, printed relief plan."""

import pytest
from django.utils import timezone

from clinic.models import Prescription
from offload.models import ReliefPlan
from tests import factories, factories_care, feet
from tests.journeys.touch import sent

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def lesion(transactional_db):
    site = factories.site(name="Alder Lane clinic")
    factories.user("podiatrist", at=site)
    person = factories.person(at=site)
    factories.weight(of=person, kg=82)
    limb = factories.limb(of=person, side="right", foot_length_mm=260, foot_breadth_mm=98)
    lesion = factories.lesion(on=limb)
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
    visits = factories.series(lesion, [2.0, 1.9, 1.9, 1.95, 1.9])
    visits[-1].measurements.update(**feet.CLEAN_LOOK)
    return lesion


def test_from_the_review_list_to_a_signed_device(visitor, lesion):
    page = visitor.page
    visitor.sign_in(lesion.limb.person.site.members.get())
    visitor.open("/review/")
    page.get_by_role("link", name=lesion.limb.person.family_name).first.click()
    page.wait_for_load_state("networkidle")
    visitor.open(f"/lesions/{lesion.pk}/")
    assert "Slow" in page.locator(".verdict").inner_text()
    page.get_by_role("link", name="Prescribe a device").click()
    page.wait_for_url("**/prescribe/")
    for fact in ("needs_frequent_dressing", "over_weight_limit"):
        page.check(f"[name={fact}][value=no]")
    page.check("[name=device_available][value=yes]")
    page.wait_for_load_state("networkidle")
    page.wait_for_selector("[name=device_class][value=total_contact_cast]")
    page.check("[name=device_class][value=total_contact_cast]")
    page.fill("[name=reason]", "Stalled in shoes; neuropathic and clean, so a cast first.")
    page.get_by_role("button", name="Sign prescription").click()
    page.wait_for_url("**/prescriptions/*/")
    made = Prescription.objects.get()
    assert (made.device_class, made.agrees) == ("total_contact_cast", True)
    assert "a cast first" in page.content()


def test_moving_the_lesion_signing_the_plan_and_printing_it(visitor, lesion):
    page = visitor.page
    visitor.sign_in(lesion.limb.person.site.members.get())
    visitor.open(f"/limbs/{lesion.limb_id}/bench/")
    field = page.get_by_label("Along, from the heel (mm)")
    before = float(field.input_value())
    mark = page.locator("svg [tabindex='0']").first
    mark.focus()
    page.keyboard.press("ArrowUp")
    page.wait_for_load_state("networkidle")
    assert float(field.input_value()) == pytest.approx(before + 1, abs=0.051)
    page.get_by_role("button", name="Save draft").first.click()
    page.wait_for_url("**/plans/*/")
    assert "NOT SIGNED" in page.content()
    # The space closes under this ulcer, so a sentence is asked.
    page.fill("[name=shut_reason]", "Relief at the edge is what is wanted; seen again in a week.")
    sent(page, "Sign plan")
    plan = ReliefPlan.objects.get()
    assert plan.state == "signed"
    sheet = page.request.get(f"{visitor.base}/plans/{plan.code}/sheet-a4.pdf")
    assert sheet.ok
    assert sheet.body().startswith(b"%PDF")
