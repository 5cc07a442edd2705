"""Places a signed plan asks to look at, what was found there, and what put a question mark over a plan."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from .record import ClinicalRecord, one_of
from .withdrawable import Withdrawable, withdrawn_whole


class WatchKind(models.TextChoices):
    RIM = "rim", "Edge of the opening"
    HEAD = "head", "Metatarsal head beside it"
    SPOT = "spot", "Estimated over 200 kPa"


class WatchPoint(ClinicalRecord):
    """One place, named in words, with the estimate that put it on the list; written when the plan is
    signed.
    """

    SITE_PATH = "limb_plan__limb__person__site"

    limb_plan = models.ForeignKey("clinic.LimbPlan", on_delete=models.PROTECT, related_name="watch_points")
    kind = models.CharField(max_length=4, choices=WatchKind.choices)
    words = models.CharField(max_length=160)
    x_mm = models.FloatField()
    y_mm = models.FloatField()
    before_kpa = models.FloatField()
    after_kpa = models.FloatField()

    class Meta:
        ordering = ["pk"]
        constraints = [one_of("kind", WatchKind, name="watch_point_kind")]

    def __str__(self) -> str:
        return self.words


class Found(models.TextChoices):
    CLEAR = "clear", "Clear"
    RED = "red", "Red over 20 min"
    BLISTER = "blister", "Blister"
    BROKEN = "broken", "Broken"


#: Findings that say the place was loaded too much.
HITS = (Found.RED, Found.BLISTER, Found.BROKEN)


class WatchFinding(ClinicalRecord):
    """What a visit found at a watch point; a place not looked at has no row."""

    SITE_PATH = "point__limb_plan__limb__person__site"

    point = models.ForeignKey(WatchPoint, on_delete=models.PROTECT, related_name="findings")
    visit = models.ForeignKey("clinic.Visit", on_delete=models.PROTECT, related_name="watch_findings")
    found = models.CharField(max_length=7, choices=Found.choices)

    class Meta:
        ordering = ["pk"]
        constraints = [
            one_of("found", Found, name="watch_finding_found"),
            models.UniqueConstraint(fields=["point", "visit"], name="watch_finding_once"),
        ]

    def __str__(self) -> str:
        return self.get_found_display()


class PlanFlagCause(models.TextChoices):
    CONTACT = "contact", "Contact check failed"
    WATCH = "watch", "Skin at a watch point"
    WEIGHT = "weight", "Weight on the other side of the threshold"
    OUTLINE = "outline", "Ulcer of another size"
    MAP = "map", "Measured map withdrawn"
    DEPTH = "depth", "Cut deeper than planned"
    INSOLE = "insole", "Outline of the insole changed"


class PlanFlag(Withdrawable):
    """A question mark over a plan; it stands until a podiatrist answers it or the plan is replaced."""

    SITE_PATH = "limb_plan__limb__person__site"

    limb_plan = models.ForeignKey("clinic.LimbPlan", on_delete=models.PROTECT, related_name="flags")
    cause = models.CharField(max_length=7, choices=PlanFlagCause.choices)
    #: What of the plan it is about: a lesion or a watch point; empty for the plan as a whole.
    subject = models.CharField(max_length=40, blank=True)
    words = models.CharField(max_length=300)
    raised_on = models.DateField()
    #: The visit whose finding, weight or area raised it; empty: something else did.
    visit = models.ForeignKey(
        "clinic.Visit", on_delete=models.PROTECT, related_name="plan_flags", null=True, blank=True
    )
    answer = models.CharField(max_length=300, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["raised_on", "pk"]
        constraints = [
            one_of("cause", PlanFlagCause, name="plan_flag_cause"),
            withdrawn_whole(name="plan_flag_withdrawn"),
            models.UniqueConstraint(
                fields=["limb_plan", "cause", "subject"],
                condition=models.Q(answer="", withdrawn_on__isnull=True),
                name="plan_flag_one_open",
                violation_error_message="this plan is flagged for that already",
            ),
            models.CheckConstraint(
                condition=models.Q(answer="", answered_at__isnull=True, answered_by__isnull=True)
                | (~models.Q(answer="") & models.Q(answered_at__isnull=False, answered_by__isnull=False)),
                name="plan_flag_answered",
                violation_error_message="an answer has its words, its time and who gave it",
            ),
        ]

    def __str__(self) -> str:
        return self.words
