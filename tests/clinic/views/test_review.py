"""The review page opens each lesion and belongs to the podiatrist."""

from tests import factories
from tests.clinic.selectors.test_review import COURSES, lesion_with


def test_each_lesion_is_a_link_with_its_reason_device_and_trajectory(as_podiatrist, site):
    lesion = lesion_with(site, COURSES["worsening"])
    p = factories.prescription(of=lesion.limb, lesions=[lesion])
    page = as_podiatrist.get("/review/").content.decode()
    assert f'class="open" href="/lesions/{lesion.pk}/"' in page
    assert f'href="/prescriptions/{p.pk}/"' in page
    assert "Larger over the last two visits together" in page
    assert '<svg class="spark"' in page
    assert "style=" not in page


def test_an_empty_list_says_so(as_podiatrist, site):
    assert "No open lesion at this clinic" in as_podiatrist.get("/review/").content.decode()


def test_it_is_the_podiatrists_page_of_their_own_site(as_podiatrist, as_staff, as_manager, other_site):
    assert as_staff.get("/review/").status_code == 403
    assert as_manager.get("/review/").status_code == 403
    assert as_podiatrist.get(f"/review/?site={other_site.pk}").status_code == 404
