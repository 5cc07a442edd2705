"""Wound bed, edge and dressing told as unchanged: copied with their day, and only where that is true."""

from datetime import timedelta

import pytest
from django.utils import timezone

from clinic.capture.reads.unchanged import DESCRIBED
from clinic.capture.writes.measurement import LesionFindings, measurement_fill
from clinic.models import Measurement, UlcerFindings
from clinic.record.errors import Refused
from tests import factories

pytestmark = pytest.mark.django_db
TOLD = {"tissue": "granulating", "edge": "sloping", "dressing": "foam"}


def days(n):
    return timezone.localdate() + timedelta(days=n)


@pytest.fixture
def lesion(site):
    return factories.lesion(on=factories.limb(of=factories.person(at=site)))


def seen(lesion, n, **fields):
    visit = factories.visit(of=lesion.limb.person, on=days(n))
    return factories.measurement(
        at=visit, of=lesion, **{"infection_looked": True, "infection_grade": 1, **fields}
    )


def now(lesion, **told):
    outline = told.pop("outline_mm", ((0, 0), (20, 0), (20, 10), (0, 10)))
    found = LesionFindings(
        lesion=lesion,
        unchanged=True,
        **{
            "infection_looked": True,
            "deep_infection": False,
            "unwell": False,
            "debridement": "before",
            **told,
        },
        outline_mm=outline,
    )
    visit = factories.visit(of=lesion.limb.person)
    return measurement_fill(Measurement(visit=visit, lesion=lesion), found)


def test_the_three_are_copied_with_the_day_they_were_described(lesion):
    seen(lesion, -14, **TOLD)
    seen(lesion, -7, **TOLD, unchanged_since=days(-14))
    row = now(lesion)
    assert {name: getattr(row, name) for name in DESCRIBED} == TOLD
    assert row.unchanged_since == days(-14)


def test_nothing_else_is_taken_over(lesion):
    bad = {
        "depth": "bone",
        "exudate": "heavy",
        "odour": True,
        "surrounding_skin": "macerated",
        "depth_mm": 9,
        "undermining_mm": 5,
        "probe_to_bone": True,
        "cavity": True,
        "other_cause": "gout",
        "redness_mm": 8,
        "infection_signs": ["redness"],
    }
    seen(lesion, -7, **TOLD, **bad, infection_grade=3, cm2=4.0)
    row = now(lesion)
    told = {"infection_looked": True, "deep_infection": False, "unwell": False}
    for finding in UlcerFindings.__dataclass_fields__.values():
        if finding.name in (*DESCRIBED, "infection_signs"):
            continue
        assert getattr(row, finding.name) == told.get(finding.name, finding.default), finding.name
    assert row.infection_signs == []


@pytest.mark.parametrize(
    ("before", "told", "words"),
    [
        (None, {}, "nothing was described"),
        ({}, {}, "nothing was described"),
        (TOLD, {"infection_looked": False}, "after looking"),
        (TOLD, {"tissue": "slough"}, "also described"),
        (TOLD, {"covered_dry": True, "outline_mm": ()}, "no wound bed"),
        ({**TOLD, "cm2": 1.0}, {}, "larger than"),
        ({**TOLD, "depth": "skin"}, {"depth": "subcutaneous"}, "reaches deeper"),
        (
            TOLD,
            {"infection_signs": ("redness", "warmth"), "redness_mm": 5},
            "infection grade rose from 1 to 2",
        ),
    ],
)
def test_refused_where_it_is_not_so(lesion, before, told, words):
    if before is not None:
        seen(lesion, -7, **before)
    with pytest.raises(Refused, match=words) as refused:
        now(lesion, **told)
    assert refused.value.field == "unchanged"


def test_twice_running_and_no_more(lesion):
    seen(lesion, -21, **TOLD)
    for n in (-14, -7):
        seen(lesion, n, **TOLD, unchanged_since=days(-21))
    with pytest.raises(Refused, match="told 2 times running"):
        now(lesion)


def test_a_correction_of_what_was_copied_takes_the_mark_away(lesion):
    row = seen(lesion, -7, **TOLD, unchanged_since=days(-14), debridement="before")
    found = {"lesion": lesion, "outline_mm": ((0, 0), (20, 0), (20, 10), (0, 10)), "debridement": "before"}
    assert measurement_fill(row, LesionFindings(**found, **TOLD)).unchanged_since == days(-14)
    assert (
        measurement_fill(row, LesionFindings(**found, **{**TOLD, "edge": "rolled"})).unchanged_since is None
    )


@pytest.mark.parametrize(
    ("told", "cavity"),
    [
        ({"undermining_mm": 3}, True),
        ({"depth_mm": 12}, True),
        ({"depth_mm": 4, "undermining_mm": 0}, False),
        ({"depth_mm": 4}, None),
        ({"undermining_mm": 0}, None),
        ({}, None),
    ],
)
def test_millimetres_say_whether_it_is_deeper_than_wide_or_undermined(lesion, told, cavity):
    seen(lesion, -7, **TOLD)
    assert now(lesion, **told).cavity is cavity


def test_no_cavity_beside_millimetres_that_say_one_is_refused(lesion):
    seen(lesion, -7, **TOLD)
    with pytest.raises(Refused, match="undermining 3 mm"):
        now(lesion, undermining_mm=3, cavity=False)
