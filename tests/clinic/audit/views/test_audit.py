"""The audit's pages: every figure opens the cases it counts, and exports leave a trace."""

import csv
import html
import io
import re
from unittest.mock import patch
from urllib.parse import urlencode

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from clinic.alerts.writes import flags
from clinic.models import AuditEvent
from clinic.record.sealed_words import seal
from clinic.record.writes import audit
from tests import factories
from tests.clinic.audit.scene import case, year

LINK = re.compile(r'<a href="(/audit/cases/\?[^"]+)"(?: aria-label="[^"]*")?>(\d+)(?=[^\d])')


@pytest.fixture
def full(site, podiatrist):
    year(site, podiatrist)
    return site


def text(response):
    assert response.status_code == 200
    return html.unescape(response.content.decode())


def test_every_figure_equals_the_length_of_its_list_and_of_its_export(as_manager, full):
    page = as_manager.get("/audit/").content.decode()
    page = page.replace(",", "")
    links = {html.unescape(href): int(count) for href, count in LINK.findall(page)}
    assert len(links) > 45
    for href, count in links.items():
        cases = as_manager.get(href)
        assert cases.status_code == 200
        assert cases.content.decode().count('<th scope="row">') == count, href
        table = as_manager.get(href.replace("/audit/cases/", "/audit/cases.csv")).content.decode()
        assert len(list(csv.DictReader(io.StringIO(table)))) == count, href


def test_the_page_gives_the_figure_with_interval_counts_and_sentences(as_manager, full):
    page = text(as_manager.get("/audit/"))
    assert "67 %" in page
    assert "of 12 judged; 95 % interval 39 to 86 %" in page
    assert "Words on person_declines." in page
    assert "Wilson 1927" in page


def test_a_longer_list_goes_over_pages(as_manager, site):
    for _ in range(51):
        case(site)
    first = as_manager.get("/audit/cases/").content.decode()
    onward = html.unescape(re.search(r'rel="next" href="([^"]+)"', first).group(1))
    second = as_manager.get(f"/audit/cases/{onward}").content.decode()
    assert as_manager.get("/audit/cases/?before=2026-13-01.4").status_code == 404
    assert first.count('<th scope="row">') == 50
    assert second.count('<th scope="row">') == 1
    assert "51 cases" in first


def test_each_case_opens_its_prescription(as_manager, site):
    _, p = case(site)
    assert f'href="/prescriptions/{p.pk}/"' in text(as_manager.get("/audit/cases/?figure=agreed"))


def test_filters_reach_the_cases_behind_a_figure(as_manager, site):
    case(site, device_class="toe_spacer")
    case(site)
    page = text(as_manager.get("/audit/?device_class=toe_spacer"))
    href = next(h for h, _ in LINK.findall(page) if "figure=all" in h)
    assert "device_class=toe_spacer" in href
    assert as_manager.get(href).content.decode().count('<th scope="row">') == 1


def test_a_wrong_period_is_refused_and_stays_typed(as_manager, site):
    sent = as_manager.get("/audit/?since=2026-05-01&until=2026-04-01")
    assert sent.status_code == 422
    assert "lies before the start of the period" in sent.content.decode()
    assert 'value="2026-04-01"' in sent.content.decode()
    assert as_manager.get("/audit/?since=soon").status_code == 422
    assert as_manager.get("/audit/cases/?since=soon").status_code == 404
    for wrong in (
        "invented",
        "reason.invented",
        "outcome.every.invented",
        "outcome.every",
        "missing.x",
        "reused.'",
    ):
        assert as_manager.get(f"/audit/cases/?figure={wrong}").status_code == 404


def test_an_empty_period_says_what_to_do(as_manager, site):
    assert "Choose a longer period" in text(as_manager.get("/audit/"))
    assert "No case in this period" in text(as_manager.get("/audit/cases/?figure=reason.skill"))


@pytest.mark.parametrize("path", ["/audit/", "/audit/cases/", "/audit/cases.csv", "/audit/changes/"])
def test_only_a_manager_of_the_site_sees_it(as_manager, as_staff, as_podiatrist, other_site, path):
    assert as_staff.get(path).status_code == 403
    assert as_podiatrist.get(path).status_code == 403
    assert as_manager.get(f"{path}?site={other_site.pk}").status_code == 404


