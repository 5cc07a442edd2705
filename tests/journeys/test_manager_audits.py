"""The manager: a figure, its cases, one prescription, and the file."""

import pytest

from clinic.models import AuditEvent
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def manager(transactional_db):
    site = factories.site(name="Alder Lane clinic")
    for n in range(6):
        limb = factories.limb(of=factories.person(at=site))
        lesion = factories.lesion(on=limb)
        departs = n < 2
        factories.prescription(
            of=limb,
            lesions=[lesion],
            agrees=not departs,
            departure_reason="person_declines" if departs else "",
            reason=f"Case {n}: said in words.",
        )
    return factories.user("manager", at=site)


def test_a_figure_opens_the_cases_behind_it(visitor, manager):
    page = visitor.page
    visitor.sign_in(manager)
    visitor.open("/")
    page.wait_for_url("**/audit/")
    assert "4 of 6" in page.locator("main").inner_text()
    page.get_by_role("link", name="The patient declines it").first.click()
    page.wait_for_url("**/audit/cases/**")
    assert "said in words" in page.locator("main").inner_text()
    page.locator("main a[href^='/prescriptions/']").first.click()
    page.wait_for_url("**/prescriptions/*/")
    assert "Why this device" in page.content()


def test_the_file_is_itself_in_the_audit(visitor, manager):
    visitor.sign_in(manager)
    answer = visitor.page.request.get(f"{visitor.base}/audit/cases.csv")
    assert answer.ok
    assert len(answer.text().strip().splitlines()) == 7
    assert AuditEvent.objects.filter(verb="exported").count() == 1
