"""The non-healing review: opened by the verdict, whole or not kept, worked off by owners, decided last."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.curves.reads.healing import healing_of, not_healing_since
from clinic.guidelines.due import NON_HEALING_DAYS
from clinic.lesions.reads.causes import cause_sheet
from clinic.lesions.reads.non_healing import care_of, review_due_words, verdict_words
from clinic.lesions.writes.non_healing import ItemFound, item_close, review_decide, review_open
from clinic.models import AuditEvent, Event, LimbPlan, NonHealingReview, NonHealingTopic
from clinic.record.errors import Conflict, Refused
from clinic.week.reads.review import review_list
from clinic.week.reads.today import today_lists
from offload.models import ReliefPlan
from tests import factories, factories_care, feet

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate


def days(n):
    return TODAY() + timedelta(days=n)


@pytest.fixture
def lesion(person):
    found = factories.lesion(on=factories.limb(of=person))
    factories.series(found, [3.0] * 9)
    return found


def items(**different):
    plain = {topic: ItemFound("not_needed", "looked at, no cause") for topic in NonHealingTopic}
    return {**plain, **{NonHealingTopic(topic): found for topic, found in different.items()}}


def open_review(by, lesion, **different):
    healing = healing_of(lesion)
    return review_open(
        by=by,
        lesion=lesion,
        opened_on=TODAY(),
        verdict_kind=healing.kind,
        verdict=healing.words,
        items=items(**different),
    )


def due_now(site):
    morning = today_lists(site, TODAY()).morning
    return len(morning.reviews), len(morning.items)


def test_the_verdict_asks_for_it_on_today_and_review_until_it_is_opened(lesion, site, podiatrist):
    def asks():
        row = review_list(site, TODAY()).row_of(lesion)
        return [due.words for due in row.due if due.kind == "non_healing"]

    (row,) = today_lists(site, TODAY()).morning.reviews
    assert "static" in row.words
    assert (row.asks[0].url_name, row.asks[0].pk) == ("non_healing_new", lesion.pk)
    assert asks() == ["Non-healing review due: none opened yet."]
    open_review(podiatrist, lesion)
    assert asks() == []
    assert due_now(site) == (0, 0)


@pytest.mark.parametrize("areas", [[4.0, 3.0, 2.0, 1.3, 0.8, 0.5], [3.0], []])
def test_an_ulcer_that_heals_or_is_too_young_to_judge_asks_for_none_and_opens_none(
    person, site, podiatrist, areas
):
    found = factories.lesion(on=factories.limb(of=person))
    factories.series(found, areas)
    assert due_now(site) == (0, 0)
    with pytest.raises(Refused, match="a review is opened when"):
        open_review(podiatrist, found)
    assert not NonHealingReview.objects.exists()


def test_a_review_is_good_for_fourteen_days():
    day = TODAY()
    assert review_due_words("stalled", day - timedelta(days=NON_HEALING_DAYS), day) == ""
    assert "last opened" in review_due_words("stalled", day - timedelta(days=NON_HEALING_DAYS + 1), day)
    assert review_due_words("on_course", None, day) == ""


def test_what_is_due_has_owner_and_day_and_stands_on_the_curve(lesion, podiatrist, staff):
    made = open_review(
        podiatrist,
        lesion,
        perfusion=ItemFound("due", "toe pressure again", staff, days(3), ("Toe pressure: not known",)),
    )
    (event,) = Event.objects.all()
    assert (event.kind, event.lesion, event.note) == ("decision", lesion, "Perfusion: toe pressure again")
    kept = made.items.get(topic="perfusion")
    assert (kept.owner, kept.due_on, kept.facts) == (staff, days(3), ["Toe pressure: not known"])
    assert made.items.count() == len(NonHealingTopic) == 11
    assert AuditEvent.objects.get().verb == "opened"


@pytest.mark.parametrize(
    ("topic", "found", "field"),
    [
        ("perfusion", ItemFound("", "words"), "perfusion_state"),
        ("surgery", ItemFound("done", "  "), "surgery_words"),
        ("kidney", ItemFound("due", "ask for it"), "kidney_owner"),
    ],
)
def test_half_a_review_is_not_kept(lesion, podiatrist, topic, found, field):
    with pytest.raises(Refused) as refused:
        open_review(podiatrist, lesion, **{topic: found})
    assert refused.value.field == field
    assert not NonHealingReview.objects.exists()
    assert not Event.objects.exists()


@pytest.mark.parametrize(("due", "field"), [(None, "kidney_due_on"), (-1, "kidney_due_on")])
def test_an_item_due_needs_a_day_that_has_not_passed(lesion, podiatrist, staff, due, field):
    day = None if due is None else days(due)
    with pytest.raises(Refused) as refused:
        open_review(podiatrist, lesion, kidney=ItemFound("due", "ask for it", staff, day))
    assert refused.value.field == field


def test_an_owner_of_another_clinic_is_refused(lesion, podiatrist, other_site):
    stranger = factories.user("staff", at=other_site)
    with pytest.raises(Refused, match="does not work here"):
        open_review(podiatrist, lesion, kidney=ItemFound("due", "ask", stranger, days(1)))


@pytest.mark.parametrize(("ahead", "stands"), [(1, 0), (0, 1), (-5, 1)])
def test_an_item_stands_on_today_from_its_day_until_it_is_done(lesion, site, staff, ahead, stands):
    review = factories_care.non_healing(of=lesion, due={"smoking": days(ahead)})
    rows = today_lists(site, TODAY()).morning.items
    assert len(rows) == stands
    item = review.items.get(topic="smoking")
    if stands:
        assert f"owner {item.owner}" in rows[0].words
        assert ("late" in rows[0].words) == (ahead < 0)
    item_close(by=staff, item=item, state="done", words="stopped in May", expected_version=1)
    assert not today_lists(site, TODAY()).morning.items
    with pytest.raises(Refused, match="already"):
        item_close(by=staff, item=item, state="done", words="again", expected_version=2)


def test_good_care_has_not_failed_while_part_of_it_is_due_but_the_talk_of_surgery_may_be(lesion, podiatrist):
    review = factories_care.non_healing(of=lesion, due={"glycaemia": days(2), "surgery": days(9)})

    def decide(outcome="failed", by=podiatrist, version=1):
        return review_decide(
            by=by, review=review, outcome=outcome, outcome_words="nine weeks", expected_version=version
        )

    with pytest.raises(Refused, match="still due: glycaemia") as refused:
        decide()
    assert "surgery" not in refused.value.message
    assert care_of([lesion], TODAY())[lesion.pk].failed is None
    item_close(
        by=podiatrist,
        item=review.items.get(topic="glycaemia"),
        state="done",
        words="61 mmol/mol",
        expected_version=1,
    )
    decide()
    standing = care_of([lesion], TODAY())[lesion.pk]
    assert standing.failed is True
    assert standing.because.startswith("static, ")
    with pytest.raises(Conflict):
        decide("changed", version=1)


def test_only_a_podiatrist_decides_it(lesion, staff):
    review = factories_care.non_healing(of=lesion)
    with pytest.raises(Refused, match="a podiatrist decides"):
        review_decide(by=staff, review=review, outcome="failed", outcome_words="all", expected_version=1)


def test_the_verdict_tells_for_how_long_it_has_read_so(person):
    found = factories.lesion(on=factories.limb(of=person))
    factories.series(found, [4.0, 3.0, 2.2, 1.6, 1.2, 1.2, 1.2, 1.2, 1.2, 1.2, 1.2, 1.2])
    healing = healing_of(found)
    since = not_healing_since(healing)
    # It healed at first: the bad spell began later than the first area, and not only today.
    assert healing.areas[3].day < since < TODAY()
    assert f"{(TODAY() - since).days // 7} weeks" in verdict_words(healing, TODAY())


def test_care_that_was_said_to_have_failed_is_read_anew_when_the_ulcer_has_healed_in_between(person):
    found = factories.lesion(on=factories.limb(of=person))
    factories.series(found, [4.0, 3.0, 2.2, 1.6, 1.2, 0.9, 0.6, 0.6, 0.6, 0.6, 0.6, 0.6, 0.6])
    since = not_healing_since(healing_of(found))
    factories_care.non_healing(
        of=found,
        opened_on=since - timedelta(days=7),
        outcome="failed",
        outcome_on=since,
        outcome_words="then",
    )
    assert care_of([found], TODAY())[found.pk].failed is None


def facts(lesion):
    return {cause.topic: " | ".join(cause.facts) for cause in cause_sheet(lesion, TODAY()).causes}


def test_the_sheet_stands_with_dated_facts_and_what_is_not_known(lesion):
    factories.finding(of=lesion.limb, toe_pressure_mmhg=42, found_on=days(-200))
    factories.prescription(of=lesion.limb, lesions=[lesion], fitted_on=days(-21))
    factories_care.result(
        of=lesion.limb.person, kind="hba1c", result_on=days(-2), value=71, reading="abnormal"
    )
    factories_care.bone(of=lesion, state="possible", judged_on=days(-9))
    found = facts(lesion)
    assert "Toe pressure 42 mmHg" in found["perfusion"]
    assert "too old to rely on" in found["perfusion"]
    assert "Probe to bone: not known" in found["infection"]
    assert "Bone infection: possible" in found["infection"]
    assert "Foam: 3 weeks in use" in found["offloading"]
    assert "Wear: not known" in found["offloading"]
    assert "71 mmol/mol" in found["glycaemia"]
    assert "Albumin: not known" in found["nutrition"]
    assert "Kidney function (eGFR): not known" in found["kidney"]
    assert "not known" in found["smoking"]
    assert "local protocol" in found["surgery"]


@pytest.mark.parametrize(
    ("device", "foam"),
    [
        ("total_contact_cast", False),
        ("walker_knee_high_removable", True),
        ("walker_non_removable", True),
        ("felted_foam_with_footwear", False),
    ],
)
def test_the_age_of_a_foam_is_told_only_of_a_device_that_takes_an_insole(lesion, device, foam):
    factories.prescription(of=lesion.limb, lesions=[lesion], device_class=device, fitted_on=days(-42))
    assert ("Foam: 6 weeks" in facts(lesion)["offloading"]) == foam


def test_operations_are_withheld_from_an_infected_ulcer_and_named_with_source_on_a_clean_one(lesion):
    factories.finding(of=lesion.limb, toe_pressure_mmhg=80, charcot="none")
    factories_care.bone(of=lesion)
    today = lesion.measurements.filter(visit__visited_on=TODAY())
    today.update(**feet.CLEAN_LOOK)
    assert "To discuss: Metatarsal-head resection (IWGDF" in facts(lesion)["surgery"]
    today.update(infection_grade=2, infection_signs=["warmth", "pus"])
    assert "To discuss" not in facts(lesion)["surgery"]
    assert "treat it first" in facts(lesion)["surgery"]


@pytest.mark.parametrize(("void", "closed"), [(0.0, True), (0.4, True), (2.5, False)])
def test_a_space_that_is_closed_in_the_plan_of_the_running_device_is_stressed(lesion, void, closed):
    def plan(clearance):
        figures = {"pressure": {"lesions": [{"label": "A", "clearance_mm": clearance}]}}
        return ReliefPlan.objects.create(
            code=f"V{ReliefPlan.objects.count():05d}",
            side=lesion.limb.side,
            state="signed",
            spec={},
            result=figures,
            sha256="0" * 64,
            core_version="test",
            created_at=timezone.now(),
            made_by="test",
            signed_at=timezone.now(),
            signed_by="test",
        )

    worn, newer = plan(void), plan(9.0)
    link = LimbPlan.objects.create(limb=lesion.limb, plan=newer, created_by=factories.author())
    link.lesions.set([lesion])
    factories.prescription(of=lesion.limb, lesions=[lesion], fitted_on=days(-20), relief_plan=worn)
    found = facts(lesion)["offloading"]
    assert f"Space left under A in the plan: {void:g} mm" in found
    assert ("the space is closed" in found) == closed
