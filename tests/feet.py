"""A foot at which everything was looked at and nothing found, for tests of devices that stay on."""

from typing import Any

from django.utils import timezone

from clinic.models import Lesion
from tests import factories

#: A complete look at one ulcer that finds nothing.
CLEAN_LOOK: dict[str, Any] = {
    "infection_looked": True,
    "infection_signs": [],
    "infection_grade": 1,
    "deep_infection": False,
    "probe_to_bone": False,
    "unwell": False,
    "cavity": False,
}


def clean_foot(of: Lesion, **finding: Any) -> None:
    """Everything looked at today and nothing found: a device that stays on may be signed and sealed.

    What the prescription page asks, such as the weight limit, is not in it.
    """
    person, today = of.limb.person, timezone.localdate()
    found = {"toe_pressure_mmhg": 75, "dvt_suspected": False, "ulcer_on_same_leg": False, "charcot": "none"}
    factories.finding(of=of.limb, found_on=today, **{**found, **finding})
    for lesion in of.limb.lesions.all():
        if not lesion.measurements.filter(visit__visited_on=today).exists():
            at = person.visits.filter(visited_on=today).first() or factories.visit(of=person)
            factories.measurement(at=at, of=lesion, **CLEAN_LOOK)
    person.circumstances.create(
        asked_on=today,
        mobility="walks",
        claustrophobia=False,
        high_falls_risk=False,
        cannot_attend_weekly=False,
        created_by=factories.author(),
    )
