import threading
import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.capture.writes.measurement import LesionFindings
from clinic.models import AuditEvent, Measurement, RedFlag, Visit, Weight
from clinic.record.errors import Conflict, Refused
from clinic.record.writes import audit
from clinic.visits.writes import visits
from clinic.visits.writes.corrections import visit_correct
from clinic.visits.writes.taking_back import visit_in_error
from clinic.visits.writes.visits import PersonFindings, visit_log, visit_missed
from tests import factories

pytestmark = pytest.mark.django_db


def days(n):
    return timezone.localdate() + timedelta(days=n)


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def once(**told):
    return PersonFindings(**{"visited_on": days(0), "next_on": days(7), **told})


def at(lesion, **told):
    area = {} if told else {"length_mm": Decimal(20), "width_mm": Decimal(10), "debridement": "before"}
    return LesionFindings(lesion=lesion, **{**area, **told})


def log(by, person, lesions, key=None, **told):
    return visit_log(
        by=by, person=person, submission_key=key or uuid.uuid4(), found=once(**told), lesions=lesions
    )


def test_a_visit_is_stored_whole_with_one_audit_row(staff, person, lesion):
    logged = log(
        staff, person, [at(lesion)], pain="none", fall=False, weight_kg=Decimal("81.5"), weight_how="scales"
    )
    assert logged.new
    assert logged.visit.measurements.get().area_mm2 == pytest.approx(157.08, abs=0.01)
    assert Weight.objects.get().kg == Decimal("81.5")
    event = AuditEvent.objects.get()
    assert (event.verb, event.target_kind, event.person_id) == ("logged", "visit", person.pk)
    assert logged.visit.history.get().history_user == staff


def test_the_statements_of_a_save_do_not_grow_with_the_visits_before(staff, person, lesion):
    def said(by_day):
        with CaptureQueriesContext(connection) as watched:
            log(staff, person, [at(lesion)], visited_on=by_day)
        return len(watched)

    days = [timezone.localdate() - timedelta(days=n) for n in range(20, 0, -1)]
    said(days[0])  # makes the person's key
    second, *_, last = [said(day) for day in days[1:]]
    assert second == last


def test_nothing_is_stored_when_the_audit_row_fails(staff, person, lesion, monkeypatch):
    def fails(**_):
        raise RuntimeError("no audit")

    monkeypatch.setattr(audit, "record", fails)
    with pytest.raises(RuntimeError):
        log(staff, person, [at(lesion)], weight_kg=Decimal(80), weight_how="scales")
    assert (Visit.objects.count(), Measurement.objects.count(), Weight.objects.count()) == (0, 0, 0)


def test_the_same_key_finds_the_first_visit(staff, person, lesion):
    key = uuid.uuid4()
    first = log(staff, person, [at(lesion)], key=key)
    again = log(staff, person, [at(lesion)], key=key)
    assert (again.new, again.visit.pk) == (False, first.visit.pk)
    assert (Visit.objects.count(), AuditEvent.objects.count()) == (1, 1)


def test_a_key_of_another_person_is_refused(staff, site, person, lesion):
    key = uuid.uuid4()
    log(staff, person, [at(lesion)], key=key)
    other = factories.person(at=site)
    with pytest.raises(Refused, match="another patient"):
        log(staff, other, [], key=key)


def test_a_lost_race_on_the_key_answers_with_the_first_visit(staff, person, lesion, monkeypatch):
    key = uuid.uuid4()
    first = log(staff, person, [at(lesion)], key=key)
    with pytest.raises(IntegrityError):
        visits._store_new(
            Visit(person=person, visited_on=days(0), submission_key=key, next_on=days(7)), staff
        )

    def lost(*_):
        raise IntegrityError("unique")

    monkeypatch.setattr(visits, "_log", lost)
    again = log(staff, person, [at(lesion)], key=key)
    assert (again.new, again.visit.pk) == (False, first.visit.pk)
    with pytest.raises(IntegrityError):
        log(staff, person, [at(lesion)])


