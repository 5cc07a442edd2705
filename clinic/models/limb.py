"""A limb of a person, and dated findings on it. An empty finding was not looked at."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from .record import ClinicalRecord, between, one_of


class Side(models.TextChoices):
    LEFT = "left", "Left"
    RIGHT = "right", "Right"


class Amputation(models.TextChoices):
    NONE = "none", "None"
    TOE = "toe", "One or more toes"
    RAY = "ray", "Ray"
    TRANSMETATARSAL = "transmetatarsal", "Through the metatarsals"
    MIDFOOT = "midfoot", "Midfoot or hindfoot"
    MAJOR = "major", "Above the ankle"


class Limb(ClinicalRecord):
    SITE_PATH = "person__site"

    person = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="limbs")
    side = models.CharField(max_length=5, choices=Side.choices)
    amputation = models.CharField(
        "previous amputation", max_length=16, choices=Amputation.choices, default=Amputation.NONE
    )
    foot_length_mm = models.DecimalField(
        "foot length (mm)", max_digits=5, decimal_places=1, null=True, blank=True
    )
    foot_breadth_mm = models.DecimalField(
        "foot breadth (mm)", max_digits=5, decimal_places=1, null=True, blank=True
    )

    class Meta:
        ordering = ["person", "side"]
        constraints = [
            models.UniqueConstraint(fields=["person", "side"], name="limb_side_once"),
            one_of("side", Side, name="limb_side"),
            one_of("amputation", Amputation, name="limb_amputation"),
            between("foot_length_mm", 120, 350, name="limb_foot_length"),
            between("foot_breadth_mm", 40, 160, name="limb_foot_breadth"),
        ]

    def __str__(self) -> str:
        return f"{self.get_side_display()} foot"


class Pulse(models.TextChoices):
    PRESENT = "present", "Felt"
    ABSENT = "absent", "Not felt"


class Waveform(models.TextChoices):
    """Doppler waveform of the worse of the two pedal arteries, from good to bad."""

    TRIPHASIC = "triphasic", "Triphasic"
    BIPHASIC = "biphasic", "Biphasic"
    MONOPHASIC = "monophasic", "Monophasic"
    ABSENT = "absent", "No signal"


class Deformity(models.TextChoices):
    NONE = "none", "None"
    SMALL = "small", "Some"
    LARGE = "large", "Large"


class Charcot(models.TextChoices):
    NONE = "none", "None"
    SUSPECTED = "suspected", "Suspected"
    ACTIVE = "active", "Active"
    INACTIVE = "inactive", "Inactive, settled"


class Oedema(models.TextChoices):
    NONE = "none", "None"
    STEADY = "steady", "Steady"
    CHANGING = "changing", "Changing"


def whole(label: str, low: int, high: int) -> models.PositiveSmallIntegerField:
    """A bounded whole-number finding; empty means not looked at."""
    return models.PositiveSmallIntegerField(
        label, null=True, blank=True, validators=[MinValueValidator(low), MaxValueValidator(high)]
    )


class LimbFinding(ClinicalRecord):
    SITE_PATH = "limb__person__site"

    limb = models.ForeignKey(Limb, on_delete=models.PROTECT, related_name="findings")
    found_on = models.DateField()
    monofilament_tested = whole("monofilament sites tested", 1, 10)
    monofilament_felt = whole("monofilament sites felt", 0, 10)
    dorsalis_pedis = models.CharField("dorsalis pedis pulse", max_length=8, choices=Pulse.choices, blank=True)
    posterior_tibial = models.CharField(
        "posterior tibial pulse", max_length=8, choices=Pulse.choices, blank=True
    )
    ankle_pressure_mmhg = whole("ankle pressure (mmHg)", 0, 300)
    ankle_index = models.DecimalField(max_digits=3, decimal_places=2, null=True, blank=True)
    toe_index = models.DecimalField(max_digits=3, decimal_places=2, null=True, blank=True)
    toe_pressure_mmhg = whole("toe pressure (mmHg)", 0, 250)
    tcpo2_mmhg = whole("TcPO2 (mmHg)", 0, 150)
    waveform = models.CharField(
        "Doppler waveform, the worse of the two pedal arteries",
        max_length=10,
        choices=Waveform.choices,
        blank=True,
    )
    newly_lost_pulse = models.BooleanField("a pulse felt before is lost", null=True, blank=True)
    newly_cold = models.BooleanField("foot newly cold, pale or blue", null=True, blank=True)
    rest_pain = models.BooleanField("new pain at rest", null=True, blank=True)
    dead_tissue = models.BooleanField("black or dead tissue", null=True, blank=True)
    #: Why no toe pressure can be taken; TcPO2 then stands in its place when a podiatrist says so.
    toe_unmeasurable_because = models.CharField("no toe pressure because", max_length=200, blank=True)
    dvt_suspected = models.BooleanField("thrombosis of the leg suspected", null=True, blank=True)
    ulcer_on_same_leg = models.BooleanField(
        "other wound or graft where a knee-high device lies", null=True, blank=True
    )
    deformity = models.CharField(max_length=8, choices=Deformity.choices, blank=True)
    rigid_deformity = models.BooleanField("rigid, bony deformity", null=True, blank=True)
    flexible_toe_deformity = models.BooleanField("flexible toe deformity", null=True, blank=True)
    charcot = models.CharField("Charcot foot", max_length=10, choices=Charcot.choices, blank=True)
    oedema = models.CharField(max_length=10, choices=Oedema.choices, blank=True)
    fragile_skin = models.BooleanField(null=True, blank=True)
    calf_girth_mm = whole("calf girth (mm)", 150, 800)
    bulky_calf = models.BooleanField("calf too bulky for a prefabricated device", null=True, blank=True)
    previous_ulcer = models.BooleanField("ulcer on this foot before", null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-found_on", "-pk"]
        constraints = [
            between("monofilament_tested", 1, 10, name="finding_monofilament_tested"),
            between("monofilament_felt", 0, 10, name="finding_monofilament_felt"),
            models.CheckConstraint(
                condition=models.Q(monofilament_felt__isnull=True)
                | models.Q(monofilament_felt__lte=models.F("monofilament_tested")),
                name="finding_monofilament_order",
                violation_error_message="monofilament sites felt cannot exceed the sites tested",
            ),
            between("ankle_pressure_mmhg", 0, 300, name="finding_ankle_pressure"),
            between("ankle_index", 0, 3, name="finding_ankle_index"),
            between("toe_index", 0, 2, name="finding_toe_index"),
            between("toe_pressure_mmhg", 0, 250, name="finding_toe_pressure"),
            between("tcpo2_mmhg", 0, 150, name="finding_tcpo2"),
            between("calf_girth_mm", 150, 800, name="finding_calf_girth"),
            one_of("dorsalis_pedis", Pulse, name="finding_dorsalis_pedis", blank=True),
            one_of("posterior_tibial", Pulse, name="finding_posterior_tibial", blank=True),
            one_of("waveform", Waveform, name="finding_waveform", blank=True),
            one_of("deformity", Deformity, name="finding_deformity", blank=True),
            one_of("charcot", Charcot, name="finding_charcot", blank=True),
            one_of("oedema", Oedema, name="finding_oedema", blank=True),
        ]

    def __str__(self) -> str:
        return f"{self.limb}, {self.found_on:%-d %b %Y}"
