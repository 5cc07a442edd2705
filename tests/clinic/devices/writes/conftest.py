"""A foot for which a device is chosen."""

import pytest
from django.utils import timezone

from tests import factories, feet

TODAY = timezone.localdate


@pytest.fixture
def limb(person):
    """A limb with one plantar forefoot ulcer and every fact known, so that a device that stays on comes
    first.
    """
    made = factories.limb(of=person)
    lesion = factories.lesion(on=made)
    factories.finding(
        of=made,
        toe_pressure_mmhg=75,
        deformity="small",
        rigid_deformity=False,
        flexible_toe_deformity=False,
        charcot="none",
        oedema="none",
        bulky_calf=False,
        fragile_skin=False,
        dvt_suspected=False,
        ulcer_on_same_leg=False,
    )
    person.circumstances.create(
        asked_on=TODAY(),
        high_falls_risk=False,
        cannot_attend_weekly=False,
        declines_non_removable=False,
        mobility="walks",
        claustrophobia=False,
        created_by=factories.author(),
    )
    factories.measurement(at=factories.visit(of=person), of=lesion, **feet.CLEAN_LOOK)
    return made
