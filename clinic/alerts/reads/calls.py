"""Calls that came in, and what a call about a device that stays on asks for."""

from __future__ import annotations

from datetime import datetime

from django.db.models import QuerySet

from clinic.guidelines.clocks import Clock, flag_clock
from clinic.models import SEALED, CallAbout, IncomingCall, Person, PersonState, Prescription, Site
from clinic.rules.reads.clocks import hours_of

__all__ = ["OPENS_DEVICE", "call_clock", "call_words", "people_who_call", "sealed_of"]

#: Said of a device that stays on, these have it opened and the skin looked at the same day (common practice,
#: no source).
OPENS_DEVICE = (CallAbout.RUBBING, CallAbout.WET, CallAbout.FEVER, CallAbout.FELL)


def call_clock(call: IncomingCall, site: Site, now: datetime, *, sealed: bool) -> Clock:
    """By when a call is answered: the same day where a device that stays on has to be opened, else within
    one working day (design choice).
    """
    urgency = "same_day" if sealed and call.about in OPENS_DEVICE else "one_working_day"
    return flag_clock(call.called_at, urgency, hours_of(site), now)


def call_words(call: IncomingCall) -> str:
    """A call in one line."""
    by = f" ({call.caller})" if call.caller else ""
    return f"{call.get_about_display()}{by}: “{call.words}”"


def people_who_call(site: Site) -> QuerySet[Person]:
    """People in care of a site by name, to choose from."""
    return Person.objects.filter(site=site, state=PersonState.IN_CARE).order_by(
        "family_name", "given_name", "pk"
    )


def sealed_of(person: Person) -> tuple[Prescription, ...]:
    """Devices of a person that are sealed on now (one query)."""
    return tuple(Prescription.objects.filter(SEALED, limb__person=person).select_related("limb"))
