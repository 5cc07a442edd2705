"""A clinic site: its telephone numbers and its house rules."""

from datetime import time
from typing import Any

from django.db import models
from simple_history.models import HistoricalRecords

from .kept_copy import Copies, KeptCopy
from .record import between, one_of
from .referral import Urgency


def demonstration_stack() -> list[dict[str, object]]:
    """Stack a new site starts with until it enters its own (demonstration values)."""
    return [
        {"role": "cover", "foam": "soft", "thickness_mm": 3},
        {"role": "middle", "foam": "medium", "thickness_mm": 6},
        {"role": "base", "foam": "firm", "thickness_mm": 6},
    ]


def weekend() -> list[int]:
    """Saturday and Sunday, until the site says otherwise."""
    return [5, 6]


def _number(words: str) -> Any:
    return models.CharField(f"telephone {words}", max_length=40, blank=True)


class Erythema2CmReading(models.TextChoices):
    """The editions differ, see clinic/guidelines/infection.py."""

    MODERATE = "moderate", "Moderate"
    MILD = "mild", "Mild"


class Site(models.Model):
    """House rules without a published source are common practice and marked so where they are shown."""

    name = models.CharField(max_length=120)
    short_name = models.CharField(max_length=40, unique=True)
    #: The national number for an ambulance: it stands before every number of the clinic's own.
    telephone_emergency = models.CharField(
        "telephone for an ambulance (national emergency number)", max_length=40
    )
    #: One number for each urgency and hour, named `telephone_<urgency>_<hour>`.
    telephone_immediate_in_hours = _number("at once, in hours")
    telephone_immediate_out_of_hours = _number("at once, out of hours")
    telephone_one_working_day_in_hours = _number("within one working day, in hours")
    telephone_one_working_day_out_of_hours = _number("within one working day, out of hours")
    telephone_planned_in_hours = _number("planned, in hours")
    telephone_planned_out_of_hours = _number("planned, out of hours")
    hours_start = models.TimeField(default=time(8, 30))
    hours_end = models.TimeField(default=time(17))
    #: Weekdays without hours, Monday = 0, and single days off; both decide what a working day is.
    closed_weekdays = models.JSONField(default=weekend, blank=True)
    holidays = models.JSONField(default=list, blank=True)
    protocol_text = models.TextField(blank=True)
    escalation_text = models.TextField("when nobody can be reached", blank=True)
    opening_text = models.TextField("how to open a non-removable device", blank=True)

    weight_threshold_kg = models.DecimalField(max_digits=5, decimal_places=1, default=90)
    margin_mm = models.DecimalField(max_digits=4, decimal_places=1, default=5)
    distal_margin_mm = models.DecimalField(max_digits=4, decimal_places=1, default=10)
    bevel_deg = models.DecimalField(max_digits=4, decimal_places=1, default=45)
    stack = models.JSONField(default=demonstration_stack)
    weight_fresh_days = models.PositiveSmallIntegerField(default=30)
    perfusion_fresh_days = models.PositiveSmallIntegerField(default=90)
    falls_fresh_days = models.PositiveSmallIntegerField(default=90)
    sealed_first_days = models.PositiveSmallIntegerField(default=7)
    sealed_days = models.PositiveSmallIntegerField(default=7)
    first_change_hours = models.PositiveSmallIntegerField(null=True, blank=True)
    attempts_before_escalation = models.PositiveSmallIntegerField(default=2)
    #: From which change on a typed value is asked about before it is saved.
    question_area_ratio = models.DecimalField(max_digits=3, decimal_places=1, default=2.5)
    question_small_area_ratio = models.DecimalField(max_digits=3, decimal_places=1, default=5)
    question_weight_percent = models.PositiveSmallIntegerField(default=12)
    planned_reach_days = models.PositiveSmallIntegerField(default=7)
    confirm_closure_days = models.PositiveSmallIntegerField(default=14)
    reopen_days = models.PositiveSmallIntegerField(default=28)
    tcpo2_urgent_mmhg = models.PositiveSmallIntegerField(default=25)
    perfusion_healing_days = models.PositiveSmallIntegerField(default=180)
    infection_look_days = models.PositiveSmallIntegerField(default=7)
    looks_apart_days = models.PositiveSmallIntegerField(default=2)
    toe_kit = models.BooleanField("a toe pressure can be measured here", default=False)
    erythema_2_cm = models.CharField(
        "redness of exactly 2 cm", max_length=8, choices=Erythema2CmReading.choices, default="moderate"
    )

    second_signature = models.BooleanField("a device needs a second podiatrist's signature", default=False)
    second_factor = models.BooleanField("podiatrists and managers sign in with a second factor", default=True)
    #: Referral -> urgency, where this site is more pressing than the table.
    urgencies = models.JSONField(default=dict, blank=True)
    #: Fitting list -> its steps, where this site has its own.
    fitting_steps = models.JSONField(default=dict, blank=True)

    history = HistoricalRecords(bases=[KeptCopy], history_manager=Copies)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=~models.Q(telephone_emergency=""),
                name="site_emergency_number",
                violation_error_message="a clinic needs the national emergency number",
            ),
            between("weight_threshold_kg", 40, 200, name="site_weight_threshold"),
            between("margin_mm", 0, 30, name="site_margin"),
            between("distal_margin_mm", 0, 30, name="site_distal_margin"),
            between("bevel_deg", 20, 90, name="site_bevel"),
            between("sealed_first_days", 1, 7, name="site_sealed_first"),
            between("sealed_days", 1, 14, name="site_sealed"),
            between("first_change_hours", 48, 72, name="site_first_change"),
            between("attempts_before_escalation", 1, 5, name="site_attempts"),
            between("planned_reach_days", 1, 30, name="site_planned_reach"),
            between("question_area_ratio", 2, 10, name="site_question_area"),
            between("question_small_area_ratio", 2, 20, name="site_question_small_area"),
            between("question_weight_percent", 5, 50, name="site_question_weight"),
            # The published confirmation interval; a site may lengthen it, never shorten it.
            between("confirm_closure_days", 14, 60, name="site_confirm_closure"),
            between("tcpo2_urgent_mmhg", 25, 30, name="site_tcpo2"),
            between("perfusion_fresh_days", 1, 180, name="site_perfusion_fresh"),
            between("perfusion_healing_days", 1, 365, name="site_perfusion_healing"),
            between("infection_look_days", 0, 14, name="site_infection_look"),
            between("looks_apart_days", 2, 30, name="site_looks_apart"),
            one_of("erythema_2_cm", Erythema2CmReading, name="site_erythema"),
        ]

    def __str__(self) -> str:
        return self.name

    def telephone(self, urgency: str, in_hours: bool) -> str:
        """The number to call for an urgency at this hour; empty where the site has none."""
        return str(getattr(self, f"telephone_{urgency}_{'in_hours' if in_hours else 'out_of_hours'}"))

    @property
    def telephones(self) -> tuple[dict[str, str], ...]:
        """The numbers by urgency, the most pressing first."""
        return tuple(
            {
                "urgency": urgency.value,
                "words": str(urgency.label),
                "in_hours": self.telephone(urgency, True),
                "out_of_hours": self.telephone(urgency, False),
            }
            for urgency in Urgency
        )
