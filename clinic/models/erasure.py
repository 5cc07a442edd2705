"""Keys of sealed audit payloads, and what was erased by law."""

from django.conf import settings
from django.db import models


class PersonKey(models.Model):
    """Opens the payloads of one person's audit rows. Destroying it is what erases them; the rows stay
    chained.
    """

    # A plain number: the key outlives nothing and nothing may point at it.
    person_id = models.BigIntegerField(primary_key=True)
    key = models.CharField(max_length=44)

    def __str__(self) -> str:
        return f"Key of patient {self.person_id}"


class Erasure(models.Model):
    """That a record was erased: its number, why, by whom and how many rows. Nothing of the person."""

    site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="erasures")
    person_id = models.BigIntegerField(unique=True)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    ground = models.CharField("legal ground", max_length=300)
    rows = models.JSONField()

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"Erasure of patient {self.person_id}"


class ErasurePermit(models.Model):
    """Opens the append-only triggers inside one transaction; a committed row does not exist."""

    person_id = models.BigIntegerField(primary_key=True)

    def __str__(self) -> str:
        return f"Permit for patient {self.person_id}"