def test_the_export_runs_no_formula_and_names_no_one(as_manager, site):
    lesion, p = case(site, agrees=False, departure="skill", reason="Mrs Testperson said no.")
    person = lesion.limb.person
    person.record_number = "=1+1"
    person.save()
    sent = as_manager.get("/audit/cases.csv?figure=departed")
    assert sent["Content-Type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(sent.content.decode())))
    assert rows[0]["record_number"] == "'=1+1"
    assert rows[0]["departure_reason"] == "skill"
    assert "not a diagnosis" in rows[0]["notice"]
    for word in (person.family_name, person.given_name, str(p.signed_by), "said no"):
        assert word not in sent.content.decode()


def test_an_export_is_one_row_of_the_chain(as_manager, manager, full):
    before = AuditEvent.objects.count()
    as_manager.get("/audit/cases.csv?figure=departed")
    assert AuditEvent.objects.count() == before + 1
    event = AuditEvent.objects.latest("pk")
    assert (event.verb, event.target_kind, event.actor_role) == ("exported", "site", "manager")
    assert '"rows":4' in event.detail
    as_manager.raise_request_exception = False
    with patch("clinic.record.writes.exports.audit.record", side_effect=RuntimeError):
        assert as_manager.get("/audit/cases.csv").status_code == 500


def test_the_chain_keeps_the_filter_of_an_export_in_words(as_manager, podiatrist, site):
    case(site, signed_by=podiatrist, device_class="toe_spacer")
    as_manager.get(f"/audit/cases.csv?prescriber={podiatrist.pk}&device_class=toe_spacer")
    page = text(as_manager.get("/audit/changes/"))
    assert "exported a list of cases" in page
    assert f"prescriber: {podiatrist}" in page


@pytest.mark.parametrize(
    ("verb", "make", "words"),
    [
        ("weighed", lambda who: factories.weight(of=who), "weighed the patient."),
        ("corrected", lambda who: factories.visit(of=who), "corrected a visit."),
        ("examined", lambda who: factories.finding(of=factories.limb(of=who)), "examined a limb."),
        (
            "measured",
            lambda who: factories.measurement(
                at=factories.visit(of=who), of=factories.lesion(on=factories.limb(of=who))
            ),
            "measured a measurement.",
        ),
    ],
)
def test_any_noun_of_the_record_makes_a_sentence(as_manager, staff, person, verb, make, words):
    with transaction.atomic():
        audit.record(by=staff, site=person.site, verb=verb, target=make(person))
    assert words in text(as_manager.get("/audit/changes/"))


def test_changes_are_sentences_newest_first(as_manager, staff, person):
    flags.flag_raise(by=staff, person=person, flags=["fever_or_unwell"])
    flag = person.red_flags.get()
    flags.flag_answer(by=staff, flag=flag, answer="called", note="ward answered", expected_version=1)
    page = text(as_manager.get("/audit/changes/"))
    assert page.index("answered a red flag") < page.index("raised a red flag")
    assert person.record_number in page
    assert "answer: Spoke to team" in page
    assert "The chain holds: 2 rows" in page
    assert "{" not in page[page.index("<ol") : page.index("</ol>")]


def test_changes_filter_by_person_who_and_what(as_manager, staff, podiatrist, site, person):
    other = factories.person(at=site)
    flags.flag_raise(by=staff, person=person, flags=["fever_or_unwell"])
    flags.flag_raise(by=podiatrist, person=other, flags=["fever_or_unwell"])

    def rows(query):
        return text(as_manager.get(f"/audit/changes/?{query}")).count("<li><span")

    assert rows("") == 2
    assert rows(urlencode({"person": seal(person.record_number)})) == 1
    assert rows("verb=raised") == 2
    assert rows(f"actor={staff} ({staff.username})") == 1
    assert as_manager.get("/audit/changes/?verb=invented").status_code == 422


def test_changes_page_by_the_number_of_the_row(as_manager, staff, person):
    for _ in range(55):
        flags.flag_raise(by=staff, person=person, flags=["fever_or_unwell"])
    first = text(as_manager.get("/audit/changes/"))
    assert first.count("<li><span") == 50
    assert "before=6" in first
    assert text(as_manager.get("/audit/changes/?before=6")).count("<li><span") == 5


def test_an_altered_or_missing_row_is_told(as_manager, staff, person):
    for _ in range(3):
        flags.flag_raise(by=staff, person=person, flags=["fever_or_unwell"])
    AuditEvent.objects.filter(sequence=2).update(verb="answered")
    page = text(as_manager.get("/audit/changes/"))
    assert "The chain does not hold" in page
    assert "Row 2 of site" in page
    assert "was altered" in page
    AuditEvent.objects.filter(sequence=2).delete()
    assert "is missing" in text(as_manager.get("/audit/changes/"))


def test_a_long_chain_is_checked_when_asked(as_manager, staff, person):
    flags.flag_raise(by=staff, person=person, flags=["fever_or_unwell"])
    with patch("clinic.audit.views.audit.CHECKED_AT_ONCE", 0):
        assert "was not checked on this page" in text(as_manager.get("/audit/changes/"))
        assert "The chain holds" in text(as_manager.get("/audit/changes/?check=1"))


@pytest.mark.parametrize("path", ["/audit/", "/audit/cases/?figure=lesions", "/audit/changes/"])
def test_queries_do_not_grow(as_manager, staff, site, path):
    def count():
        with CaptureQueriesContext(connection) as caught:
            assert as_manager.get(path).status_code == 200
        return len(caught)

    def more(n):
        for _ in range(n):
            lesion, _ = case(site, agrees=False, departure="skill")
            flags.flag_raise(by=staff, person=lesion.limb.person, flags=["fever_or_unwell"])

    more(3)
    count()
    few = count()
    more(9)
    assert count() == few
