"""A day without the program: the pack of the evening before, and its sheets entered afterwards."""

from __future__ import annotations

import io
import stat
from datetime import timedelta

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from pypdf import PdfReader

from clinic.guidelines.red_flags import RED_FLAGS
from clinic.models import AuditEvent, ViewEvent, Visit
from clinic.visits.forms.visits import VisitForm, lesion_forms
from clinic.visits.reads import visit_sheet
from clinic.week.prints import NOT_ON_PAPER, downtime_pdf, questions
from clinic.week.reads.downtime import downtime_pack
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate


def booked(site, day, sealed=True, **fields):
    """A person with a measured lesion who comes on a day; in a sealed device with its card."""
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site, **fields)))
    at = factories.visit(of=lesion.limb.person, on=day - timedelta(days=8), next_on=day)
    factories.measurement(at=at, of=lesion, dressing="foam and film")
    if sealed:
        device = factories.prescription(
            of=lesion.limb,
            lesions=[lesion],
            device_class="total_contact_cast",
            fitted_on=day - timedelta(days=7),
            sealed_on=day - timedelta(days=7),
            open_by=day,
        )
        factories.opening_card(of=device, sealed_on=day - timedelta(days=7), open_by=day)
    return lesion


def words_of(pdf):
    pages = [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]
    return pages, " ".join(pages)


def test_the_pack_holds_list_sheets_cards_and_the_emergency_page(site):
    day = TODAY() + timedelta(days=1)
    first, second = booked(site, day, family_name="Żółć-Ðorđević"), booked(site, day, sealed=False)
    pages, text = words_of(downtime_pdf(downtime_pack(site, day, timezone.now())))
    for number in site.telephones:
        assert number["in_hours"] in pages[0]
        assert number["out_of_hours"] in pages[0]
    for flag in RED_FLAGS:
        assert " ".join(flag.question.split()) in pages[0]
    for lesion in (first, second):
        who = lesion.limb.person
        assert f"Visit sheet: {who.full_name}" in text
        assert text.count(who.record_number) >= 2
    assert "foam and film" in text
    assert "Żółć-Ðorđević" in text
    assert "■" not in text
    assert "Non-removable device: " in pages[-1]
    assert f"Must be opened by {date_format(day)}" in pages[-1]
    for n, page in enumerate(pages, start=1):
        assert f"Page {n}" in page
        assert site.name in page
        assert "not a diagnosis" in page


def test_a_sheet_asks_every_question_of_the_page_and_answers_none(site):
    day = TODAY()
    lesion = booked(site, day)
    sheet = visit_sheet(lesion.limb.person, day)
    _, text = words_of(downtime_pdf(downtime_pack(site, day, timezone.now())))
    for form in (VisitForm(sheet=sheet), *lesion_forms(sheet)):
        asked = {label for label, _, _ in questions(form)}
        for name, field in form.fields.items():
            label = str(field.label or name)
            assert name in NOT_ON_PAPER or field.widget.is_hidden or label in asked, name
            if label in asked:
                assert " ".join(label.split()) in text, label
    assert "☒" not in text
    assert "☑" not in text


def test_what_is_left_off_the_sheet_is_a_field_of_the_page_or_says_so(site):
    sheet = visit_sheet(booked(site, TODAY()).limb.person, TODAY())
    known = set(VisitForm.base_fields) | {name for part in lesion_forms(sheet) for name in part.base_fields}
    assert set(NOT_ON_PAPER) <= known


def test_every_sealed_device_is_in_the_pack_whenever_it_is_due(site):
    day = TODAY() + timedelta(days=1)
    later = booked(site, day + timedelta(days=5))
    pack = downtime_pack(site, day, timezone.now())
    assert not pack.expected
    assert [one.prescription.limb_id for one in pack.sealed] == [later.limb_id]


def test_nothing_of_another_clinic_is_in_the_pack(site, other_site):
    day = TODAY() + timedelta(days=1)
    theirs = booked(other_site, day, family_name="Elsewhere")
    _, text = words_of(downtime_pdf(downtime_pack(site, day, timezone.now())))
    assert "Elsewhere" not in text
    assert theirs.limb.person.record_number not in text


