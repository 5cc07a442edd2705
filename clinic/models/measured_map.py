"""A pressure map measured under one foot, as its grid was read, with the two points by which it is laid
on the insole.
"""

from __future__ import annotations

from django.db import models

from .record import ClinicalRecord, between, one_of


class MapKind(models.TextChoices):
    """What a cell of the grid holds."""

    PEAK = "peak", "Its peak over the step"
    INSTANT = "instant", "One moment of the step"


class MapTaken(models.TextChoices):
    """Where the foot was: what else takes load off is counted once only."""

    SHOE = "shoe", "In a flat shoe"
    BAREFOOT = "barefoot", "Barefoot"
    DEVICE = "device", "In the running device"


class MapUnit(models.TextChoices):
    """What the numbers were exported in."""

    KPA = "kPa", "kPa"
    N_CM2 = "N/cm2", "N/cm²"


class MeasuredMap(ClinicalRecord):
    """Kept as read, so that it is laid on the insole anew when the foot's length is corrected."""

    SITE_PATH = "limb__person__site"

    limb = models.ForeignKey("clinic.Limb", on_delete=models.PROTECT, related_name="measured_maps")
    measured_on = models.DateField()
    worn = models.CharField("worn while measuring", max_length=120)
    #: Maps kept before this was asked counted as of a flat shoe.
    taken = models.CharField(max_length=8, choices=MapTaken.choices, default=MapTaken.SHOE)
    kind = models.CharField(max_length=7, choices=MapKind.choices)
    unit = models.CharField(max_length=5, choices=MapUnit.choices)
    cell_across_mm = models.DecimalField("cell across (mm)", max_digits=4, decimal_places=2)
    cell_along_mm = models.DecimalField("cell along (mm)", max_digits=4, decimal_places=2)
    #: Rows from heel to toes, columns from medial to lateral [kPa].
    kpa = models.JSONField("pressures (kPa)")
    #: Two landmarks of the insole, and the points of the grid that lie under them [mm]: name, across, along.
    points = models.JSONField("points by which it is placed")
    withdrawn_on = models.DateField(null=True, blank=True)
    withdrawn_because = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-measured_on", "-pk"]
        constraints = [
            one_of("kind", MapKind, name="measured_map_kind"),
            one_of("taken", MapTaken, name="measured_map_taken"),
            one_of("unit", MapUnit, name="measured_map_unit"),
            between("cell_across_mm", 1, 20, name="measured_map_cell_across"),
            between("cell_along_mm", 1, 20, name="measured_map_cell_along"),
            models.CheckConstraint(
                condition=models.Q(withdrawn_on__isnull=True, withdrawn_because="")
                | (models.Q(withdrawn_on__isnull=False) & ~models.Q(withdrawn_because="")),
                name="measured_map_withdrawn",
                violation_error_message="a map is withdrawn on a day and for a reason",
            ),
        ]

    def __str__(self) -> str:
        return f"Measured map of {self.measured_on:%-d %b %Y}"
