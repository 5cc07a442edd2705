"""From the record to what a paper has to know: the wearer, the days and the numbers."""

from __future__ import annotations

from datetime import date

from clinic.evidence.reads.facts import LesionFacts, facts_of_limb
from clinic.guidelines.wearer import OtherFoot, PaperDates, PaperNumbers, Wearer
from clinic.models import Amputation, Limb, Prescription, Site, VisitState

__all__ = ["paper_dates", "paper_numbers", "wearer_of"]


def wearer_of(prescription: Prescription, day: date) -> Wearer:
    """The person with this device, as known on a day; a foot without an open ulcer leaves all unknown."""
    limb = prescription.limb
    found = facts_of_limb(limb, day, {})
    if not found:
        return Wearer(device_class=prescription.device_class, beside=tuple(prescription.beside))
    facts = found[0].facts
    return Wearer(
        device_class=prescription.device_class,
        beside=tuple(prescription.beside),
        places=tuple(one.lesion.place for one in found),
        other_foot=_other_foot(limb, facts.both_feet_ulcerated),
        charcot=facts.active_charcot,
        mobility=facts.mobility,
        infected=_infected(found, day),
    )


def _other_foot(limb: Limb, both: bool | None) -> OtherFoot | None:
    if both:
        return "ulcerated"
    gone = Limb.objects.filter(person=limb.person_id, amputation=Amputation.MAJOR).exclude(pk=limb.pk)
    if gone.exists():
        return "gone"
    return None if both is None else "sound"


def _infected(found: list[LesionFacts], day: date) -> bool | None:
    """Infected once one ulcer is; not infected only if each was looked at today and none is."""
    grades = [row for one in found for row in one.rows if row.name == "infection_grade"]
    if any(row.value is not None and row.value > 1 for row in grades):
        return True
    return None if any(row.value is None or row.found_on != day for row in grades) else False


def paper_dates(prescription: Prescription, day: date) -> PaperDates:
    """The days of a paper printed on a day: the next visit is what was agreed at a visit or a fitting."""
    fitting = prescription.fittings.standing().first()
    visits = prescription.limb.person.visits.filter(state=VisitState.STANDS, visited_on__lte=day)
    visit = visits.order_by("-visited_on", "-pk").first()
    agreed = [(fitting.fitted_on, fitting.review_on)] if fitting else []
    agreed += [(visit.visited_on, visit.next_on)] if visit else []
    days = [on for _, on in agreed if on is not None]
    coming = [on for on in days if on >= day]
    return PaperDates(
        today=day,
        open_by=prescription.open_by if prescription.stays_closed else None,
        next_on=min(coming) if coming else max(days, default=None),
        stopped_on=prescription.stopped_on,
    )


def paper_numbers(site: Site) -> PaperNumbers:
    """The numbers of a paper."""
    return PaperNumbers(
        emergency=site.telephone_emergency,
        in_hours=site.telephone("immediate", True),
        out_of_hours=site.telephone("immediate", False),
    )
