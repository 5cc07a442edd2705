"""What one visit found at one lesion. Nothing here is ever prefilled; an empty finding was not looked at."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from .record import ClinicalRecord, between, one_of


class AreaMethod(models.TextChoices):
    TRACED = "traced", "Traced outline"
    ELLIPSE = "ellipse", "Length × width, as an ellipse"
    NOT_MEASURED = "not_measured", "Not measurable"


class Debridement(models.TextChoices):
    BEFORE = "before", "Before debridement"
    AFTER = "after", "After debridement"


class Depth(models.TextChoices):
    """Ordered from shallow to deep; a step up is a sign of worsening."""

    SKIN = "skin", "Skin only"
    SUBCUTANEOUS = "subcutaneous", "Fat showing"
    TENDON_CAPSULE = "tendon_capsule", "Tendon or joint capsule"
    BONE = "bone", "Bone or joint"


class Tissue(models.TextChoices):
    EPITHELIAL = "epithelial", "New skin"
    GRANULATING = "granulating", "Granulating"
    SLOUGH = "slough", "Slough"
    NECROTIC = "necrotic", "Necrotic"


class Edge(models.TextChoices):
    """How the skin meets the bed (common practice, no source). How far it is undermined is measured in mm."""

    SLOPING = "sloping", "Sloping, attached"
    STEEP = "steep", "Steep"
    ROLLED = "rolled", "Rolled in"
    CALLUS = "callus", "Callus"


class SurroundingSkin(models.TextChoices):
    """The skin round the ulcer (common practice, no source); redness is a sign of infection, asked apart."""

    HEALTHY = "healthy", "Healthy"
    DRY = "dry", "Dry or cracked"
    MACERATED = "macerated", "Macerated"
    BROKEN = "broken", "Broken or blistered"


class Exudate(models.TextChoices):
    NONE = "none", "None"
    LIGHT = "light", "Light"
    MODERATE = "moderate", "Moderate"
    HEAVY = "heavy", "Heavy"


#: Local signs of infection (IWGDF/IDSA 2023 grading), the ticks of the visit page.
INFECTION_SIGNS = {
    "swelling": "Swelling or induration",
    "redness": "Redness round the ulcer",
    "tenderness": "Tenderness or pain",
    "warmth": "Warmth",
    "pus": "Pus",
}


class OtherCause(models.TextChoices):
    """What else explains signs of infection (published exclusion); it counts when a podiatrist names it."""

    CHARCOT = "charcot", "Charcot joints"
    GOUT = "gout", "Gout"
    FRACTURE = "fracture", "Fracture"
    THROMBOSIS = "thrombosis", "Thrombosis"
    VENOUS = "venous", "Venous disease"


class Measurement(ClinicalRecord):
    SITE_PATH = "visit__person__site"

    visit = models.ForeignKey("clinic.Visit", on_delete=models.PROTECT, related_name="measurements")
    lesion = models.ForeignKey("clinic.Lesion", on_delete=models.PROTECT, related_name="measurements")
    covered_dry = models.BooleanField("fully covered and dry", default=False)
    method = models.CharField(max_length=12, choices=AreaMethod.choices)
    area_mm2 = models.FloatField(null=True, blank=True)
    length_mm = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    width_mm = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    outline_mm = models.JSONField(null=True, blank=True)
    trace = models.ForeignKey(
        "clinic.Trace", on_delete=models.PROTECT, null=True, blank=True, related_name="measurements"
    )
    not_measured_because = models.CharField(max_length=200, blank=True)
    debridement = models.CharField(max_length=6, choices=Debridement.choices, default=Debridement.BEFORE)
    depth = models.CharField(max_length=14, choices=Depth.choices, blank=True)
    tissue = models.CharField("wound bed", max_length=12, choices=Tissue.choices, blank=True)
    edge = models.CharField("edge", max_length=8, choices=Edge.choices, blank=True)
    dressing = models.CharField(max_length=200, blank=True)
    #: The day wound bed, edge and dressing were last described; set where a visit said "unchanged since".
    unchanged_since = models.DateField(null=True, blank=True)
    exudate = models.CharField(max_length=8, choices=Exudate.choices, blank=True)
    depth_mm = models.PositiveSmallIntegerField("depth (mm)", null=True, blank=True)
    undermining_mm = models.PositiveSmallIntegerField("undermining (mm)", null=True, blank=True)
    surrounding_skin = models.CharField(max_length=9, choices=SurroundingSkin.choices, blank=True)
    odour = models.BooleanField("odour", null=True, blank=True)
    infection_looked = models.BooleanField("looked for infection", default=False)
    infection_signs = models.JSONField(default=list, blank=True)
    redness_mm = models.PositiveSmallIntegerField(
        "redness reaches (mm from the edge)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(300)],
    )
    deep_infection = models.BooleanField("deep infection or abscess", null=True, blank=True)
    probe_to_bone = models.BooleanField("probe touches bone", null=True, blank=True)
    unwell = models.BooleanField("fever or unwell", null=True, blank=True)
    other_cause = models.CharField(
        "other cause of the signs", max_length=10, choices=OtherCause.choices, blank=True
    )
    cavity = models.BooleanField("deeper than wide, or undermined", null=True, blank=True)
    infection_grade = models.PositiveSmallIntegerField(null=True, blank=True, editable=False)

    class Meta:
        ordering = ["visit__visited_on", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "lesion"], name="measurement_once_a_visit"),
            one_of("method", AreaMethod, name="measurement_method"),
            one_of("debridement", Debridement, name="measurement_debridement"),
            one_of("depth", Depth, name="measurement_depth", blank=True),
            one_of("tissue", Tissue, name="measurement_tissue", blank=True),
            one_of("exudate", Exudate, name="measurement_exudate", blank=True),
            one_of("edge", Edge, name="measurement_edge", blank=True),
            one_of("surrounding_skin", SurroundingSkin, name="measurement_skin", blank=True),
            one_of("other_cause", OtherCause, name="measurement_other_cause", blank=True),
            between("area_mm2", 0, 60000, name="measurement_area"),
            between("length_mm", 0, 300, name="measurement_length"),
            between("width_mm", 0, 300, name="measurement_width"),
            between("redness_mm", 0, 300, name="measurement_redness"),
            between("depth_mm", 0, 100, name="measurement_depth_mm"),
            between("undermining_mm", 0, 100, name="measurement_undermining"),
            between("infection_grade", 1, 4, name="measurement_infection_grade"),
            models.CheckConstraint(
                condition=models.Q(method="not_measured", area_mm2__isnull=True)
                | (~models.Q(method="not_measured") & models.Q(area_mm2__isnull=False)),
                name="measurement_area_present",
                violation_error_message="a measured ulcer needs its area; one not measured has none",
            ),
            models.CheckConstraint(
                condition=~models.Q(method="not_measured") | ~models.Q(not_measured_because=""),
                name="measurement_reason",
                violation_error_message="an ulcer not measured needs the reason",
            ),
            models.CheckConstraint(
                condition=models.Q(unchanged_since__isnull=True) | ~models.Q(tissue="", edge="", dressing=""),
                name="measurement_unchanged",
                violation_error_message="unchanged needs what it was before",
            ),
            models.CheckConstraint(
                condition=models.Q(length_mm__isnull=True)
                | models.Q(width_mm__isnull=True)
                | models.Q(length_mm__gte=models.F("width_mm")),
                name="measurement_length_first",
                violation_error_message="length is the longest diameter: it cannot be less than the width",
            ),
        ]

    def __str__(self) -> str:
        return f"Measurement of {self.lesion_id} at visit {self.visit_id}"

    @property
    def area_cm2(self) -> float | None:
        return None if self.area_mm2 is None else self.area_mm2 / 100


@dataclass(frozen=True, kw_only=True)
class UlcerFindings:
    """What was seen at a lesion beside its area: columns of `Measurement` by the same names; None or empty
    was not looked at.

    The one list of them: the write copies, the form reads and shows, corrections and conflicts compare what
    stands here. A new finding is a column above, a line here, a field of `MeasurementForm`, and its places in
    the two pages.
    """

    depth: str = ""
    tissue: str = ""
    edge: str = ""
    dressing: str = ""
    exudate: str = ""
    depth_mm: int | None = None
    undermining_mm: int | None = None
    surrounding_skin: str = ""
    odour: bool | None = None
    infection_looked: bool = False
    infection_signs: tuple[str, ...] = ()
    redness_mm: int | None = None
    deep_infection: bool | None = None
    probe_to_bone: bool | None = None
    unwell: bool | None = None
    other_cause: str = ""
    cavity: bool | None = None
