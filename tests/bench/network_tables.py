"""The tables of an invented network, written in bulk with keys counted up by hand."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import Max

from clinic.guidelines.edition import current
from clinic.models import (
    Circumstances,
    Episode,
    Event,
    Lesion,
    Limb,
    LimbFinding,
    Measurement,
    Person,
    Prescription,
    RedFlag,
    User,
    Visit,
    Weight,
)

from .bulk import Bulk

__all__ = ["Writer"]


class Writer:
    """The tables of one network with keys counted up by hand, so that rows can point at each other unread."""

    def __init__(self, author: User, at: datetime) -> None:
        same: dict[str, Any] = {"created_by_id": author.pk, "created_at": at}
        self.next = {
            model: (model._default_manager.aggregate(last=Max("pk"))["last"] or 0) + 1
            for model in (Person, Limb, Episode, Lesion, Visit, Prescription)
        }
        self.people = Bulk(
            Person,
            ("id", "site", "record_number", "given_name", "family_name", "birth_date", "state", "state_on"),
            diabetes_type="type_2",
            **same,
        )
        self.limbs = Bulk(Limb, ("id", "person", "side"), foot_length_mm=260, foot_breadth_mm=98, **same)
        self.weights = Bulk(Weight, ("person", "measured_on", "kg"), how="scales", **same)
        self.screens = Bulk(
            Circumstances,
            ("person", "asked_on", "high_falls_risk"),
            cannot_attend_weekly=False,
            mobility="walks",
            **same,
        )
        self.findings = Bulk(
            LimbFinding,
            ("limb", "found_on", "toe_pressure_mmhg"),
            monofilament_tested=10,
            monofilament_felt=3,
            dorsalis_pedis="present",
            posterior_tibial="present",
            deformity="none",
            charcot="none",
            **same,
        )
        self.episodes = Bulk(
            Episode, ("id", "person", "first_presented_on", "first_assessed_on", "ended_on"), **same
        )
        self.lesions = Bulk(
            Lesion,
            (
                "id",
                "episode",
                "limb",
                "label",
                "place",
                "cause",
                "onset_on",
                "first_seen_on",
                "recurs_of",
                "state",
                "outcome",
                "closed_on",
                "confirmed_on",
                "ended_on",
            ),
            **same,
        )
        self.visits = Bulk(
            Visit,
            (
                "id",
                "person",
                "visited_on",
                "attendance",
                "why_not",
                "submission_key",
                "fall",
                "other_foot",
                "wear",
                "next_on",
            ),
            **same,
        )
        self.measurements = Bulk(
            Measurement,
            (
                "visit",
                "lesion",
                "covered_dry",
                "method",
                "area_mm2",
                "depth",
                "infection_looked",
                "infection_grade",
                "not_measured_because",
            ),
            **same,
        )
        self.devices = Bulk(
            Prescription,
            (
                "id",
                "limb",
                "device_class",
                "prescribed_on",
                "advice",
                "first_offered",
                "agrees",
                "agreement",
                "departure_reason",
                "reason",
                "signed_by",
                "signed_at",
                "fitted_on",
                "sealed_on",
                "open_by",
                "opened_on",
                "stopped_on",
                "stop_reason",
            ),
            facts={"A": {"where": "invented", "rows": []}},
            edition=current().edition,
            **same,
        )
        self.links = Bulk(Prescription.lesions.through, ("prescription", "lesion"))
        self.events = Bulk(Event, ("limb", "lesion", "happened_on", "kind"), **same)
        self.flags = Bulk(
            RedFlag, ("person", "visit", "raised_at", "flags", "answer", "answered_at", "answered_by"), **same
        )

    #: In an order in which no row points at a table not written yet.
    @property
    def order(self) -> tuple[Bulk, ...]:
        return (
            self.people,
            self.limbs,
            self.weights,
            self.screens,
            self.findings,
            self.episodes,
            self.lesions,
            self.visits,
            self.measurements,
            self.devices,
            self.links,
            self.events,
            self.flags,
        )

    def key(self, model: Any) -> int:
        given = self.next[model]
        self.next[model] = given + 1
        return given

    def flush(self) -> None:
        for bulk in self.order:
            bulk.flush()
