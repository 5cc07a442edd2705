"""Two records of one person: merged without losing a row, parted exactly, refused where they contradict
each other.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from clinic.lesions.writes.lesions import lesion_correct
from clinic.models import (
    AuditEvent,
    Episode,
    Lesion,
    LimbPlan,
    Measurement,
    Merge,
    PeopleApart,
    Person,
    PhotoConsent,
    Prescription,
    Visit,
)
from clinic.people.reads.merging import merge_preview
from clinic.people.writes.merging import merge_undo, people_keep_apart, people_maybe_same, person_merge
from clinic.people.writes.people import person_correct, weight_add
from clinic.record.errors import Conflict, Refused
from clinic.record.reads.person_rows import counts_of, mixed_rows
from clinic.record.writes import audit
from clinic.relief.writes.setting_aside import plan_set_aside
from offload.models import ReliefPlan
from tests import factories
from tests.clinic.people.two_records import digest, merge, record, relief_plan, rows_of, twice

pytestmark = pytest.mark.django_db


@pytest.fixture
def pair(site):
    return twice(site)


def hindered(kept, emptied):
    return [one.words for one in merge_preview(kept, emptied).hindrances]


def test_everything_goes_over_and_the_emptied_record_stays_and_points_on(pair, podiatrist):
    kept, emptied = pair
    before = counts_of(kept, emptied)
    merge(podiatrist, kept, emptied)
    after = counts_of(kept, emptied)
    for noun, counts in before.items():
        if noun in ("limb", "episode"):  # a foot, and the episode joined with another one, stay
            continue
        assert after[noun].get(kept.pk, 0) == sum(counts.values()), noun
        assert emptied.pk not in after[noun], noun
    emptied.refresh_from_db()
    kept.refresh_from_db()
    assert (emptied.state, emptied.merged_into) == ("merged", kept)
    assert (kept.telephone, kept.allergies, kept.interpreter) == ("000 55 77", "penicillin; latex", True)
    assert set(Lesion.objects.filter(limb__person=kept).values_list("limb__side", flat=True)) == {
        "left",
        "right",
    }
    assert Lesion.objects.filter(episode__person=kept).count() == 2
    assert list(mixed_rows(kept, emptied)) == []


def test_a_merge_is_one_row_of_the_chain_that_names_both(pair, podiatrist, site):
    kept, emptied = pair
    rows = AuditEvent.objects.count()
    merge(podiatrist, kept, emptied)
    event = AuditEvent.objects.latest("pk")
    assert AuditEvent.objects.count() == rows + 1
    assert (event.verb, event.target_kind, event.person_id) == ("merged", "merge", kept.pk)
    assert kept.record_number in event.detail
    assert emptied.record_number in event.detail
    assert list(audit.faults(site.pk)) == []


def test_nothing_is_merged_when_the_audit_row_fails(pair, podiatrist, monkeypatch):
    kept, emptied = pair
    before = digest(kept, emptied)

    def broken(**_):
        raise RuntimeError("no room")

    monkeypatch.setattr("clinic.people.writes.merging.audit.record", broken)
    with pytest.raises(RuntimeError), transaction.atomic():
        merge(podiatrist, kept, emptied)
    assert digest(kept, emptied) == before
    assert not Merge.objects.exists()


def test_undoing_gives_back_every_row_and_value(pair, podiatrist, site):
    kept, emptied = pair
    before = digest(kept, emptied)
    made = merge(podiatrist, kept, emptied)
    assert digest(kept, emptied) != before
    rows = AuditEvent.objects.count()
    assert merge_undo(by=podiatrist, merge=made, because="Mother and daughter.") == []
    assert digest(kept, emptied) == before
    assert AuditEvent.objects.count() == rows + 1
    assert AuditEvent.objects.latest("pk").verb == "undid the merge of"
    assert list(audit.faults(site.pk)) == []
    with pytest.raises(Refused, match="undone already"):
        merge_undo(by=podiatrist, merge=made, because="Again.")


sides = st.sampled_from(["left", "right"])
shapes = st.fixed_dictionaries(
    {
        "side": sides,
        "place": st.sampled_from(["mth_1", "mth_2", "heel_central"]),
        "device": st.booleans(),
        "plan": st.booleans(),
        "days_ago": st.integers(0, 2),
        "telephone": st.sampled_from(["", "000 1", "000 2"]),
        "allergies": st.sampled_from(["", "latex", "Latex", "penicillin"]),
    }
)


def test_merging_loses_no_row_and_undoing_gives_the_same_rows(site, podiatrist):
    told = {"merged": 0, "refused": 0}

    # Always the same pairs: how many were merged and how many refused is counted below.
    @settings(max_examples=8, derandomize=True, phases=[Phase.generate])
    @given(shapes, shapes)
    def law(one, other):
        kept, emptied = record(site, **one), record(site, **other)
        before, marks = rows_of(kept, emptied), digest(kept, emptied)
        if hindered(kept, emptied):
            with pytest.raises(Refused), transaction.atomic():
                merge(podiatrist, kept, emptied)
            assert digest(kept, emptied) == marks
            told["refused"] += 1
            return
        made = merge(podiatrist, kept, emptied)
        assert rows_of(kept, emptied).keys() == before.keys()
        left_behind = {noun for noun, _ in rows_of(emptied)} - {"person"}
        assert left_behind <= {"limb", "episode"}
        merge_undo(by=podiatrist, merge=made, because="Two people after all.")
        assert digest(kept, emptied) == marks
        told["merged"] += 1

    law()
    assert min(told.values()) > 0, told


def test_both_with_a_running_device_on_one_foot_is_refused_until_one_is_stopped(site, podiatrist):
    kept, emptied = record(site), record(site, days_ago=1)
    day = timezone.localdate()
    Prescription.objects.filter(limb__person=emptied).update(
        device_class="total_contact_cast", sealed_on=day, open_by=day + timedelta(days=6)
    )
    assert any(
        "running device on the left foot" in words and "to be opened by" in words
        for words in hindered(kept, emptied)
    )
    with pytest.raises(Refused, match="running device on the left foot"):
        merge(podiatrist, kept, emptied)
    Prescription.objects.filter(limb__person=kept).update(stopped_on=day, stop_reason="changed")
    merge(podiatrist, kept, emptied)
    running = Prescription.objects.get(limb__person=kept, stopped_on=None)
    assert running.open_by == day + timedelta(days=6)


def test_visits_of_one_day_a_state_and_a_withdrawn_consent_are_settled_first(site, podiatrist):
    kept, emptied = record(site, device=False), record(site, side="right", device=False)
    assert any("Both have a visit on" in words for words in hindered(kept, emptied))
    Visit.objects.filter(person=emptied).update(state="in_error", error_reason="wrong record")
    assert hindered(kept, emptied) == []
    PhotoConsent.objects.filter(person=emptied).update(withdrawn_on=timezone.localdate())
    assert any("withdrawn" in words for words in hindered(kept, emptied))
    PhotoConsent.objects.filter(person=kept).update(withdrawn_on=timezone.localdate())
    Person.objects.filter(pk=emptied.pk).update(state="moved", state_on=timezone.localdate())
    emptied.refresh_from_db()
    assert any("same state" in words for words in hindered(kept, emptied))
    Person.objects.filter(pk=emptied.pk).update(
        state="in_care", state_on=None, restricted_on=timezone.localdate()
    )
    emptied.refresh_from_db()
    assert any("restricted" in words for words in hindered(kept, emptied))


def test_a_record_of_another_clinic_is_not_merged(site, other_site, podiatrist):
    kept, emptied = record(site), record(other_site, side="right", days_ago=1)
    with pytest.raises(Refused, match="two clinics"):
        merge(podiatrist, kept, emptied)


def test_a_letter_that_a_sheet_names_stays_and_the_other_one_changes(site, podiatrist):
    kept, emptied = record(site), record(site, side="right", days_ago=1, plan=True)
    merge(podiatrist, kept, emptied)
    assert Lesion.objects.get(limb__person=kept, limb__side="right").label == "A"
    assert Lesion.objects.get(limb__person=kept, limb__side="left").label == "B"


def test_a_letter_that_both_records_sheets_name_is_refused(site, podiatrist):
    kept, emptied = record(site, plan=True), record(site, side="right", days_ago=1, device=False, plan=True)
    with pytest.raises(Refused, match="open ulcer A"):
        merge(podiatrist, kept, emptied)


def test_one_foot_has_one_plan_in_force_whatever_its_sheets_call_the_ulcers(site, podiatrist):
    kept, emptied = record(site, plan=True), record(site, days_ago=1, device=False, plan=True)
    Lesion.objects.filter(limb__person=emptied).update(label="B")
    ReliefPlan.objects.update(state="signed", signed_at=timezone.now(), signed_by="Someone")
    with pytest.raises(Refused, match="Both have a relief plan in force for the left foot"):
        merge(podiatrist, kept, emptied)
    link = LimbPlan.objects.get(limb__person=emptied)
    today = timezone.localdate()
    plan_set_aside(by=podiatrist, limb_plan=link, ended_on=today, because="The other plan is worn.")
    merge(podiatrist, kept, emptied)
    assert LimbPlan.objects.filter(limb__person=kept, ended_on=None).count() == 1


def test_of_two_agreed_days_the_earlier_stands(site, podiatrist):
    today = timezone.localdate()
    kept, emptied = (factories.person(at=site) for _ in range(2))
    newest = factories.visit(of=kept, on=today - timedelta(days=1), next_on=today + timedelta(days=13))
    factories.visit(of=emptied, on=today - timedelta(days=3), next_on=today + timedelta(days=4))
    merge(podiatrist, kept, emptied)
    newest.refresh_from_db()
    assert newest.next_on == today + timedelta(days=4)


def test_the_joined_episode_begins_with_the_earlier_presentation(site, podiatrist):
    kept, emptied = record(site), record(site, side="right", days_ago=1)
    early = timezone.localdate() - timedelta(weeks=20)
    Episode.objects.filter(person=emptied).update(first_presented_on=early)
    merge(podiatrist, kept, emptied)
    assert Episode.objects.get(person=kept).first_presented_on == early


def test_a_page_looked_at_before_the_record_changed_merges_nothing(pair, podiatrist, staff):
    kept, emptied = pair
    mark = merge_preview(kept, emptied).mark
    with transaction.atomic():
        weight_add(by=staff, person=emptied, kg=77, measured_on=timezone.localdate(), how="told")
    with pytest.raises(Conflict):
        merge(podiatrist, kept, emptied, mark=mark)
    with pytest.raises(Refused, match="in words why"):
        person_merge(by=podiatrist, kept=kept, emptied=emptied, because=" ", mark=mark)


def test_nothing_more_is_written_at_the_emptied_record(pair, podiatrist, staff):
    kept, emptied = pair
    merge(podiatrist, kept, emptied)
    with pytest.raises(Refused, match=f"merged into No. {kept.record_number}"), transaction.atomic():
        weight_add(
            by=staff,
            person=Person.objects.get(pk=emptied.pk),
            kg=77,
            measured_on=timezone.localdate(),
            how="told",
        )


def test_undoing_is_refused_once_a_later_row_holds_both_together(pair, podiatrist):
    kept, emptied = pair
    made = merge(podiatrist, kept, emptied)
    visit = factories.visit(of=kept)
    for lesion in Lesion.objects.filter(limb__person=kept):
        factories.measurement(at=visit, of=lesion)
    before = digest(kept, emptied)
    with pytest.raises(Refused, match="A measurement written since"), transaction.atomic():
        merge_undo(by=podiatrist, merge=made, because="Two people.")
    assert digest(kept, emptied) == before
    Measurement.objects.filter(visit=visit, lesion__limb__side="right").delete()
    merge_undo(by=podiatrist, merge=made, because="Two people.")
    assert Visit.objects.filter(person=kept, pk=visit.pk).exists()  # what was added since stays


def test_what_was_corrected_since_stays_and_what_was_moved_since_stops_the_undoing(pair, podiatrist, staff):
    kept, emptied = pair
    made = merge(podiatrist, kept, emptied)
    kept.refresh_from_db()
    with transaction.atomic():
        person_correct(by=staff, person=kept, expected_version=kept.version, telephone="000 99")
    assert merge_undo(by=podiatrist, merge=made, because="Two people.") == ["telephone"]
    kept.refresh_from_db()
    assert (kept.telephone, kept.allergies) == ("000 99", "penicillin")

    again = merge(podiatrist, kept, Person.objects.get(pk=emptied.pk))
    lesion = Lesion.objects.get(limb__person=kept, limb__side="right")
    Prescription.objects.filter(lesions=lesion).first().lesions.clear()
    with transaction.atomic():
        lesion_correct(
            by=staff,
            lesion=lesion,
            limb=kept.limbs.get(side="left"),
            why="Other foot.",
            expected_version=lesion.version,
            place="heel_central",
        )
    with pytest.raises(Refused, match="moved or renamed since"), transaction.atomic():
        merge_undo(by=podiatrist, merge=again, because="Two people.")


def test_the_joined_episode_that_ended_since_stops_the_undoing(pair, podiatrist):
    kept, emptied = pair
    made = merge(podiatrist, kept, emptied)
    today = timezone.localdate()
    Lesion.objects.filter(limb__person=kept).update(state="ended", outcome="lost", ended_on=today)
    Episode.objects.filter(person=kept).update(ended_on=today)
    with pytest.raises(Refused, match="joined episode"), transaction.atomic():
        merge_undo(by=podiatrist, merge=made, because="Two people.")


def test_a_chain_of_merges_is_undone_from_its_end(site, podiatrist):
    one, two, three = (record(site, device=False, days_ago=n, place="mth_1") for n in range(3))
    before = digest(one, two, three)
    first = merge(podiatrist, two, three)
    second = merge(podiatrist, one, Person.objects.get(pk=two.pk))
    three.refresh_from_db()
    assert three.merged_into == one
    with pytest.raises(Refused, match="later merge first"), transaction.atomic():
        merge_undo(by=podiatrist, merge=first, because="Wrong.")
    merge_undo(by=podiatrist, merge=second, because="Wrong.")
    three.refresh_from_db()
    assert three.merged_into == two
    merge_undo(by=podiatrist, merge=first, because="Wrong.")
    assert digest(one, two, three) == before


def test_two_merges_into_one_record_are_undone_the_last_one_first(site, podiatrist):
    one, two, three = (record(site, device=False, days_ago=n, place="mth_1") for n in range(3))
    first = merge(podiatrist, one, two)
    merge(podiatrist, Person.objects.get(pk=one.pk), three)
    with pytest.raises(Refused, match="merged in later"), transaction.atomic():
        merge_undo(by=podiatrist, merge=first, because="Wrong.")


def test_two_people_told_apart_leave_one_row_and_may_come_back(pair, staff):
    one, other = pair
    rows = AuditEvent.objects.count()
    people_keep_apart(by=staff, one=other, other=one)
    with pytest.raises(Refused):
        people_keep_apart(by=staff, one=one, other=other)
    assert AuditEvent.objects.count() == rows + 1
    people_maybe_same(by=staff, one=one, other=other)
    assert PeopleApart.objects.get().taken_back_at
    people_keep_apart(by=staff, one=one, other=other)


def test_relief_plans_and_their_codes_go_with_the_foot(site, podiatrist):
    kept = record(site, device=False)
    emptied = record(site, side="left", days_ago=1, plan=True, place="heel_central")
    code = relief_plan().code
    assert code
    merge(podiatrist, kept, emptied)
    lesion = Lesion.objects.get(limb__person=kept, place="heel_central")
    assert lesion.relief_plans.get().limb.person == kept
