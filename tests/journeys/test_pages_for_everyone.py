"""Every main page of the invented clinic for each role: WCAG 2.2 AA by axe at both sizes and in both schemes,
the pages that decide at twice the text size too; nothing to scroll sideways, no console error, pages of a
stated height.
"""

import re

import pytest

from clinic.demo.packed import PACK, packed_until, unpack
from clinic.models import (
    AntibioticCourse,
    Lesion,
    LimbPlan,
    Look,
    MeasuredMap,
    NonHealingReview,
    OpeningCard,
    Person,
    Prescription,
    RedFlag,
    Referral,
    Result,
    User,
    Visit,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

#: Height on the tablet that a page keeps, its sections folded. [px]
BUDGETS = {
    r"/lesions/\d+/": 2400,
    r"/people/\d+/": 2400,
    r"/review/": 2400,
    r"/limbs/\d+/prescribe/": 2800,
    r"/audit/": 3200,
}
#: Pages asked at twice the text size too: those on which something is decided.
AT_TWICE_THE_TEXT = "|".join(
    [*BUDGETS, r"/today/", r"/people/\d+/visits/new/", r"/limbs/\d+/bench/", r"/plans/\w+/", r"/outcomes/"]
)


def budget_of(path):
    """What height a page of this address keeps; None where none is stated."""
    return next((px for address, px in BUDGETS.items() if re.fullmatch(address, path)), None)


def pages(role):
    """The main pages of a role, on people of the invented clinic with most to show."""
    person = Person.objects.get(family_name="Lanternhouse")
    lesion = Lesion.objects.filter(limb__person=person).first()
    prescription = Prescription.objects.filter(limb__person__family_name="Candlewick", stopped_on=None).get()
    plan = LimbPlan.objects.select_related("plan").get(plan__state="draft").plan
    signed = LimbPlan.objects.select_related("plan").filter(plan__state="signed").first().plan
    review = NonHealingReview.objects.get()
    result = Result.objects.get(kind="crp")
    course = AntibioticCourse.objects.get()
    everyone = [
        "/people/",
        f"/lesions/{course.lesion_id}/",
        f"/people/{result.person_id}/",
        f"/results/{result.pk}/",
        f"/antibiotics/{course.pk}/",
        f"/non-healing/{review.pk}/",
        "/people/?show=all",
        "/people/duplicates/",
        "/people/{}/merge/{}/".format(
            *(Person.objects.get(family_name=name).pk for name in ("Saltmarsh", "Saltmarch"))
        ),
        "/people/transfers/",
        f"/people/{person.pk}/",
        f"/lesions/{lesion.pk}/",
        f"/lesions/{lesion.pk}/?show=reduction",
        f"/lesions/{lesion.pk}/compare/",
        f"/lesions/{lesion.pk}/outlines/",
        "/repeatability/",
        f"/people/{person.pk}/curves/",
        f"/visits/{Visit.objects.filter(person=person).first().pk}/",
        f"/prescriptions/{prescription.pk}/",
        f"/prescriptions/{prescription.pk}/record/",
        f"/prescriptions/{prescription.pk}/advice-sheet/",
        f"/limbs/{prescription.limb_id}/decisions/",
        f"/plans/{signed.code}/",
        "/plans/predictions/",
        f"/maps/{MeasuredMap.objects.first().pk}/",
        f"/history/person/{person.pk}/",
        "/me/",
        "/second-factor/enrol/",
        "/problems/new/?page=today",
    ]
    stuck = Lesion.objects.get(limb__person__family_name="Saltmarsh", label="A")
    writers = [
        "/today/",
        "/today/preparation/",
        f"/lesions/{stuck.pk}/look/",
        f"/lesions/{stuck.pk}/non-healing/new/",
        f"/non-healing-items/{review.items.get(state='due').pk}/",
        f"/people/{person.pk}/results/new/",
        f"/results/{result.pk}/report/",
        f"/results/{result.pk}/seen/",
        f"/lesions/{lesion.pk}/antibiotics/new/",
        f"/antibiotics/{course.pk}/edit/",
        f"/antibiotics/{course.pk}/stop/",
        f"/cards/{OpeningCard.objects.first().pk}/",
        f"/prescriptions/{prescription.pk}/card/",
        "/people/new/",
        f"/people/{person.pk}/edit/",
        f"/people/{person.pk}/state/",
        f"/people/{person.pk}/weights/new/",
        f"/people/{person.pk}/circumstances/new/",
        f"/people/{person.pk}/photo-consent/",
        f"/people/{person.pk}/transfer/",
        f"/people/{person.pk}/lesions/new/",
        f"/people/{person.pk}/visits/new/",
        f"/people/{person.pk}/visits/missed/",
        f"/people/{person.pk}/contacts/new/",
        f"/people/{person.pk}/calls/new/",
        "/calls/new/",
        f"/limbs/{lesion.limb_id}/dangers/",
        f"/people/{person.pk}/referrals/new/",
        f"/plans/{signed.code}/cut/",
        f"/plans/{signed.code}/fit/",
        f"/plans/{signed.code}/contact/",
        f"/plans/{signed.code}/measured/",
        f"/limbs/{lesion.limb_id}/edit/",
        f"/limbs/{lesion.limb_id}/maps/",
        f"/limbs/{lesion.limb_id}/findings/new/",
        f"/lesions/{lesion.pk}/edit/",
        f"/lesions/{lesion.pk}/events/new/",
        f"/lesions/{lesion.pk}/photos/new/",
        f"/lesions/{lesion.pk}/imprint/",
        f"/lesions/{lesion.pk}/close/",
        f"/lesions/{lesion.pk}/end/",
        f"/visits/{Visit.objects.filter(person=person).first().pk}/correct/",
        f"/flags/{RedFlag.objects.first().pk}/answer/",
        f"/referrals/{Referral.objects.first().pk}/",
        f"/prescriptions/{prescription.pk}/open/",
        f"/prescriptions/{prescription.pk}/stop/",
        f"/prescriptions/{prescription.pk}/fit/",
    ]
    deciding = [
        "/review/",
        f"/review/lesions/{lesion.pk}/note/",
        f"/looks/{Look.objects.get(answer='').pk}/answer/",
        "/review/forecasts/",
        "/outcomes/",
        "/house-rules/",
        f"/limbs/{lesion.limb_id}/prescribe/",
        f"/lesions/{lesion.pk}/bone/new/",
        f"/limbs/{lesion.limb_id}/bench/",
        f"/plans/{plan.code}/",
    ]
    managing = [
        "/audit/",
        "/audit/cases/",
        "/audit/completeness/",
        "/audit/completeness/list/?gap=perfusion",
        "/audit/reports/",
        "/audit/peer/",
        "/audit/peer/new/",
        "/audit/changes/",
        "/outcomes/",
        "/house-rules/",
        "/house-rules/foams/",
        "/settings/",
        "/settings/reasons/",
        "/settings/reasons/stop/broken/",
        "/accounts/",
        "/accounts/new/",
        f"/accounts/{User.objects.get(role='staff').pk}/",
        f"/people/{person.pk}/rights/",
        "/break-glass/",
    ]
    return {
        "staff": everyone + writers,
        "podiatrist": everyone + writers[:1] + deciding,
        "manager": everyone + managing,
    }[role]


# Two families of roles, so that two workers look at once; the clinic is played for each.
@pytest.mark.parametrize("roles", [("staff",), ("podiatrist", "manager")], ids=" and ".join)
def test_main_pages_pass_axe_at_both_sizes(visitor, invented_clinic, roles):
    found, seen = [], set()
    for role in roles:
        visitor.sign_in(User.objects.filter(role=role).earliest("pk"))
        for path in pages(role):
            visitor.open(path)
            # Layout depends on the size alone and colours on the scheme alone: two runs meet all four. The
            # tablet meets a page as it opens, the desktop with every section unfolded.
            for size, scheme in (("tablet", "dark"), ("desktop", "light")):
                visitor.resize(size)
                visitor.page.emulate_media(color_scheme=scheme)
                if size == "tablet" and (budget := budget_of(path)):
                    seen.add(re.sub(r"\d+", "1", path))
                    if (height := visitor.height()) > budget:
                        found.append(f"{role} {path} is {height} px high on the tablet, not {budget}")
                if size == "desktop":
                    visitor.unfold()
                found += [f"{role} {path} {size} {scheme} {fault}" for fault in visitor.axe_faults()]
                for text in (100, 200):
                    wider = visitor.wider_than_the_window(text)
                    if wider > 0:
                        found.append(f"{role} {path} {size}, text {text} %, scrolls sideways by {wider} px")
            if re.fullmatch(AT_TWICE_THE_TEXT, path) and role != "staff" or path == "/today/":
                with visitor.text_of(200):
                    found += [f"{role} {path} text 200 % {fault}" for fault in visitor.axe_faults()]
    assert not found, "\n".join(found)
    assert len(seen) == (2 if roles == ("staff",) else len(BUDGETS)), "a page of a stated height was not met"


def test_the_audit_of_a_year_of_a_full_clinic_keeps_its_height_with_a_notice(visitor, transactional_db):
    unpack(PACK)
    until = packed_until(PACK)
    manager = User.objects.filter(role="manager").earliest("pk")
    # Somebody who left in a device: the page says so above the figures.
    left = Person.objects.filter(state="moved").latest("pk")
    running = Prescription.objects.filter(limb__person=left).latest("pk")
    Prescription.objects.filter(pk=running.pk).update(stopped_on=None, stop_reason="")
    visitor.sign_in(manager)
    visitor.resize("tablet")
    visitor.open(f"/audit/?since={until.replace(year=until.year - 1)}&until={until}")
    assert visitor.page.locator("[data-message=ends_to_settle]").is_visible()
    assert visitor.page.locator(".agreement .figure").is_visible()
    assert visitor.height() <= budget_of("/audit/")


def test_the_table_of_measurements_is_whole_on_the_tablet(visitor, lesion):
    measured = lesion.measurements.order_by("pk").last()
    measured.depth, measured.tissue, measured.infection_grade = "subcutaneous", "slough", 1
    measured.save()
    visitor.sign_in(lesion.limb.person.site.members.get(username="pod"))
    visitor.resize("tablet")
    # The address opens the section.
    visitor.open(f"/lesions/{lesion.pk}/#measurements")
    table = visitor.page.locator("table.measurements")
    assert table.is_visible()
    cut = table.evaluate("one => one.scrollWidth - one.closest('.wide').clientWidth")
    assert cut <= 0, f"the table is cut by {cut} px"


def test_the_sign_in_page_passes_axe(visitor, transactional_db):
    visitor.open("/sign-in/")
    assert not visitor.axe_faults()
