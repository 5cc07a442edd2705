"""A weekly visit of a person, booked or made: what is asked once, whatever the number of lesions."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal

from django.db import models

from .record import ClinicalRecord, between, counts_for, one_of


class Attendance(models.TextChoices):
    CAME = "came", "Came"
    DID_NOT_COME = "did_not_come", "Did not come"
    CANCELLED = "cancelled", "Cancelled by us"
    IN_HOSPITAL = "in_hospital", "In hospital"
    ELSEWHERE = "elsewhere", "Seen elsewhere"


class VisitState(models.TextChoices):
    STANDS = "stands", "Stands"
    IN_ERROR = "in_error", "Entered in error"


class Pain(models.TextChoices):
    NONE = "none", "None new"
    NEW = "new", "New pain"
    WORSE = "worse", "Worse pain"


class Looked(models.TextChoices):
    CLEAR = "clear", "Looked at, clear"
    PROBLEM = "problem", "Looked at, problem"


class DeviceCondition(models.TextChoices):
    SOUND = "sound", "Sound"
    WORN = "worn", "Worn, still works"
    BROKEN = "broken", "Broken or wet"
    NONE = "no_device", "No device"


class Wear(models.TextChoices):
    ALL = "all", "All steps"
    MOST = "most", "Most steps"
    HALF = "half", "About half"
    FEW = "few", "Few steps"
    NONE = "none", "Not worn"
    STILL_SEALED = "still_sealed", "Still sealed"
    OPENED = "opened", "Opened by the patient"


class Visit(ClinicalRecord):
    SITE_PATH = "person__site"

    person = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="visits")
    visited_on = models.DateField("date of the visit")
    attendance = models.CharField(max_length=14, choices=Attendance.choices, default=Attendance.CAME)
    why_not = models.CharField("why not", max_length=200, blank=True)
    # The same form sent twice carries the same key: the second one finds the first one's visit.
    submission_key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)

    pain = models.CharField("pain", max_length=5, choices=Pain.choices, blank=True)
    fall = models.BooleanField("a fall since the last visit", null=True, blank=True)
    other_foot = models.CharField(max_length=8, choices=Looked.choices, blank=True)
    other_foot_note = models.CharField("what on the other foot", max_length=200, blank=True)
    skin_under_device = models.CharField(max_length=8, choices=Looked.choices, blank=True)
    skin_note = models.CharField("what under the device", max_length=200, blank=True)
    device_condition = models.CharField(max_length=10, choices=DeviceCondition.choices, blank=True)
    wear = models.CharField(max_length=12, choices=Wear.choices, blank=True)
    why_not_worn = models.CharField(max_length=200, blank=True)
    #: Signs of the whole person, measured when somebody is unwell; each empty one was not measured.
    temperature_c = models.DecimalField(
        "temperature (°C)", max_digits=3, decimal_places=1, null=True, blank=True
    )
    pulse_per_min = models.PositiveSmallIntegerField("pulse (per minute)", null=True, blank=True)
    breaths_per_min = models.PositiveSmallIntegerField("breaths (per minute)", null=True, blank=True)
    white_cells_10e9_per_l = models.DecimalField(
        "white cells (10⁹ per litre)", max_digits=4, decimal_places=1, null=True, blank=True
    )
    #: One line for all ulcers, as visits were kept before each ulcer had its own; kept, not written any more.
    dressing = models.CharField(max_length=200, blank=True)
    note = models.TextField(blank=True)
    next_on = models.DateField("next visit", null=True, blank=True)
    #: Of the next visit: the time agreed, how the person comes, or why there is no date.
    next_at = models.TimeField("time of the next visit", null=True, blank=True)
    transport = models.CharField("transport", max_length=80, blank=True)
    no_next_because = models.CharField("no next date because", max_length=200, blank=True)

    state = models.CharField(max_length=8, choices=VisitState.choices, default=VisitState.STANDS)
    error_reason = models.CharField(max_length=200, blank=True)
    counts_for = counts_for()
    #: Values that were asked about before saving and confirmed, in the words of the question.
    confirmed_as_typed = models.JSONField(default=list, blank=True)
    #: Begun by one person and left for another to finish; what is stored so far is found, the rest is owed.
    unfinished = models.BooleanField(default=False)
    #: Written on paper while the program could not be reached, and entered afterwards.
    from_paper = models.BooleanField(default=False)

    class Meta:
        ordering = ["-visited_on", "-pk"]
        constraints = [
            one_of("attendance", Attendance, name="visit_attendance"),
            one_of("state", VisitState, name="visit_state"),
            one_of("pain", Pain, name="visit_pain", blank=True),
            one_of("other_foot", Looked, name="visit_other_foot", blank=True),
            one_of("skin_under_device", Looked, name="visit_skin", blank=True),
            one_of("device_condition", DeviceCondition, name="visit_device_condition", blank=True),
            one_of("wear", Wear, name="visit_wear", blank=True),
            # The bounds of clinic/guidelines/infection.py.
            between("temperature_c", 25, 45, name="visit_temperature"),
            between("pulse_per_min", 0, 300, name="visit_pulse"),
            between("breaths_per_min", 0, 100, name="visit_breaths"),
            between("white_cells_10e9_per_l", 0, 500, name="visit_white_cells"),
            # Two areas of one lesion on one day could not be told apart on its curve.
            models.UniqueConstraint(
                fields=["person", "visited_on"],
                condition=models.Q(state="stands", attendance="came"),
                name="visit_one_a_day",
                violation_error_message="this patient already has a visit on that day; open it to correct it",
            ),
            models.CheckConstraint(
                condition=models.Q(next_on__isnull=True) | models.Q(next_on__gt=models.F("visited_on")),
                name="visit_next_after",
                violation_error_message="the next visit must lie after this one",
            ),
            models.CheckConstraint(
                condition=models.Q(next_on__isnull=True) | models.Q(no_next_because=""),
                name="visit_next_or_reason",
                violation_error_message="a next visit, or why there is none; not both",
            ),
            models.CheckConstraint(
                condition=models.Q(next_on__isnull=False) | models.Q(next_at__isnull=True, transport=""),
                name="visit_next_details",
                violation_error_message="a time or transport belongs to a next date",
            ),
            models.CheckConstraint(
                condition=models.Q(state="stands") | ~models.Q(error_reason=""),
                name="visit_error_reason",
                violation_error_message="entered in error needs its reason",
            ),
        ]
        indexes = [
            models.Index(fields=["person", "-visited_on"], name="visit_latest"),
            # The few visits that told of harm, among millions (measured: the audit of one clinic and of all).
            models.Index(
                fields=["person", "visited_on"],
                condition=models.Q(fall=True)
                | models.Q(other_foot="problem")
                | models.Q(skin_under_device="problem"),
                name="visit_troubled",
            ),
        ]

    def __str__(self) -> str:
        return f"Visit of {self.visited_on:%-d %b %Y}"


@dataclass(frozen=True)
class VisitFindings:
    """The answers of a visit that are columns of `Visit`, by the same names; None or empty was not asked.

    The one list of them: writes copy, forms read, corrections and conflicts compare what stands here. A new
    question is a column above, a line here, a field of `VisitForm`, and its places in the two visit pages.
    """

    visited_on: date
    next_on: date | None
    pain: str = ""
    fall: bool | None = None
    other_foot: str = ""
    other_foot_note: str = ""
    skin_under_device: str = ""
    skin_note: str = ""
    device_condition: str = ""
    wear: str = ""
    why_not_worn: str = ""
    temperature_c: Decimal | None = None
    pulse_per_min: int | None = None
    breaths_per_min: int | None = None
    white_cells_10e9_per_l: Decimal | None = None
    note: str = ""
    next_at: time | None = None
    transport: str = ""
    no_next_because: str = ""
