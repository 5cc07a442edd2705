"""The clinic of a day on paper: device and open-by, what to cut, dressing, what is due, interpreter, last
photo.
"""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.models import Measurement
from clinic.record.dates import day_words
from tests import factories

pytestmark = pytest.mark.django_db


def expected(site, **fields):
    today = timezone.localdate()
    lesion = factories.lesion(on=factories.limb(of=factories.person(at=site, **fields)))
    at = factories.visit(
        of=lesion.limb.person, on=today - timedelta(days=7), next_on=today, dressing="foam and film"
    )
    factories.measurement(at=at, of=lesion)
    factories.prescription(
        of=lesion.limb,
        lesions=[lesion],
        device_class="total_contact_cast",
        fitted_on=today - timedelta(days=7),
        sealed_on=today - timedelta(days=7),
        open_by=today,
    )
    return lesion.limb.person


def test_the_page_says_what_to_lay_out(as_staff, site):
    who = expected(site, language="Welsh", interpreter=True)
    page = as_staff.get("/today/preparation/").content.decode()
    today = timezone.localdate()
    for words in (
        who.full_name,
        "Interpreter: Welsh",
        "total contact cast, sealed",
        f"open by {today.day} ",
        "foam and film",
        "weight (none yet)",
        "toe pressure or index (none yet)",
        "nothing waiting",
    ):
        assert words in page, words


def test_bone_that_was_felt_is_to_be_judged(as_staff, site):
    who = expected(site)
    Measurement.objects.filter(visit__person=who).update(probe_to_bone=True)
    page = as_staff.get("/today/preparation/").content.decode()
    day = day_words(timezone.localdate() - timedelta(days=7))
    assert f"bone felt on {day}, ulcer A: judge it" in page


def test_another_day_has_its_own_list_and_nonsense_is_today(as_staff, site):
    who = expected(site)
    later = timezone.localdate() + timedelta(days=1)
    assert who.full_name not in as_staff.get(f"/today/preparation/?day={later}").content.decode()
    assert who.full_name in as_staff.get("/today/preparation/?day=2026-99-99").content.decode()


def test_a_device_to_open_brings_a_person_who_is_not_booked(as_staff, site):
    who = expected(site)
    who.visits.update(next_on=timezone.localdate() + timedelta(days=3))
    assert "not booked as a visit" in as_staff.get("/today/preparation/").content.decode()


def test_the_number_of_queries_does_not_grow(as_staff, site):
    def count():
        with CaptureQueriesContext(connection) as caught:
            assert as_staff.get("/today/preparation/").status_code == 200
        return len(caught)

    for _ in range(3):
        expected(site)
    count()
    few = count()
    for _ in range(9):
        expected(site)
    assert count() == few
