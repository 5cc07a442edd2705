"""A relief plan under a random code, its steps and measurements, and foams: numbers only, no person, no
site.
"""

from __future__ import annotations

from django.db import models


class PlanState(models.TextChoices):
    DRAFT = "draft", "Draft"
    SIGNED = "signed", "Signed"
    SUPERSEDED = "superseded", "Replaced"


class ReliefPlan(models.Model):
    code = models.CharField("sheet code", max_length=6, unique=True)
    number = models.PositiveSmallIntegerField("version of the plan", default=1)
    replaces = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    state = models.CharField(max_length=10, choices=PlanState.choices, default=PlanState.DRAFT)
    side = models.CharField(max_length=5)
    spec = models.JSONField()
    result = models.JSONField()
    # Of the canonical text of spec, result and core version; frozen when signed.
    sha256 = models.CharField(max_length=64)
    core_version = models.CharField(max_length=20)
    departure_reason = models.CharField("why it departs from the policy", max_length=300, blank=True)
    created_at = models.DateTimeField()
    made_by = models.CharField(max_length=160)
    signed_at = models.DateTimeField(null=True, blank=True)
    signed_by = models.CharField(max_length=160, blank=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(side__in=["left", "right"]), name="relief_plan_side"),
            models.CheckConstraint(
                condition=models.Q(state__in=["draft", "signed", "superseded"]), name="relief_plan_state"
            ),
            models.CheckConstraint(
                condition=models.Q(state="draft") | models.Q(signed_at__isnull=False),
                name="relief_plan_signed_dated",
            ),
        ]

    def __str__(self) -> str:
        return f"Plan {self.code} v{self.number}"


class StepKind(models.TextChoices):
    CUT = "cut", "Cut"
    FITTED = "fitted", "Fitted"
    CONTACT = "contact", "Contact check"


class PlanStep(models.Model):
    """One thing done with a signed plan; rows are added, never changed. A failed one is followed by
    another try.
    """

    plan = models.ForeignKey(ReliefPlan, on_delete=models.PROTECT, related_name="steps")
    kind = models.CharField(max_length=7, choices=StepKind.choices)
    done_on = models.DateField()
    recorded_at = models.DateTimeField()
    done_by = models.CharField(max_length=160)
    passed = models.BooleanField()
    bar_mm = models.DecimalField("measured bar (mm)", max_digits=5, decimal_places=1, null=True, blank=True)
    depth_mm = models.DecimalField(
        "depth measured (mm)", max_digits=4, decimal_places=1, null=True, blank=True
    )
    depth_planned_mm = models.DecimalField(max_digits=4, decimal_places=1, null=True, blank=True)
    touches = models.BooleanField("the lesion touches the floor", null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(kind__in=StepKind.values), name="plan_step_kind"),
            models.CheckConstraint(
                condition=~models.Q(kind="cut")
                | models.Q(bar_mm__gte=99.5, bar_mm__lte=100.5, depth_mm__isnull=False),
                name="plan_step_cut_measured",
            ),
            models.CheckConstraint(
                condition=~models.Q(kind="contact") | models.Q(touches__isnull=False),
                name="plan_step_contact_told",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.done_on}"


class PlanMeasurement(models.Model):
    """Peak at one lesion measured in the shoe without and with the cut, beside what the plan predicted."""

    plan = models.ForeignKey(ReliefPlan, on_delete=models.PROTECT, related_name="measurements")
    label = models.CharField("lesion", max_length=20)
    measured_on = models.DateField()
    from_map = models.BooleanField(default=False)
    without_kpa = models.FloatField("peak without the cut (kPa)")
    with_kpa = models.FloatField("peak with the cut (kPa)")
    predicted_before_kpa = models.FloatField()
    predicted_after_kpa = models.FloatField()
    note = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()
    made_by = models.CharField(max_length=160)

    class Meta:
        ordering = ["-measured_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(without_kpa__gt=0, with_kpa__gte=0), name="plan_measurement_positive"
            ),
        ]

    def __str__(self) -> str:
        return f"Lesion {self.label}, {self.measured_on}"

    @property
    def difference(self) -> float:
        """Measured minus predicted peak with the cut [kPa]."""
        return self.with_kpa - self.predicted_after_kpa


class ClinicFoam(models.Model):
    """A foam known by measured points; the law fitted to them is kept with its misfit. Hardness is a
    label only.
    """

    key = models.SlugField("id", max_length=40, unique=True)
    label = models.CharField("name", max_length=80)
    hardness = models.CharField("hardness with its scale", max_length=40, blank=True)
    points = models.JSONField("measured points: strain, stress in kPa")
    modulus_kpa = models.FloatField()
    locking_strain = models.FloatField()
    misfit_kpa = models.FloatField()
    worst_kpa = models.FloatField()
    source = models.CharField("who measured it, and how", max_length=200)
    measured_on = models.DateField()
    made_by = models.CharField(max_length=160)
    created_at = models.DateTimeField()
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["label", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(modulus_kpa__gt=0, locking_strain__gt=0, locking_strain__lte=1),
                name="clinic_foam_law",
            ),
        ]

    def __str__(self) -> str:
        return self.label
