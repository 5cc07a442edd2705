import math
from decimal import Decimal

import pytest
from django.utils import timezone

from clinic.capture.writes.measurement import (
    LesionFindings,
    flags_in,
    infection_of,
    measurement_fill,
    wound_area,
)
from clinic.guidelines.standing_findings import StandingSettings
from clinic.models import Measurement, Visit
from clinic.record.errors import Refused
from tests import factories

pytestmark = pytest.mark.django_db

SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))


@pytest.fixture
def lesion():
    return factories.lesion()


def found(lesion, **told):
    return LesionFindings(lesion=lesion, **{"debridement": "before", **told})


def test_length_and_width_give_the_area_of_the_ellipse(lesion):
    area = wound_area(found(lesion, length_mm=Decimal(20), width_mm=Decimal(10)))
    assert area.method == "ellipse"
    assert area.area_mm2 == pytest.approx(math.pi / 4 * 200, abs=0.01)


def test_an_outline_gives_its_planimetry(lesion):
    area = wound_area(found(lesion, outline_mm=SQUARE))
    assert (area.method, area.area_mm2) == ("traced", 100.0)
    assert area.length_mm == Decimal("14.1")
    assert area.outline_mm == SQUARE


@pytest.mark.parametrize(
    ("told", "field", "words"),
    [
        ({}, "length_mm", "nothing given"),
        ({"length_mm": Decimal(5)}, "width_mm", "missing"),
        ({"length_mm": Decimal(5), "width_mm": Decimal(6)}, "width_mm", "cannot exceed the length"),
        ({"length_mm": Decimal(301), "width_mm": Decimal(6)}, "length_mm", "at most 300 mm"),
        ({"length_mm": Decimal(0), "width_mm": Decimal(0)}, "length_mm", "above 0"),
        ({"covered_dry": True, "outline_mm": SQUARE}, "length_mm", "give one of them"),
        ({"outline_mm": ((0, 0), (10, 10), (10, 0), (0, 10))}, "outline", "crosses"),
        ({"outline_mm": ((0, 0), (10, 10))}, "outline", "at least 3"),
        ({"outline_mm": ((0, 0), (float("nan"), 1), (3, 3))}, "outline", "finite"),
        ({"outline_mm": ((0, 0), (400, 0), (400, 5))}, "outline", "at most 300 mm"),
        ({"length_mm": Decimal(5), "width_mm": Decimal(4), "debridement": ""}, "debridement", "not said"),
    ],
)
def test_a_faulty_area_is_refused_at_its_field(lesion, told, field, words):
    with pytest.raises(Refused) as refused:
        wound_area(found(lesion, **told))
    assert refused.value.field == field
    assert words in refused.value.message


def test_covered_and_dry_is_zero_and_continues_the_kind_of_the_last_area(lesion):
    last = Measurement(method="ellipse", debridement="after", area_mm2=40.0)
    area = wound_area(found(lesion, covered_dry=True, debridement=""), last)
    assert (area.area_mm2, area.method, area.debridement) == (0.0, "ellipse", "after")


def test_a_lesion_not_measured_has_its_reason_and_no_area(lesion):
    area = wound_area(found(lesion, not_measured_because="dressing stuck", debridement=""))
    assert (area.method, area.area_mm2) == ("not_measured", None)


def empty(lesion, **signs):
    """A row to be filled, at a visit of today."""
    visit = Visit(person=lesion.limb.person, visited_on=timezone.localdate(), **signs)
    return Measurement(visit=visit, lesion=lesion)


def test_nobody_looked_means_no_grade(lesion):
    assert infection_of(empty(lesion), StandingSettings()) is None


@pytest.mark.parametrize(
    ("told", "grade"),
    [
        ({"infection_looked": True}, 1),
        ({"infection_looked": True, "infection_signs": ("warmth",)}, 1),
        ({"infection_signs": ("warmth",)}, 1),
        ({"infection_signs": ("warmth", "pus"), "deep_infection": False, "unwell": False}, 2),
        (
            {
                "infection_signs": ("redness", "pus"),
                "redness_mm": 19,
                "deep_infection": False,
                "unwell": False,
            },
            2,
        ),
        (
            {
                "infection_signs": ("redness", "pus"),
                "redness_mm": 20,
                "deep_infection": False,
                "unwell": False,
            },
            3,
        ),
        ({"infection_signs": ("warmth", "pus"), "deep_infection": True, "unwell": False}, 3),
        # Unwell, and nothing measured: severe is open, not found.
        ({"infection_signs": ("warmth", "pus"), "deep_infection": False, "unwell": True}, None),
        ({"infection_looked": True, "deep_infection": True}, 3),
        ({"infection_looked": True, "infection_signs": ("redness",), "redness_mm": 30}, 3),
        # The probe alone makes bone possible; with bone seen or local infection it is probable.
        ({"infection_looked": True, "probe_to_bone": True, "unwell": False}, 1),
        ({"infection_looked": True, "probe_to_bone": True, "depth": "bone", "unwell": False}, 3),
        # Redness that nobody measured leaves its reach, and so the grade, open.
        ({"infection_signs": ("redness", "pus")}, None),
    ],
)
def test_the_infection_grade_is_stored_as_a_copy(lesion, told, grade):
    row = measurement_fill(empty(lesion), found(lesion, covered_dry=True, **told))
    assert row.infection_grade == grade


def test_two_measured_signs_of_the_whole_person_make_it_severe_and_none_makes_no_grade_of_unwell(lesion):
    told = {"infection_signs": ("warmth", "pus"), "deep_infection": False, "unwell": True}
    row = measurement_fill(
        empty(lesion, temperature_c=39, pulse_per_min=100), found(lesion, covered_dry=True, **told)
    )
    assert row.infection_grade == 4
    fine = empty(lesion, temperature_c=37, pulse_per_min=70, breaths_per_min=14, white_cells_10e9_per_l=8)
    assert measurement_fill(fine, found(lesion, covered_dry=True, **told)).infection_grade == 2


def test_redness_without_its_tick_is_refused(lesion):
    with pytest.raises(Refused, match="not ticked"):
        measurement_fill(empty(lesion), found(lesion, covered_dry=True, redness_mm=10))


def test_a_lesion_speaks_its_own_red_flags():
    row = Measurement(unwell=True, probe_to_bone=True, infection_grade=4)
    assert flags_in(row, bone_before=False) == {
        "fever_or_unwell",
        "new_probe_to_bone",
        "infection_3_4_or_bone",
    }
    assert "new_probe_to_bone" not in flags_in(row, bone_before=True)
    assert flags_in(Measurement(infection_grade=2, unwell=False), bone_before=False) == set()