def test_the_command_writes_one_closed_file_a_clinic_and_takes_old_ones_away(site, other_site, tmp_path):
    day = TODAY() + timedelta(days=1)
    booked(site, day)
    old = tmp_path / f"downtime-{site.pk}-{TODAY() - timedelta(days=9)}.pdf"
    old.write_bytes(b"old")
    other = tmp_path / "something else.pdf"
    other.write_bytes(b"not ours")
    for _ in range(2):
        call_command("downtime_pack", out=tmp_path, stdout=io.StringIO())
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {f"downtime-{one.pk}-{day}.pdf" for one in (site, other_site)} | {other.name}
    for one in (site, other_site):
        assert stat.S_IMODE((tmp_path / f"downtime-{one.pk}-{day}.pdf").stat().st_mode) == 0o600
    with pytest.raises(CommandError, match="no date"):
        call_command("downtime_pack", day="tomorrow")


def test_the_page_gives_the_pack_and_each_person_in_it_is_logged_as_read(as_staff, site):
    people = {booked(site, TODAY()).limb.person_id, booked(site, TODAY()).limb.person_id}
    answer = as_staff.get(reverse("downtime"))
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Cache-Control"] == "private, no-store"
    assert set(ViewEvent.objects.values_list("person_id", flat=True)) == people


def test_queries_of_the_list_of_sheets_do_not_grow(as_staff, site):
    booked(site, TODAY())
    as_staff.get(reverse("paper_entry"))
    with CaptureQueriesContext(
        connection,
    ) as one:
        as_staff.get(reverse("paper_entry"))
    for _ in range(3):
        booked(site, TODAY())
    with CaptureQueriesContext(connection) as four:
        assert as_staff.get(reverse("paper_entry")).content.count(b"Enter the visit") == 4
    assert len(four) == len(one)


def sent(lesion, day, **more):
    head = f"lesion-{lesion.pk}"
    return {
        "submission_key": "6f1c39f4-9d3b-4a36-8e0e-6f6d6b0c1a11",
        "visited_on": str(day),
        "red_flags": "none",
        "next_on": str(TODAY() + timedelta(days=7)),
        f"{head}-not_measured_because": "written on paper only",
        **more,
    }


def test_a_sheet_is_entered_with_its_day_and_keeps_its_mark(as_staff, site):
    day = TODAY() - timedelta(days=1)
    lesion = booked(site, day, sealed=False)
    who = lesion.limb.person
    listed = as_staff.get(reverse("paper_entry"), {"day": day}).content.decode()
    where = f"{reverse('visit_new', args=[who.pk])}?paper={day}"
    assert where in listed
    page = as_staff.get(where).content.decode()
    assert "from paper" in page
    # The day is the sheet's; no finding is filled in.
    assert f'value="{day}"' in page
    assert "checked" not in page
    answer = as_staff.post(where, sent(lesion, day))
    assert answer.status_code == 302, answer.context["faults"]
    assert answer["Location"] == f"{reverse('paper_entry')}?site={site.pk}&day={day}"
    visit = Visit.objects.get(person=who, visited_on=day)
    assert visit.from_paper
    assert "from paper" in as_staff.get(reverse("visit", args=[visit.pk])).content.decode()
    listed = as_staff.get(reverse("paper_entry"), {"day": day}).content.decode()
    assert "Entered from paper" in listed
    assert AuditEvent.objects.filter(verb="logged", target_id=str(visit.pk)).exists()


def test_a_visit_of_the_day_has_no_mark(as_staff, site):
    lesion = booked(site, TODAY(), sealed=False)
    as_staff.post(reverse("visit_new", args=[lesion.limb.person_id]), sent(lesion, TODAY()))
    assert not Visit.objects.get(person=lesion.limb.person, visited_on=TODAY()).from_paper


@pytest.mark.parametrize("word", ["tomorrow", "2026-13-40", "9999-01-01", ""])
def test_a_day_that_cannot_be_is_no_paper(as_staff, site, word):
    lesion = booked(site, TODAY(), sealed=False)
    page = as_staff.get(f"{reverse('visit_new', args=[lesion.limb.person_id])}?paper={word}").content.decode()
    assert "from paper" not in page


def test_a_correction_leaves_the_mark(as_staff, staff, site):
    visit = factories.visit(of=factories.person(at=site), on=TODAY() - timedelta(days=1), from_paper=True)
    answer = as_staff.post(
        reverse("visit_correct", args=[visit.pk]),
        {
            "visited_on": str(visit.visited_on),
            "red_flags": "none",
            "reason": "wrong note",
            "note": "read again",
            "version": visit.version,
            "submission_key": str(visit.submission_key),
        },
    )
    visit.refresh_from_db()
    assert answer.status_code == 302
    assert (visit.from_paper, visit.note) == (True, "read again")
