"""An ulcer registered in error leaves every figure; what hung on it is on the right one or settled."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from clinic.audit.reads.cases import AuditFilter
from clinic.audit.reads.outcomes import OutcomesFilter, outcomes_of
from clinic.audit.reads.page import audit_report
from clinic.case.writes.in_error import MOVES, STAYS, RightPlace, lesion_in_error
from clinic.lesions.writes.closure import lesion_end
from clinic.models import Lesion, Look, Photo, Referral, ReviewNote
from clinic.record.errors import Refused
from tests import factories, factories_care
from tests.clinic.case.writes.test_settling import a_plan, sealed_device

TODAY = timezone.localdate
AGO = lambda days: TODAY() - timedelta(days=days)  # noqa: E731


@pytest.fixture
def left(person):
    return factories.limb(of=person)


@pytest.fixture
def right(person):
    return factories.limb(of=person, side="right")


@pytest.fixture
def wrong(left, right):
    return factories.lesion(on=left)


def mark(by, lesion, right=None, **more):
    given = {"because": "wrong foot", "findings_move": True, **more}
    return lesion_in_error(
        by=by, lesion=lesion, right=right or RightPlace(), expected_version=lesion.version, **given
    )


def hang_everything(lesion):
    """One row of every noun that hangs on an ulcer."""
    by = {"created_by": factories.author()}
    visit = factories.visit(of=lesion.limb.person)
    factories.measurement(at=visit, of=lesion)
    Photo.objects.create(
        lesion=lesion, taken_on=TODAY(), file="photos/x.jpg", sha256="0" * 64, width_px=1, height_px=1, **by
    )
    Look.objects.create(lesion=lesion, asked_at=timezone.now(), question="Deeper?", **by)
    Referral.objects.create(
        person=lesion.limb.person,
        lesion=lesion,
        to="vascular",
        urgency="planned",
        because="x",
        made_at=timezone.now(),
        **by,
    )
    factories_care.result(of=lesion.limb.person, lesion=lesion, limb=lesion.limb)
    factories_care.antibiotic(of=lesion)
    factories_care.bone(of=lesion)
    factories_care.non_healing(of=lesion)
    ReviewNote.objects.create(lesion=lesion, seen_on=TODAY(), note="seen", concern="stalled", **by)
    factories.event(of=lesion, kind="debrided", lesion=lesion)


def test_every_noun_that_names_an_ulcer_moves_or_has_its_reason_to_stay():
    names = {
        field.related_model.__name__
        for field in Lesion._meta.get_fields()
        if field.is_relation and field.auto_created
    }
    assert names == {model.__name__ for model in MOVES} | set(STAYS)


def test_on_the_other_foot_everything_goes_with_it(wrong, right, staff):
    hang_everything(wrong)
    place = mark(staff, wrong, RightPlace(limb=right, place="mth_2"))
    assert (place.limb, place.place, place.state, place.first_seen_on) == (
        right,
        "mth_2",
        "open",
        wrong.first_seen_on,
    )
    for model in MOVES:
        assert not model.objects.filter(lesion=wrong).exists(), model
        (row,) = model.objects.filter(lesion=place)
        assert getattr(row, "limb_id", None) in (None, right.pk), model
    assert (wrong.outcome, wrong.instead) == ("in_error", place)


@pytest.mark.parametrize("state", ["open", "healed"])
def test_no_figure_counts_it(wrong, right, staff, site, state):
    factories.prescription(of=wrong.limb, lesions=[wrong], stopped_on=TODAY(), stop_reason="other")
    if state == "healed":
        Lesion.objects.filter(pk=wrong.pk).update(
            state="healed", outcome="healed", closed_on=AGO(20), confirmed_on=AGO(2)
        )
        wrong.refresh_from_db()
    wanted = AuditFilter((site,), AGO(365), TODAY())

    def counted():
        found = audit_report(wanted, TODAY()).figures
        totals = {key: figure.count for key, figure in found.items() if key.startswith("outcome.")}
        return sum(totals.values()), outcomes_of(
            OutcomesFilter(sites=(site,), since=AGO(365), until=TODAY()), TODAY()
        ).total

    before = counted()
    assert all(before)
    mark(staff, wrong)
    assert not any(counted())


def test_a_sealed_device_keeps_its_clock_on_the_right_foot(wrong, right, staff):
    device = sealed_device(wrong.limb, wrong)
    with pytest.raises(Refused) as refused:
        mark(staff, wrong, RightPlace(limb=right, place="mth_2"))
    assert refused.value.field == "device"
    place = mark(staff, wrong, RightPlace(limb=right, place="mth_2"), device="move")
    device.refresh_from_db()
    assert (device.limb, device.opened_on, device.stopped_on) == (right, None, None)
    assert place in device.lesions.all()


def test_where_it_never_was_the_device_is_taken_off_by_somebody(wrong, staff):
    device = sealed_device(wrong.limb, wrong)
    with pytest.raises(Refused):
        mark(staff, wrong, device="move")
    with pytest.raises(Refused, match="who took it off"):
        mark(staff, wrong, device="taken_off")
    mark(staff, wrong, device="taken_off", device_by="Nora")
    device.refresh_from_db()
    assert (device.stopped_on, device.left_with) == (TODAY(), "Nora")


def test_its_plans_are_set_aside(wrong, right, podiatrist):
    link = a_plan(wrong.limb, wrong)
    mark(podiatrist, wrong, RightPlace(limb=right, place="mth_2"))
    link.refresh_from_db()
    assert "wrong foot" in link.ended_because


def test_a_double_entry_goes_into_the_other_but_not_where_both_were_measured(wrong, staff):
    other = factories.lesion(on=wrong.limb, place="mth_1")
    visit = factories.visit(of=wrong.limb.person)
    factories.measurement(at=visit, of=wrong)
    factories.measurement(at=visit, of=other)
    with pytest.raises(Refused) as refused:
        mark(staff, wrong, RightPlace(instead=other))
    assert refused.value.field == "findings"
    assert mark(staff, wrong, RightPlace(instead=other), findings_move=False) == other
    assert wrong.measurements.count() == other.measurements.count() == 1


def test_it_is_asked_whose_the_findings_are(wrong, right, staff):
    hang_everything(wrong)
    with pytest.raises(Refused) as refused:
        mark(staff, wrong, RightPlace(limb=right, place="mth_2"), findings_move=None)
    assert refused.value.field == "findings"


def test_it_is_no_outcome_of_ending_otherwise(wrong, staff):
    with pytest.raises(Refused, match="page of its own"):
        lesion_end(
            by=staff, lesion=wrong, outcome="in_error", ended_on=TODAY(), expected_version=wrong.version
        )


def test_the_page_takes_it(wrong, right, as_staff):
    page = reverse("lesion_in_error", args=[wrong.pk])
    sent = {"because": "left and right changed", "side": "right", "place": "mth_3", "version": wrong.version}
    answer = as_staff.post(page, sent)
    assert answer.status_code == 302
    wrong.refresh_from_db()
    assert answer.url == reverse("lesion", args=[wrong.instead_id])
    shown = as_staff.get(reverse("lesion", args=[wrong.pk])).content.decode()
    assert "Registered in error: left and right changed" in shown


@pytest.mark.parametrize(
    ("told", "place"), [({"side": "right"}, "mth_2"), ({"place": "mth_3"}, "mth_3")], ids=["foot", "place"]
)
def test_of_foot_and_place_what_is_not_given_stays(wrong, right, as_staff, told, place):
    assert wrong.place == "mth_2"
    sent = {"because": "the other foot was meant", "version": wrong.version, **told}
    assert as_staff.post(reverse("lesion_in_error", args=[wrong.pk]), sent).status_code == 302
    wrong.refresh_from_db()
    assert wrong.instead.limb.side == told.get("side", "left")
    assert wrong.instead.place == place
