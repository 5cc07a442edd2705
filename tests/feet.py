"""A foot at which everything was looked at and nothing found, for tests of devices that stay on."""

import itertools
from datetime import date
from typing import Any

from django.utils import timezone

from clinic.models import Lesion, Limb, User
from clinic.people.writes.limbs import finding_add
from clinic.people.writes.people import circumstances_add
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


#: The same as it is told to a write, which grades it itself.
TOLD: dict[str, Any] = {
    name: value for name, value in CLEAN_LOOK.items() if name not in ("infection_grade", "infection_signs")
}
# Never the same value twice running: a double is refused.
_toes = itertools.cycle(range(70, 90))


def examine(by: User, limb: Limb, day: date, **found: Any) -> None:
    """The toe pressure measured, and it is good."""
    finding_add(by=by, limb=limb, found_on=day, toe_pressure_mmhg=next(_toes), **found)


def ask_all(by: User, limb: Limb, day: date) -> None:
    """What is asked once before a device that stays on, each answered no."""
    examine(by, limb, day, charcot="none", dvt_suspected=False, ulcer_on_same_leg=False)
    asked = {"claustrophobia": False, "high_falls_risk": False, "cannot_attend_weekly": False}
    circumstances_add(by=by, person=limb.person, asked_on=day, mobility="walks", **asked)


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