@pytest.mark.django_db(transaction=True)
def test_equal_requests_at_the_same_moment_store_one_visit():
    site = factories.site()
    staff, person = factories.user("staff", at=site), factories.person(at=site)
    lesion = factories.lesion(on=factories.limb(of=person))
    key, start, answers = uuid.uuid4(), threading.Barrier(4), []

    def send():
        try:
            start.wait()
            answers.append(log(staff, person, [at(lesion)], key=key))
        finally:
            connection.close()

    threads = [threading.Thread(target=send) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(answers) == 4
    assert sorted(answer.new for answer in answers) == [False, False, False, True]
    assert len({answer.visit.pk for answer in answers}) == 1
    assert (Visit.objects.count(), Measurement.objects.count(), AuditEvent.objects.count()) == (1, 1, 1)


def test_every_open_lesion_is_told_and_none_of_anybody_else(staff, person, lesion):
    stranger = factories.lesion()
    for told in ([], [at(stranger)], [at(lesion), at(stranger)], [at(lesion), at(lesion)]):
        with pytest.raises(Refused, match="open ulcers have changed"):
            log(staff, person, told)


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"next_on": None}, "next_on"),
        ({"next_on": days(0)}, "next_on"),
        ({"visited_on": days(1), "next_on": days(8)}, "visited_on"),
        ({"visited_on": days(-200)}, "visited_on"),
        ({"visited_on": days(-30000)}, "visited_on"),
        ({"wear": "few"}, "why_not_worn"),
        ({"weight_kg": Decimal(80)}, "weight_how"),
        ({"weight_how": "scales"}, "weight_kg"),
        ({"weight_kg": Decimal(301), "weight_how": "scales"}, "weight_kg"),
    ],
)
def test_a_fault_is_refused_at_its_field_and_nothing_is_stored(staff, person, lesion, told, field):
    with pytest.raises(Refused) as refused:
        log(staff, person, [at(lesion)], **told)
    assert refused.value.field == field
    assert (Visit.objects.count(), AuditEvent.objects.count()) == (0, 0)


def test_a_fault_of_a_lesion_names_the_lesion(staff, person, lesion):
    with pytest.raises(Refused) as refused:
        log(staff, person, [at(lesion, length_mm=Decimal(5), debridement="before")])
    assert refused.value.field == f"lesion-{lesion.pk}-width_mm"


def test_a_second_visit_of_one_day_is_refused_until_the_first_is_out(staff, person, lesion):
    first = log(staff, person, [at(lesion)]).visit
    with pytest.raises(Refused, match="recorded already"):
        log(staff, person, [at(lesion)])
    visit_in_error(by=staff, visit=first, reason="wrong patient", expected_version=first.version)
    assert log(staff, person, [at(lesion)]).new


def test_nobody_who_moved_is_logged(staff, site):
    gone = factories.person(at=site, state="moved", state_on=days(-3))
    with pytest.raises(Refused, match="no longer in care"):
        log(staff, gone, [])


def sealed(lesion, open_by):
    return factories.prescription(
        of=lesion.limb,
        lesions=[lesion],
        device_class="total_contact_cast",
        facts={"region": "forefoot"},
        fitted_on=days(-6),
        prescribed_on=days(-6),
        sealed_on=days(-6),
        open_by=open_by,
    )


def test_no_visit_is_booked_after_a_sealed_device_must_be_opened(staff, person, lesion):
    device = sealed(lesion, days(3))
    with pytest.raises(Refused, match="must be opened by") as refused:
        log(staff, person, [at(lesion)])
    assert refused.value.field == "next_on"
    assert log(staff, person, [at(lesion)], next_on=days(3)).new
    device.refresh_from_db()
    assert device.opened_on is None


def test_a_device_opened_at_the_visit_frees_the_next_date(staff, person, lesion):
    device = sealed(lesion, days(-1))
    log(staff, person, [at(lesion)], device_opened=True)
    device.refresh_from_db()
    assert device.opened_on == days(0)
    assert sorted(AuditEvent.objects.values_list("verb", flat=True)) == ["logged", "opened"]


def test_ticked_flags_and_flags_in_the_findings_are_raised_together(staff, person, lesion):
    told = at(lesion, covered_dry=True, infection_looked=True, probe_to_bone=True, depth="bone")
    log(staff, person, [told], red_flags=("gangrene",))
    flag = RedFlag.objects.get()
    assert flag.flags == ["gangrene", "infection_3_4_or_bone", "new_probe_to_bone"]
    assert flag.visit == Visit.objects.get()


def test_bone_felt_before_is_not_new_again(staff, person, lesion):
    told = at(lesion, covered_dry=True, probe_to_bone=True)
    log(staff, person, [told], visited_on=days(-7), next_on=days(0))
    log(staff, person, [told])
    assert RedFlag.objects.count() == 1


