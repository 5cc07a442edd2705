"""Peer reading: a seeded draw of signed choices, read by two podiatrists who do not see who chose."""

from django.conf import settings
from django.db import models

from .record import ClinicalRecord, between, one_of


class PeerRound(ClinicalRecord):
    """One draw. The seed, the period and the size make it again."""

    site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="peer_rounds")
    seed = models.PositiveIntegerField()
    since = models.DateField()
    until = models.DateField()
    size = models.PositiveSmallIntegerField("choices of each kind")

    class Meta:
        ordering = ["-pk"]
        constraints = [
            between("size", 1, 50, name="peer_round_size"),
            models.CheckConstraint(
                condition=models.Q(until__gte=models.F("since")), name="peer_round_period"
            ),
        ]

    def __str__(self) -> str:
        return f"Peer review {self.pk}"


class PeerCase(ClinicalRecord):
    SITE_PATH = "prescription__limb__person__site"

    round = models.ForeignKey(PeerRound, on_delete=models.PROTECT, related_name="cases")
    prescription = models.ForeignKey("clinic.Prescription", on_delete=models.PROTECT, related_name="+")
    position = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["round", "position"]
        constraints = [
            models.UniqueConstraint(fields=["round", "position"], name="peer_case_position"),
            models.UniqueConstraint(fields=["round", "prescription"], name="peer_case_once"),
        ]

    def __str__(self) -> str:
        return f"Choice {self.position}"


class PeerOpinion(models.TextChoices):
    SAME = "same", "I would have chosen the same"
    ACCEPTABLE = "acceptable", "Another choice, but this one can be defended"
    NOT_JUSTIFIED = "not_justified", "Not justified by what was written"


class PeerReading(ClinicalRecord):
    SITE_PATH = "case__prescription__limb__person__site"

    case = models.ForeignKey(PeerCase, on_delete=models.PROTECT, related_name="readings")
    reader = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    #: First or second reader of this choice; the pair makes the kappa.
    place = models.PositiveSmallIntegerField()
    opinion = models.CharField(max_length=13, choices=PeerOpinion.choices)
    words = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["case", "place"]
        constraints = [
            one_of("opinion", PeerOpinion, name="peer_reading_opinion"),
            between("place", 1, 2, name="peer_reading_two"),
            models.UniqueConstraint(fields=["case", "reader"], name="peer_reading_once"),
            models.UniqueConstraint(fields=["case", "place"], name="peer_reading_place"),
        ]

    def __str__(self) -> str:
        return f"Reading {self.place}"
