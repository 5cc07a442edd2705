"""The words of verdicts and grades say what they mean to somebody who has no mouse."""

import re
from html import unescape

import pytest
from django.template import Context, RequestContext, Template

from clinic.record.glossary import GRADES, VERDICTS
from tests import factories


def test_every_word_stands_on_the_page_that_every_page_links_to(as_staff, as_manager):
    page = unescape(as_staff.get("/words/").content.decode())
    for term in (*VERDICTS.values(), *GRADES.values()):
        assert term.means in page
    for client, path in ((as_staff, "/today/"), (as_staff, "/people/"), (as_manager, "/audit/")):
        assert 'href="/words/"' in client.get(path).content.decode()


def told(page):
    """Words that take the focus on a page, by their key, with what they say then."""
    found = re.findall(r'tabindex="0" title="[^"]*" aria-describedby="means-(\w+)"', page)
    meanings = {key: re.findall(rf'id="means-{key}">([^<]*)<', page) for key in found}
    assert all(len(one) == 1 for one in meanings.values()), "a name stands once on a page"
    return {key: unescape(one[0]) for key, one in meanings.items()}


def test_a_verdict_takes_the_focus_where_it_first_stands_on_a_page(as_podiatrist, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    factories.series(lesion, [3.0, 2.9, 2.9, 2.9, 2.9])
    again = factories.lesion(on=lesion.limb, place="mth_5", label="B")
    for measured in lesion.measurements.all():
        factories.measurement(at=measured.visit, of=again, cm2=2.0)
    for path in (
        f"/lesions/{lesion.pk}/",
        f"/people/{person.pk}/",
        "/review/",
        f"/people/{person.pk}/curves/",
    ):
        page = as_podiatrist.get(path).content.decode()
        shown = {key for key in VERDICTS if f'class="state {key}"' in page}
        assert shown, path
        assert {key: VERDICTS[key].means for key in shown} == {
            key: means for key, means in told(page).items() if key in VERDICTS
        }, path


def test_a_grade_takes_the_focus(as_podiatrist, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    factories.series(lesion, [3.0])
    page = as_podiatrist.get(f"/lesions/{lesion.pk}/").content.decode()
    assert told(page)["infection"] == GRADES["infection"].means
    for name in ("sinbad", "wifi", "texas"):
        assert GRADES[name].means in unescape(page)


def test_a_grade_takes_the_focus_on_the_page_of_a_visit_and_in_the_bar_of_its_patient(as_staff, person):
    lesion = factories.lesion(on=factories.limb(of=person))
    visit = factories.visit(of=person)
    factories.measurement(at=visit, of=lesion, cm2=2.0, infection_looked=True, infection_grade=2)
    page = as_staff.get(f"/visits/{visit.pk}/").content.decode()
    assert told(page) == {name: GRADES[name].means for name in ("risk", "infection")}
    assert "risk" in told(as_staff.get(f"/people/{person.pk}/visits/new/").content.decode())


@pytest.mark.parametrize("kind", ["flag", "stale"])
def test_a_state_that_is_no_verdict_takes_no_focus(rf, kind):
    asked = RequestContext(rf.get("/"), {"kind": kind})
    assert "tabindex" not in Template("{% state kind 'overdue' %}").render(asked)


def test_without_a_request_a_word_tells_a_mouse_only():
    shown = Template('{% state "slow" "slow" %}').render(Context({}))
    assert "title=" in shown
    assert "tabindex" not in shown