def correct(by, visit, lesion, reason="typed wrongly", version=None, row_version=None, **told):
    return visit_correct(
        by=by,
        visit=visit,
        found=once(**told),
        lesions=[
            LesionFindings(
                lesion=lesion,
                length_mm=Decimal(18),
                width_mm=Decimal(10),
                debridement="before",
                version=row_version or 1,
            )
        ],
        reason=reason,
        expected_version=version or visit.version,
    )


def test_a_correction_keeps_what_stood_before_with_its_reason(staff, person, lesion):
    visit = log(staff, person, [at(lesion)], note="first").visit
    corrected = correct(staff, visit, lesion, note="second")
    assert corrected.version == 2
    row = corrected.measurements.get()
    assert row.area_mm2 == pytest.approx(141.37, abs=0.01)
    assert [h.note for h in corrected.history.order_by("history_id")] == ["first", "second"]
    newest = row.history.order_by("-history_id").first()
    assert (newest.history_change_reason, newest.history_user) == ("typed wrongly", staff)
    assert AuditEvent.objects.filter(verb="corrected").count() == 1


def test_an_unchanged_lesion_is_not_written_again(staff, person, lesion):
    visit = log(staff, person, [at(lesion)]).visit
    correct(staff, visit, lesion)
    again = correct(staff, Visit.objects.get(), lesion, row_version=2)
    assert again.measurements.get().version == 2


def test_a_correction_from_an_old_page_overwrites_nothing(staff, person, lesion):
    visit = log(staff, person, [at(lesion)]).visit
    correct(staff, visit, lesion, note="mine")
    with pytest.raises(Conflict):
        correct(staff, visit, lesion, version=1, note="stale")
    assert Visit.objects.get().note == "mine"


def test_a_correction_needs_its_reason(staff, person, lesion):
    visit = log(staff, person, [at(lesion)]).visit
    with pytest.raises(Refused) as refused:
        correct(staff, visit, lesion, reason=" ")
    assert refused.value.field == "reason"


def test_a_correction_cannot_move_a_visit_onto_another(staff, person, lesion):
    log(staff, person, [at(lesion)], visited_on=days(-7), next_on=days(0))
    visit = log(staff, person, [at(lesion)]).visit
    with pytest.raises(Refused, match="recorded already"):
        correct(staff, visit, lesion, visited_on=days(-7))


def test_a_visit_in_error_stays_readable_and_is_not_changed_again(staff, person, lesion):
    visit = log(staff, person, [at(lesion)]).visit
    gone = visit_in_error(by=staff, visit=visit, reason="wrong patient", expected_version=1)
    assert (gone.state, gone.error_reason, gone.measurements.count()) == ("in_error", "wrong patient", 1)
    with pytest.raises(Refused, match="not changed any more"):
        correct(staff, gone, lesion)


def test_a_missed_visit_is_stored_once_with_its_next_date(staff, person):
    key = uuid.uuid4()
    told = {"day": days(0), "attendance": "in_hospital", "why_not": "admitted", "next_on": days(10)}
    first = visit_missed(by=staff, person=person, submission_key=key, **told)
    again = visit_missed(by=staff, person=person, submission_key=key, **told)
    assert (first.new, again.new, Visit.objects.count()) == (True, False, 1)
    assert AuditEvent.objects.get().verb == "missed"


def test_a_visit_that_took_place_is_not_missed(staff, person):
    with pytest.raises(Refused) as refused:
        visit_missed(by=staff, person=person, submission_key=uuid.uuid4(), day=days(0), attendance="came")
    assert refused.value.field == "attendance"


def test_an_answer_given_on_the_page_s_sheet_goes_with_the_flag(staff, person, lesion):
    log(
        staff,
        person,
        [at(lesion)],
        red_flags=("gangrene",),
        flag_answer="sent",
        flag_answer_note="ambulance called, ward told",
    )
    flag = RedFlag.objects.get()
    assert (flag.answer, flag.answered_by) == ("sent", staff)


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"red_flags": ("gangrene",), "flag_answer": "sent"}, "flag_answer_note"),
        ({"red_flags": ("gangrene",), "flag_answer_note": "called"}, "flag_answer"),
        ({"flag_answer": "called", "flag_answer_note": "called"}, "red_flags"),
    ],
)
def test_half_an_answer_or_one_to_no_flag_is_asked_again(staff, person, lesion, told, field):
    with pytest.raises(Refused) as refused:
        log(staff, person, [at(lesion)], **told)
    assert refused.value.field == field
    assert not RedFlag.objects.exists()
