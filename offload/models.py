"""A relief plan under a random code, its steps and measurements, and foams: numbers only, no person, no
site.
"""

from __future__ import annotations

from decimal import Decimal

from django.db import models

from offload.core.plan import contact
from offload.core.plan.target import NO_TARGET, TARGETS, Target


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
    shut_reason = models.CharField(
        "why it is cut although the space is predicted to close", max_length=300, blank=True
    )
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
    UNDONE = "undone", "Taken back"


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
    #: Of a contact check: what was found, with what, whether the dummy left its mark, and where (["A:base"]).
    found = models.CharField(max_length=10, choices=list(contact.RESULTS.items()), blank=True)
    method = models.CharField(max_length=6, choices=list(contact.METHODS.items()), blank=True)
    dummy_marked = models.BooleanField("the dummy left its mark", null=True, blank=True)
    where = models.JSONField("where marks lie", default=list, blank=True)
    #: The step that this one takes back; that row stays as it was.
    takes_back = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="taken_back_by"
    )
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
                condition=~models.Q(kind="contact")
                | models.Q(found__in=["touched", "unreadable"], passed=False)
                | models.Q(found="clean", passed=True, dummy_marked=True),
                name="plan_step_contact_told",
            ),
            models.CheckConstraint(
                condition=models.Q(kind="undone", takes_back__isnull=False)
                | (~models.Q(kind="undone") & models.Q(takes_back__isnull=True)),
                name="plan_step_undone_names_it",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.done_on:%-d %b %Y}"

    @property
    def touches(self) -> bool:
        """Whether a contact check found the ulcer touching its opening."""
        return self.found == contact.TOUCHED

    @property
    def where_words(self) -> str:
        """Where a contact check found marks."""
        return contact.where_words(self.where)

    @property
    def beyond_mm(self) -> Decimal:
        """How much deeper than planned a cut was made; 0 for any other step, and for one not deeper [mm]."""
        if self.depth_mm is None or self.depth_planned_mm is None:
            return Decimal(0)
        return max(Decimal(0), self.depth_mm - self.depth_planned_mm)


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
    #: What the prediction is read from: the mean over a patch of a sensor's size, or the highest cell.
    basis = models.CharField(
        max_length=5, choices=[("patch", "mean over 1.5 cm²"), ("cell", "highest cell")], default="patch"
    )
    target_kind = models.CharField("target", max_length=4, choices=list(TARGETS.items()), default=NO_TARGET)
    target = models.FloatField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()
    made_by = models.CharField(max_length=160)

    class Meta:
        ordering = ["-measured_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(without_kpa__gt=0, with_kpa__gte=0), name="plan_measurement_positive"
            ),
            models.CheckConstraint(
                condition=models.Q(target_kind="none", target__isnull=True)
                | models.Q(target_kind__in=["peak", "less"], target__gt=0),
                name="plan_measurement_target",
            ),
        ]

    def __str__(self) -> str:
        return f"Ulcer {self.label}, {self.measured_on:%-d %b %Y}"

    @property
    def difference(self) -> float:
        """Measured minus predicted peak with the cut [kPa]."""
        return self.with_kpa - self.predicted_after_kpa

    @property
    def aim(self) -> Target:
        """The target that was asked of the cut."""
        return Target(self.target_kind, self.target)

    @property
    def met(self) -> bool | None:
        """Whether the target is met; None without one."""
        return self.aim.met(self.without_kpa, self.with_kpa)


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
