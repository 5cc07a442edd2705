"""A podiatrist judges the bone; probable and proven are lifted by signed treatment alone."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.devices.reads.advice import limb_decision
from clinic.evidence.reads.bone import bone_judgements
from clinic.evidence.reads.bone_standing import bone_standing
from clinic.evidence.reads.standing import standing_of
from clinic.guidelines.bone import BoneParts
from clinic.lesions.writes.bone import bone_in_error, bone_judge
from clinic.models import AuditEvent, BoneJudgement, Role
from clinic.record.errors import Conflict, Refused
from tests import factories, factories_care

pytestmark = pytest.mark.django_db

TODAY = timezone.localdate
SUPPORTED = BoneParts(probe="supports", xray="supports")


def days(n):
    return TODAY() + timedelta(days=n)


@pytest.fixture
def lesion(person):
    return factories.lesion(on=factories.limb(of=person))


def judge(by, lesion, state="no", *, on=0, parts=None, **more):
    return bone_judge(
        by=by,
        lesion=lesion,
        judged_on=days(on),
        parts=parts or BoneParts(probe="against"),
        state=state,
        **more,
    )


def stands(lesion, day=None):
    return bone_standing(lesion, standing_of(lesion.limb, day or TODAY())).infected


@pytest.mark.parametrize("role", [role for role in Role.values if role != Role.PODIATRIST])
@pytest.mark.parametrize("treated", ["", "completed"])
def test_nobody_but_a_podiatrist_judges_or_signs_treatment(site, lesion, role, treated):
    with pytest.raises(Refused, match="a podiatrist judges"):
        judge(factories.user(role, at=site), lesion, treated=treated, note="done")
    assert not BoneJudgement.objects.exists()


def test_a_judgement_keeps_what_was_proposed_and_one_audit_row(podiatrist, lesion):
    made = judge(podiatrist, lesion, "probable", parts=SUPPORTED)
    assert (made.proposed, made.state, made.probe, made.mri) == (
        "probable",
        "probable",
        "supports",
        "not_done",
    )
    assert AuditEvent.objects.get().verb == "judged"


@pytest.mark.parametrize(("state", "parts"), [("possible", SUPPORTED), ("no", BoneParts())])
def test_a_milder_judgement_than_proposed_needs_its_words(podiatrist, lesion, state, parts):
    with pytest.raises(Refused, match="milder than what the parts propose") as refused:
        judge(podiatrist, lesion, state, parts=parts)
    assert refused.value.field == "note"
    judge(podiatrist, lesion, state, parts=parts, note="old fracture explains the film")


@pytest.mark.parametrize("infected", ["probable", "proven"])
@pytest.mark.parametrize("milder", ["no", "possible"])
def test_an_infected_bone_stands_until_treatment_is_signed(podiatrist, lesion, infected, milder):
    judge(podiatrist, lesion, infected, on=-40, parts=SUPPORTED)
    assert stands(lesion) is True
    with pytest.raises(Refused, match="stands until treatment") as refused:
        judge(podiatrist, lesion, milder, note="looks clean")
    assert refused.value.field == "state"
    assert stands(lesion) is True
    judge(podiatrist, lesion, milder, treated="completed", note="six weeks given")
    assert stands(lesion) is (False if milder == "no" else None)
    (finding,) = [one for one in bone_judgements([lesion], TODAY())[lesion.pk] if one.on == TODAY()]
    assert (finding.bone, finding.bone_treated, finding.by) == (milder, True, "podiatrist")


@pytest.mark.parametrize(
    ("state", "on", "words"),
    [("probable", 0, "judged no or possible"), ("no", -40, "lies after the day")],
)
def test_treatment_is_signed_of_a_later_day_and_not_with_an_infected_bone(
    podiatrist, lesion, state, on, words
):
    judge(podiatrist, lesion, "proven", on=-40, parts=SUPPORTED)
    with pytest.raises(Refused, match=words):
        judge(podiatrist, lesion, state, on=on, treated="resected", note="ray taken")


def test_treatment_needs_an_infection_that_stands(podiatrist, lesion):
    judge(podiatrist, lesion, "no", on=-3)
    with pytest.raises(Refused, match="judge that first"):
        judge(podiatrist, lesion, "no", treated="completed", note="six weeks")


@pytest.mark.parametrize("on", [1, -200])
def test_a_day_to_come_or_before_the_ulcer_is_refused(podiatrist, lesion, on):
    with pytest.raises(Refused) as refused:
        judge(podiatrist, lesion, on=on)
    assert refused.value.field == "judged_on"


def test_a_no_counts_for_the_days_of_a_clean_look_and_possible_is_not_known(podiatrist, lesion):
    judge(podiatrist, lesion, "no", on=-7)
    assert stands(lesion) is False
    assert stands(lesion, days(1)) is None
    judge(podiatrist, lesion, "possible", parts=BoneParts(xray="supports"))
    assert stands(lesion) is None


def test_a_judgement_in_error_stays_and_tells_nothing(podiatrist, lesion):
    made = judge(podiatrist, lesion, "proven", on=-2, parts=SUPPORTED)
    with pytest.raises(Conflict):
        bone_in_error(by=podiatrist, judgement=made, in_error_because="other foot", expected_version=7)
    made.refresh_from_db()
    bone_in_error(by=podiatrist, judgement=made, in_error_because="other foot", expected_version=1)
    assert BoneJudgement.objects.count() == 1
    assert bone_judgements([lesion], TODAY()) == {}
    judge(podiatrist, lesion, "no")
    assert stands(lesion) is False


def test_the_choice_of_device_reads_the_judgement_and_asks_no_tick(podiatrist, lesion):
    def fact():
        found = limb_decision(lesion.limb, TODAY(), {})
        (row,) = [row for row in found.facts[0].rows if row.name == "osteomyelitis"]
        return row.value, row.state

    assert fact() == (None, "missing")
    judge(podiatrist, lesion, "no")
    assert fact() == (False, "current")
    judge(podiatrist, lesion, "proven", parts=SUPPORTED)
    assert fact() == (True, "current")


def test_bone_felt_at_a_later_visit_is_not_answered_by_an_older_no(podiatrist, lesion):
    judge(podiatrist, lesion, "no", on=-3)
    at = factories.visit(of=lesion.limb.person)
    factories.measurement(at=at, of=lesion, probe_to_bone=True)
    found = limb_decision(lesion.limb, TODAY(), {}).facts[0]
    row = next(row for row in found.rows if row.name == "osteomyelitis")
    assert (row.value, found.facts.osteomyelitis) == (None, None)
    assert "not judged since" in row.note


def test_judgements_of_many_ulcers_are_read_at_once(person, django_assert_num_queries):
    lesions = [factories.lesion(on=factories.limb(of=person, side=side)) for side in ("left", "right")]
    for n in range(3):
        for lesion in lesions:
            factories_care.bone(of=lesion, judged_on=days(-n))
    with django_assert_num_queries(1):
        found = bone_judgements(lesions, TODAY())
    assert [len(found[one.pk]) for one in lesions] == [3, 3]
    assert [one.on for one in found[lesions[0].pk]] == [days(-2), days(-1), days(0)]


@pytest.mark.parametrize("counts", [3, 7])
@pytest.mark.parametrize("age", [0, 3, 4, 7, 8])
@pytest.mark.parametrize("probe", [None, False, True])
def test_ulcer_page_and_strip_tell_one_bone(podiatrist, lesion, counts, age, probe):
    lesion.limb.person.site.infection_look_days = counts
    lesion.limb.person.site.save()
    judge(podiatrist, lesion, "no", on=-age)
    if probe is not None:
        visit = factories.visit(of=lesion.limb.person, on=days(-1))
        factories.measurement(at=visit, of=lesion, probe_to_bone=probe)
    foot = standing_of(lesion.limb, TODAY())
    found = bone_standing(lesion, foot)
    known = {None: None, "no": False, "possible": None, "probable": True, "proven": True}
    assert found.infected is known[foot.lesions[lesion.pk].infection.bone]
