"""An invented person comes to the clinic: registered, measured, examined, asked."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from clinic.capture.writes import photos
from clinic.models import Person, Site, User
from clinic.people.writes import limbs, people

from .scenario import PersonPlot

__all__ = ["arrive", "typed"]


def typed(answers: dict[str, Any]) -> dict[str, Any]:
    """Answers of the scenario file as a form would have them."""
    return {k: Decimal(str(v)) if isinstance(v, float) else v for k, v in answers.items()}


def arrive(plot: PersonPlot, site: Site, day: date, staff: User, podiatrist: User) -> Person:
    """The person of a plot, on the first day of their story."""
    person = people.person_register(
        by=staff,
        site=site,
        given_name=plot.given,
        family_name=plot.family,
        record_number=plot.number,
        birth_date=date.fromisoformat(plot.born),
        diabetes_type=plot.diabetes,
        telephone=plot.telephone,
        allergies=plot.allergies,
        language=plot.language,
        interpreter=bool(plot.language),
        dialysis=plot.dialysis,
        kg=None if plot.kg is None else Decimal(str(plot.kg)),
        how="scales" if plot.kg is not None else "",
        measured_on=day,
    )
    for limb in person.limbs.all():
        limbs.limb_correct(
            by=staff,
            limb=limb,
            foot_length_mm=Decimal(str(plot.foot[0])),
            foot_breadth_mm=Decimal(str(plot.foot[1])),
            amputation="none",
            expected_version=limb.version,
        )
    for side in dict.fromkeys(lesion.side for lesion in plot.lesions) if plot.findings else ():
        limb = person.limbs.select_related("person__site").get(side=side)
        limbs.finding_add(by=podiatrist, limb=limb, found_on=day, **typed(plot.findings))
    if plot.circumstances:
        people.circumstances_add(by=staff, person=person, asked_on=day, **typed(plot.circumstances))
    if plot.photos:
        photos.consent_give(by=staff, person=person, given_on=day)
    return person
