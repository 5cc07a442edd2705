"""The review page opens each lesion, takes a look with a note, and belongs to the podiatrist."""

from clinic.models import ReviewNote
from tests import factories
from tests.clinic.week.reads.test_review import COURSES, lesion_with


def test_each_lesion_is_a_link_with_its_reason_device_and_trajectory(as_podiatrist, site):
    lesion = lesion_with(site, COURSES["worsening"])
    p = factories.prescription(of=lesion.limb, lesions=[lesion])
    page = as_podiatrist.get("/review/").content.decode()
    assert f'class="open" href="/lesions/{lesion.pk}/"' in page
    assert f'href="/prescriptions/{p.pk}/"' in page
    assert "Above the first area (2.00 to 3.50 cm²) by more than measuring error" in page
    assert '<svg class="spark"' in page
    assert "style=" not in page


def test_an_empty_list_says_so(as_podiatrist, site):
    assert "No open ulcer at this clinic" in as_podiatrist.get("/review/").content.decode()


def test_it_is_the_podiatrists_page_of_their_own_site(as_podiatrist, as_staff, as_manager, other_site):
    assert as_staff.get("/review/").status_code == 403
    assert as_manager.get("/review/").status_code == 403
    assert as_podiatrist.get(f"/review/?site={other_site.pk}").status_code == 404


def test_a_look_moves_the_lesion_to_the_end_with_its_note(as_podiatrist, site):
    lesion = lesion_with(site, COURSES["slow"])
    answer = as_podiatrist.post(
        f"/review/lesions/{lesion.pk}/note/",
        {"concern": "slow", "note": "Shoes come on Friday", "kept_device": "none", "kept_due": ""},
    )
    assert answer.status_code == 302
    assert answer["Location"] == f"/review/?site={site.pk}&device=none"
    page = as_podiatrist.get(answer["Location"]).content.decode()
    assert "Seen lately" in page
    assert "Shoes come on Friday" in page
    assert "Comes back on" in page


def test_an_empty_note_or_an_old_page_comes_back_with_what_was_typed(as_podiatrist, site):
    lesion = lesion_with(site, COURSES["slow"])
    where = f"/review/lesions/{lesion.pk}/note/"
    assert as_podiatrist.post(where, {"concern": "slow", "note": ""}).status_code == 422
    old = as_podiatrist.post(where, {"concern": "on_course", "note": "Looks fine"})
    assert old.status_code == 422
    page = old.content.decode()
    assert "The list says something else of this ulcer now" in page
    assert 'value="Looks fine"' in page
    assert 'name="concern" value="slow"' in page
    assert not ReviewNote.objects.exists()


def test_a_stop_offers_no_note(as_podiatrist, site):
    lesion = lesion_with(site, COURSES["slow"])
    factories.red_flag(of=lesion.limb.person)
    assert "Mark reviewed" not in as_podiatrist.get("/review/").content.decode()
    where = f"/review/lesions/{lesion.pk}/note/"
    assert "What is urgent is not set aside" in as_podiatrist.get(where).content.decode()
    assert as_podiatrist.post(where, {"concern": "stop", "note": "seen"}).status_code == 422
    assert not ReviewNote.objects.exists()


def test_a_filter_says_how_many_it_hides_and_keeps_its_choice(as_podiatrist, site):
    lesion_with(site, COURSES["slow"])
    lesion_with(site, COURSES["on_course"])
    page = as_podiatrist.get("/review/?concern=slow").content.decode()
    assert "1 of 2 open ulcers shown" in page
    assert '<option value="slow" selected>Slow (1)</option>' in page
    none = as_podiatrist.get("/review/?concern=worsening").content.decode()
    assert "No open ulcer fits this choice" in none
    assert "Worsening (0)" in none


def test_an_unknown_filter_shows_the_whole_list_and_says_what_is_wrong(as_podiatrist, site):
    lesion_with(site, COURSES["slow"])
    answer = as_podiatrist.get("/review/?concern=purple")
    assert answer.status_code == 422
    assert 'class="open"' in answer.content.decode()


def test_looks_of_another_site_are_not_there(as_podiatrist, other_site):
    lesion = lesion_with(other_site, COURSES["slow"])
    assert as_podiatrist.get(f"/review/lesions/{lesion.pk}/note/").status_code == 404
