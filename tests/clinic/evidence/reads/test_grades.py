"""Grades from the record: each with its parts, its source and the finding that is missing."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from clinic.audit.reads.completeness import GAPS
from clinic.evidence.reads.grades import grades_of
from clinic.evidence.reads.standing import standing_of
from tests import factories, factories_care

TODAY = timezone.localdate


@pytest.fixture
def limb(person):
    return factories.limb(of=person)


def graded(limb, lesion):
    found = grades_of(limb, [lesion], TODAY(), standing_of(limb, TODAY()))
    return {row.name: row for row in found[lesion.pk]}


def full(limb, *, cm2=0.9, depth="skin", place="mth_2", **finding):
    lesion = factories.lesion(on=limb, place=place)
    factories.finding(
        of=limb,
        monofilament_tested=10,
        monofilament_felt=10,
        dorsalis_pedis="present",
        posterior_tibial="present",
        toe_pressure_mmhg=75,
        deformity="none",
        charcot="none",
        rigid_deformity=False,
        flexible_toe_deformity=False,
        **finding,
    )
    factories.measurement(
        at=factories.visit(of=limb.person),
        of=lesion,
        cm2=cm2,
        depth=depth,
        infection_looked=True,
        infection_signs=[],
        infection_grade=1,
        deep_infection=False,
        unwell=False,
        probe_to_bone=False,
    )
    return lesion


def test_with_nothing_looked_at_every_grade_names_what_is_missing(limb):
    rows = graded(limb, factories.lesion(on=limb))
    assert rows["infection"].value == "not graded"
    assert rows["infection"].missing == (
        "infection looked at",
        "fever or unwell or not",
        "deeper than the skin or not",
        "bone infection, the (O) mark",
    )
    assert set(rows["sinbad"].missing) == {
        "foot pulses",
        "monofilament",
        "infection looked at",
        "area",
        "depth class",
    }
    assert "perfusion (No current toe value: measure the toe)" in rows["wifi"].missing
    assert "depth class" in rows["texas"].missing


def test_a_small_clean_shallow_forefoot_ulcer_on_a_whole_foot(limb):
    rows = graded(limb, full(limb))
    assert (rows["infection"].value, rows["infection"].missing) == ("1, none", ())
    assert rows["sinbad"].value == "0 of 6"
    assert rows["sinbad"].parts[0] == "Site 0"
    assert rows["wifi"].value == "stage 1, very low amputation risk"
    assert rows["wifi"].parts == ("Wound 1", "Ischaemia 0", "Foot infection 0")
    assert rows["texas"].value == "1A"
    assert rows["risk"].value == "category 3, high"
    assert all(row.source for row in rows.values())


@pytest.mark.parametrize(("cm2", "score"), [(0.99, "0 of 6"), (1.0, "1 of 6")])
def test_the_area_counts_from_one_square_centimetre(limb, cm2, score):
    assert graded(limb, full(limb, cm2=cm2))["sinbad"].value == score


def test_the_heel_counts_as_hindfoot_and_as_a_deeper_wound(limb):
    rows = graded(limb, full(limb, place="heel_central"))
    assert rows["sinbad"].value == "1 of 6"
    assert rows["wifi"].parts[0] == "Wound 2"


def test_bone_infection_gives_the_mark_and_changes_texas_and_wifi(limb):
    lesion = full(limb, depth="bone")
    factories_care.bone(of=lesion, state="probable")
    rows = graded(limb, lesion)
    assert rows["infection"].value == "3(O), moderate"
    assert rows["texas"].value == "3B"
    assert rows["wifi"].parts[2] == "Foot infection 2"
    assert "whether it is extensive" in rows["wifi"].missing


def test_perfusion_too_old_is_named_with_its_day_and_not_counted(limb):
    lesion = full(limb)
    limb.findings.update(found_on=TODAY() - timedelta(days=91))
    rows = graded(limb, lesion)
    assert any(
        words.startswith("perfusion (Toe pressure 75 mmHg on ") and "no longer counts" in words
        for words in rows["wifi"].missing
    )
    assert rows["texas"].value == "1A or 1C"


def test_gangrene_told_at_the_visit_raises_the_wound_grade_unless_it_was_no_flag(limb):
    lesion = full(limb, place="toe_pulp_2")
    flag = factories.red_flag(of=limb.person, flags=["gangrene"], visit=limb.person.visits.get())
    assert graded(limb, lesion)["wifi"].parts[0] == "Wound 2"
    flag.answer, flag.answered_at = "not_a_flag", timezone.now()
    flag.save()
    assert graded(limb, lesion)["wifi"].parts[0] == "Wound 1"


def test_a_visit_entered_in_error_grades_nothing(limb):
    lesion = full(limb)
    limb.person.visits.update(state="in_error", error_reason="wrong patient")
    assert graded(limb, lesion)["infection"].value == "not graded"


def test_queries_do_not_grow_with_the_record(limb):
    lesions = [factories.lesion(on=limb) for _ in range(2)]
    factories.measurement(at=factories.visit(of=limb.person, on=TODAY() - timedelta(days=70)), of=lesions[0])

    def count():
        with CaptureQueriesContext(connection) as caught:
            grades_of(limb, lesions, TODAY())
        return len(caught)

    few = count()
    for back in range(8):
        visit = factories.visit(of=limb.person, on=TODAY() - timedelta(days=7 * back))
        for lesion in lesions:
            factories.measurement(at=visit, of=lesion)
        factories.finding(of=limb, found_on=TODAY() - timedelta(days=7 * back), toe_pressure_mmhg=60)
    assert count() == few


def _covered(lesion):
    factories_care.found_covered(lesion, TODAY())


def _to_confirm(lesion):
    _covered(lesion)
    lesion.state, lesion.closed_on = "to_confirm", TODAY()
    lesion.save()


def _opened_again(lesion):
    factories_care.found_covered(lesion, TODAY() - timedelta(days=2))
    factories.measurement(at=factories.visit(of=lesion.limb.person), of=lesion, cm2=0.4)


def _infected_then_covered(lesion):
    before = factories.visit(of=lesion.limb.person, on=TODAY() - timedelta(days=7))
    factories.measurement(
        at=before, of=lesion, infection_looked=True, infection_signs=["swelling", "pus"], infection_grade=2
    )
    _covered(lesion)


#: How an ulcer stands -> whether its bed is asked about, and whether an infection is still followed.
STANDS = {
    "never seen": (lambda lesion: None, True, False),
    "covered": (_covered, False, False),
    "to confirm": (_to_confirm, False, False),
    "opened again": (_opened_again, True, False),
    "infected, then covered": (_infected_then_covered, False, True),
}


@pytest.mark.parametrize("stands", STANDS)
def test_only_what_somebody_is_asked_about_is_missing(limb, as_staff, stands):
    """Nothing of its bed of an ulcer that is covered; an infection that stands is followed all the same."""
    lesion = factories.lesion(on=limb)
    make, bed, infected = STANDS[stands]
    make(lesion)
    rows = graded(limb, lesion)
    of_the_foot = {"foot pulses", "monofilament", "perfusion"}
    for name in ("sinbad", "wifi", "texas"):
        missing = {words.split(" (")[0] for words in rows[name].missing}
        assert bool(missing - of_the_foot) is bed, name
        assert missing & of_the_foot, "what the foot misses is asked of a covered ulcer too"
        assert rows[name].value.startswith("not graded: covered") is not bed
    assert bool(rows["infection"].missing) is (bed or infected)
    assert rows["infection"].value.startswith("2") is infected
    page = as_staff.get(reverse("lesion", args=[lesion.pk])).content.decode()
    assert page.count("Missing: ") == sum(bool(row.missing) for row in rows.values())
    if not bed:
        visit = lesion.measurements.latest("pk").visit
        assert "Deepest tissue" not in as_staff.get(reverse("visit", args=[visit.pk])).content.decode()
    gaps = {one.key for one in GAPS.values() if one.rows([limb.person.site_id], TODAY()).exists()}
    assert ({"depth"} <= gaps) is bed
    assert ({"infection"} <= gaps) is (stands == "opened again")
