"""Is the bone under an ulcer infected? One podiatrist's judgement of a day, from what each test says."""

from __future__ import annotations

from django.db import models

from .record import ClinicalRecord, one_of


class BoneState(models.TextChoices):
    NO = "no", "No"
    POSSIBLE = "possible", "Possible"
    PROBABLE = "probable", "Probable"
    PROVEN = "proven", "Proven"


#: These are lifted only by a signed end of treatment.
BONE_INFECTED = (BoneState.PROBABLE, BoneState.PROVEN)


class BonePart(models.TextChoices):
    SUPPORTS = "supports", "Supports it"
    AGAINST = "against", "Against it"
    NOT_DONE = "not_done", "Not done"


class BoneTreated(models.TextChoices):
    COMPLETED = "completed", "Treatment completed"
    RESECTED = "resected", "Infected bone resected"


class BoneJudgement(ClinicalRecord):
    SITE_PATH = "lesion__limb__person__site"

    lesion = models.ForeignKey("clinic.Lesion", on_delete=models.PROTECT, related_name="bone_judgements")
    judged_on = models.DateField()
    probe = models.CharField("probe to bone", max_length=8, choices=BonePart.choices)
    xray = models.CharField("X-ray", max_length=8, choices=BonePart.choices)
    blood = models.CharField("CRP or ESR", max_length=8, choices=BonePart.choices)
    mri = models.CharField("MRI", max_length=8, choices=BonePart.choices)
    sample = models.CharField("bone sample", max_length=8, choices=BonePart.choices)
    proposed = models.CharField(max_length=8, choices=BoneState.choices, blank=True, editable=False)
    state = models.CharField("bone infection", max_length=8, choices=BoneState.choices)
    treated = models.CharField(max_length=9, choices=BoneTreated.choices, blank=True)
    note = models.CharField(max_length=300, blank=True)
    in_error_because = models.CharField("entered in error because", max_length=200, blank=True)

    class Meta:
        ordering = ["-judged_on", "-pk"]
        constraints = [
            one_of("state", BoneState, name="bone_state"),
            one_of("proposed", BoneState, name="bone_proposed", blank=True),
            one_of("treated", BoneTreated, name="bone_treated", blank=True),
            *(
                one_of(part, BonePart, name=f"bone_{part}")
                for part in ("probe", "xray", "blood", "mri", "sample")
            ),
            models.CheckConstraint(
                condition=models.Q(treated="") | models.Q(state__in=["no", "possible"]),
                name="bone_treated_state",
                violation_error_message="bone whose treatment is completed is judged no or possible",
            ),
        ]

    def __str__(self) -> str:
        return f"Bone infection {self.get_state_display().lower()}, {self.judged_on:%-d %b %Y}"
