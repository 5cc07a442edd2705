"""Operations by place: never with severe ischaemia or infection, never more while something is unknown."""

from itertools import product
from typing import get_args

import pytest

from clinic.guidelines.facts import Region, Surface
from clinic.guidelines.rows import PRACTICE
from clinic.guidelines.sites import SITES
from clinic.guidelines.surgery import OPERATIONS, surgery_talk

REGIONS, SURFACES = get_args(Region), get_args(Surface)
ISCHAEMIA, INFECTION = (None, 0, 1, 2, 3), (None, 1, 2, 3, 4)
MAYBE = (None, False, True)


def talk(region, surface, ischaemia=0, infection=1, bone=False, toe=None, charcot=False):
    return surgery_talk(
        region,
        surface,
        ischaemia_grade=ischaemia,
        infection_grade=infection,
        bone_infected=bone,
        flexible_toe=toe,
        active_charcot=charcot,
    )


def ids(made):
    return {one.id for one in made.operations}


def test_no_operation_is_named_with_severe_ischaemia_infection_or_while_either_is_unknown():
    swept = 0
    for region, surface, ischaemia, infection, bone, toe, charcot in product(
        REGIONS, SURFACES, ISCHAEMIA, INFECTION, MAYBE, MAYBE, MAYBE
    ):
        made = talk(region, surface, ischaemia, infection, bone, toe, charcot)
        swept += 1
        barred = ischaemia in (None, 3) or infection != 1 or bone or charcot
        assert bool(made.withheld) == bool(barred)
        assert not (made.operations and made.withheld)
        assert not made.withheld or made.source
    assert swept == 5 * 7 * 5 * 5 * 27


@pytest.mark.parametrize(
    ("place", "named"),
    [
        ("plantar_midfoot", "exostectomy"),
        ("plantar_mt5_base", "reconstruction"),
        ("heel_central", "calcanectomy"),
        ("heel_posterior", "calcanectomy"),
        ("mth_2", "head_resection"),
        ("plantar_hallux", "hallux_arthroplasty"),
        ("apex_3", "flexor_tenotomy"),
    ],
)
def test_each_region_has_its_operations(place, named):
    site = SITES[place]
    assert named in ids(talk(site.region, site.surface, toe=True if "apex" in place else None))


def test_every_place_on_the_sole_has_something_to_discuss():
    assert not [s.id for s in SITES.values() if s.surface == "plantar" and not ids(talk(s.region, s.surface))]


def test_a_rigid_toe_is_told_from_a_flexible_one():
    assert ids(talk("lesser_toe", "apex", toe=True)) == {"flexor_tenotomy"}
    assert ids(talk("lesser_toe", "apex", toe=False)) == {"toe_arthroplasty", "toe_head_resection"}
    assert ids(talk("lesser_toe", "dorsal", toe=False)) == {"toe_arthroplasty", "toe_head_resection"}
    assert "flexor_tenotomy" not in ids(talk("lesser_toe", "dorsal", toe=True))


def test_every_operation_names_its_source_or_says_from_memory():
    assert len({one.id for one in OPERATIONS}) == len(OPERATIONS)
    for one in OPERATIONS:
        assert "IWGDF" in one.source or ("from memory" in one.source and PRACTICE in one.source), one.id
