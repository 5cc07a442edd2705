from dataclasses import fields, replace
from datetime import date, timedelta
from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.healing.closing import paced_chances
from clinic.healing.errors import SeriesError
from clinic.healing.forecast import forecast, forecast_many
from clinic.healing.prognosis import WEEKS, PrognosisFacts, first_chances, prognosis_of
from clinic.healing.series import Area, last_run
from clinic.healing.turning import SHAPES

DAY = date(2026, 1, 5)


@pytest.mark.parametrize(
    ("facts", "chance"),
    [
        (PrognosisFacts(200.0, is_old=False, is_deep=False), 0.65),
        (PrognosisFacts(200.1, is_old=False, is_deep=False), 0.53),
        (PrognosisFacts(250.0, is_old=True, is_deep=False), 0.34),
        (PrognosisFacts(250.0, is_old=True, is_deep=True), 0.19),
    ],
)
def test_the_published_count_gives_the_published_share(facts, chance):
    # Margolis DJ et al., Am J Med 2003;115:627-631: not healed at 20 weeks 0.35, 0.47, 0.66, 0.81.
    found = prognosis_of(facts)
    assert found.chance == pytest.approx(chance)
    assert found.missing == ()


def test_what_is_not_known_is_named_and_lies_between_its_two_answers():
    found = prognosis_of(PrognosisFacts(150.0))
    assert found.missing == ("is_old", "is_deep")
    assert 0.34 < found.chance < 0.65


@pytest.mark.parametrize("name", [f.name for f in fields(PrognosisFacts) if f.name not in ("area", "ulcers")])
def test_every_fact_that_holds_lowers_the_chance(name):
    sound = PrognosisFacts(150.0, *([False] * 6), ulcers=1)
    assert prognosis_of(replace(sound, **{name: True})).chance < prognosis_of(sound).chance


def test_more_ulcers_lower_it_up_to_three():
    chances = [prognosis_of(PrognosisFacts(150.0, False, False, ulcers=n)).chance for n in (1, 2, 3, 4)]
    assert chances[0] > chances[1] > chances[2] == chances[3]


@pytest.mark.parametrize("bad", [{"area": 0.0}, {"area": 10.0, "ulcers": 0}])
def test_impossible_facts_are_refused(bad):
    with pytest.raises(SeriesError, match=next(iter(reversed(bad)))):
        PrognosisFacts(**bad)


@given(st.floats(2.0, 25.0), st.floats(0.1, 0.85))
def test_the_paces_give_each_wound_its_prognosis(radius, chance):
    radii = np.array([radius])
    tilted, told = first_chances(radii, np.array([chance])), paced_chances(radii, WEEKS)
    parts = np.array([shape.part for shape in SHAPES])
    np.testing.assert_allclose(tilted.sum(axis=2), 1.0)
    least, most = (told.min(axis=2) @ parts)[0], (told.max(axis=2) @ parts)[0]
    if least + 0.02 < chance < most - 0.02:
        assert ((tilted * told).sum(axis=2) @ parts)[0] == pytest.approx(chance, abs=1e-6)


def weekly(count, pace=0.4, radius=8.0):
    return last_run([Area(DAY + timedelta(days=7 * i), pi * (radius - pace * i) ** 2) for i in range(count)])


def test_a_prognosis_weighs_at_first_and_fades():
    gaps = []
    for count in (3, 6, 14):
        poor, good = (forecast(weekly(count), prognosis=p) for p in (0.2, 0.65))
        assert poor.chance_next_8w < good.chance_next_8w
        gaps.append(poor.trend - good.trend)
    assert gaps[0] > gaps[1] > gaps[2] > 0


def test_a_prognosis_of_one_wound_changes_no_other_and_none_changes_nothing():
    runs = [(weekly(4), ()), (weekly(5), ())]
    mixed = forecast_many(runs, prognoses=[0.2, None])
    assert mixed[1].weeks == pytest.approx(forecast_many(runs)[1].weeks, abs=1e-12)
    assert mixed[0].weeks != forecast_many(runs)[0].weeks
