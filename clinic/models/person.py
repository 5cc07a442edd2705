"""The person in care, their weight over time, and what is asked once per person."""

from __future__ import annotations

from datetime import date

from django.db import models

from .record import ClinicalRecord, between, one_of
from .withdrawable import Withdrawable, WithdrawableQuerySet, withdrawn_whole


class DiabetesType(models.TextChoices):
    TYPE_1 = "type_1", "Type 1"
    TYPE_2 = "type_2", "Type 2"
    OTHER = "other", "Other type"
    NOT_KNOWN = "not_known", "Not known"


class PersonState(models.TextChoices):
    IN_CARE = "in_care", "In care"
    MOVED = "moved", "Moved away"
    DIED = "died", "Died"
    LOST = "lost", "Lost to follow-up"
    #: Written by a merge only: the record is kept, empty, and points at the one it went into.
    MERGED = "merged", "Merged into another record"


class Person(ClinicalRecord):
    site = models.ForeignKey("clinic.Site", on_delete=models.PROTECT, related_name="people")
    record_number = models.CharField(max_length=20)
    given_name = models.CharField(max_length=80)
    family_name = models.CharField(max_length=80)
    birth_date = models.DateField()
    diabetes_type = models.CharField(
        max_length=12, choices=DiabetesType.choices, default=DiabetesType.NOT_KNOWN
    )
    telephone = models.CharField(max_length=40, blank=True)
    second_contact = models.CharField("second contact (name and telephone)", max_length=120, blank=True)
    language = models.CharField(max_length=60, blank=True)
    interpreter = models.BooleanField("needs an interpreter", default=False)
    allergies = models.CharField(max_length=300, blank=True)
    dialysis = models.BooleanField("on dialysis", null=True, blank=True)
    state = models.CharField(max_length=8, choices=PersonState.choices, default=PersonState.IN_CARE)
    state_on = models.DateField(null=True, blank=True)
    # Restriction by law: the record is kept and readable, and nothing more is done with it.
    restricted_on = models.DateField(null=True, blank=True, editable=False)
    restricted_because = models.CharField(max_length=300, blank=True, editable=False)
    merged_into = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, editable=False, related_name="merged_records"
    )

    class Meta:
        ordering = ["family_name", "given_name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "record_number"],
                # The number of a merged record stays searchable; a clinic that takes both over may use it
                # already.
                condition=models.Q(merged_into__isnull=True),
                name="person_record_number",
                violation_error_message="another patient of this clinic has this record number",
            ),
            one_of("diabetes_type", DiabetesType, name="person_diabetes_type"),
            one_of("state", PersonState, name="person_state"),
            models.CheckConstraint(
                condition=models.Q(state="in_care", state_on__isnull=True)
                | (~models.Q(state="in_care") & models.Q(state_on__isnull=False)),
                name="person_state_dated",
                violation_error_message="moved or died needs its date; in care has none",
            ),
            models.CheckConstraint(
                condition=models.Q(state="merged", merged_into__isnull=False)
                | (~models.Q(state="merged") & models.Q(merged_into__isnull=True)),
                name="person_merged",
                violation_error_message="a merged record names the one it went into",
            ),
        ]
        indexes = [models.Index(fields=["site", "family_name", "given_name"], name="person_by_name")]

    def __str__(self) -> str:
        return self.full_name

    @property
    def full_name(self) -> str:
        return f"{self.given_name} {self.family_name}"

    def age_on(self, day: date) -> int:
        """Whole years lived on a day."""
        before_birthday = (day.month, day.day) < (self.birth_date.month, self.birth_date.day)
        return day.year - self.birth_date.year - int(before_birthday)


class WeighedHow(models.TextChoices):
    SCALES = "scales", "On scales here"
    SCALES_WITH_DEVICE = "scales_with_device", "On scales here, device on"
    TOLD = "told", "Told by the patient"
    LETTER = "letter", "From a letter"
    ESTIMATE = "estimate", "Estimate"


class WeightQuerySet(WithdrawableQuerySet):
    def newest_first(self) -> models.QuerySet[Weight]:
        """What stands, by the day weighed, the later entry of one day first."""
        return self.standing().order_by("-measured_on", "-pk")


class Weight(Withdrawable):
    SITE_PATH = "person__site"

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="weights")
    measured_on = models.DateField()
    kg = models.DecimalField("weight (kg)", max_digits=4, decimal_places=1)
    how = models.CharField("weighed how", max_length=20, choices=WeighedHow.choices)
    #: The visit it was typed at: it goes where that visit goes. Empty: weighed apart.
    visit = models.ForeignKey(
        "clinic.Visit", on_delete=models.PROTECT, related_name="weights", null=True, blank=True
    )

    objects = WeightQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        ordering = ["-measured_on", "-pk"]
        constraints = [
            between("kg", 20, 300, name="weight_kg"),
            one_of("how", WeighedHow, name="weight_how"),
            withdrawn_whole(name="weight_withdrawn"),
        ]

    def __str__(self) -> str:
        return f"{self.kg} kg"


class Mobility(models.TextChoices):
    WALKS = "walks", "Walks"
    WALKS_WITH_AID = "walks_with_aid", "Walks with an aid"
    TRANSFERS_ONLY = "transfers_only", "Transfers only"
    DOES_NOT_WALK = "does_not_walk", "Does not walk"


class Circumstances(ClinicalRecord):
    """A dated screen of falls, sight, driving and help at home; an empty answer was not asked."""

    SITE_PATH = "person__site"

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="circumstances")
    asked_on = models.DateField()
    high_falls_risk = models.BooleanField("high risk of falling", null=True, blank=True)
    falls_note = models.CharField("how this was judged", max_length=200, blank=True)
    poor_sight = models.BooleanField("poor sight", null=True, blank=True)
    drives_or_job_at_risk = models.BooleanField("drives, or a job at risk", null=True, blank=True)
    help_at_home = models.BooleanField("has help at home", null=True, blank=True)
    cannot_attend_weekly = models.BooleanField("cannot attend every week", null=True, blank=True)
    declines_non_removable = models.BooleanField("declines a non-removable device", null=True, blank=True)
    nobody_to_notice = models.BooleanField("nobody would notice trouble in time", null=True, blank=True)
    claustrophobia = models.BooleanField("cannot bear to be closed in", null=True, blank=True)
    material_allergy = models.BooleanField("reacts to a material of the device", null=True, blank=True)
    mobility = models.CharField(max_length=16, choices=Mobility.choices, blank=True)

    class Meta:
        ordering = ["-asked_on", "-pk"]
        constraints = [one_of("mobility", Mobility, name="circumstances_mobility", blank=True)]

    def __str__(self) -> str:
        return f"Social and mobility, {self.asked_on:%-d %b %Y}"
