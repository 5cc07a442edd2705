import pytest
from django.urls import reverse

from tests import factories

pytestmark = pytest.mark.django_db


def test_an_answer_takes_the_flag_off_today(as_staff, person):
    flag = factories.red_flag(of=person)
    url = reverse("flag_answer", args=[flag.pk])
    assert url in as_staff.get(reverse("today")).content.decode()
    sent = {"answer": "called", "answer_note": "duty doctor answered", "version": flag.version}
    assert as_staff.post(url, sent).status_code == 302
    flag.refresh_from_db()
    assert flag.answer == "called"
    assert f'href="{url}"' not in as_staff.get(reverse("today")).content.decode()


def test_an_answer_without_words_answers_422(as_staff, person):
    flag = factories.red_flag(of=person)
    sent = {"answer": "called", "answer_note": " ", "version": flag.version}
    assert as_staff.post(reverse("flag_answer", args=[flag.pk]), sent).status_code == 422
    flag.refresh_from_db()
    assert flag.answer == ""


def test_roles_and_sites_are_held(as_manager, as_staff, person, other_site):
    flag = factories.red_flag(of=person)
    foreign = factories.red_flag(of=factories.person(at=other_site))
    assert as_manager.get(reverse("flag_answer", args=[flag.pk])).status_code == 403
    assert as_staff.get(reverse("flag_answer", args=[foreign.pk])).status_code == 404
