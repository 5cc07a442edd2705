"""A visit taken out as entered in error, and one moved to the right person, sent filled."""

from django.utils import timezone

from clinic.visits.forms.taking_back import InErrorForm, MoveForm
from tests import factories, factories_care
from tests.clinic.fields.filled import Kept, Sent, day, filled
from tests.clinic.fields.scenes import SEALED, worn, wound


@filled("visit_in_error", InErrorForm)
def a_visit_taken_out(site, by):
    visit = factories.visit(of=factories.person(at=site))
    weight = factories.weight(of=visit.person, visit=visit, kg=91)
    choice = f"weight-{weight.pk}"
    data = {"version": "1", "reason": "wrong day", "kept_because": "weighed all the same", choice: "keep"}
    kept = {
        "reason": "Visit.error_reason",
        "kept_because": (
            "HistoricalWeight.history_change_reason",
            lambda told: "weighed all the same" in told,
        ),
        choice: ("Weight.visit", None),
    }
    return Sent({"visit": visit.pk}, data, {InErrorForm: Kept("Visit", kept)})


@filled("visit_move", MoveForm)
def a_visit_moved(site, by):
    lesion, right = wound(site), wound(site)
    visit = factories.visit(of=lesion.limb.person, on=timezone.localdate())
    factories.measurement(at=visit, of=lesion)
    device = worn(right, "walker_non_removable", **SEALED)
    result = factories_care.result(of=lesion.limb.person, requested_on=timezone.localdate())
    who, choice, place = right.limb.person, f"result-{result.pk}", f"lesion-{lesion.pk}"
    data = {
        "version": "1",
        "reason": "two charts were open",
        "next_on": day(3),
        "device_opened": "on",
        place: str(right.pk),
        choice: "back",
    }
    kept = {
        "reason": ("HistoricalVisit.history_change_reason", "two charts were open"),
        "device_opened": ("Prescription.opened_on", timezone.localdate()),
        place: ("Measurement.lesion", right),
        choice: ("Result.withdrawn_because", "two charts were open"),
    }
    assert device.limb.person == who
    return Sent({"visit": visit.pk, "person": who.pk}, data, {MoveForm: Kept("Visit", kept)})
