"""A lesion: one place on one limb, from first sight to its outcome; and its imprint on the insole."""

from __future__ import annotations

from typing import Any

from django.db import models

from clinic.guidelines.sites import SITES, FootSite

from .limb import Side
from .record import ClinicalRecord, between, counts_for, one_of

#: The closed list of `clinic.guidelines.sites`, as choices.
PLACES = [(place.id, place.words) for place in SITES.values()]


class WoundKind(models.TextChoices):
    ULCER = "ulcer", "Ulcer"
    PRE_ULCER = "pre_ulcer", "Pre-ulcerative lesion"
    BLISTER = "blister", "Blister"
    SURGICAL = "surgical", "Wound after surgery"


class Cause(models.TextChoices):
    NEUROPATHIC = "neuropathic", "Neuropathic"
    NEUROISCHAEMIC = "neuroischaemic", "Neuro-ischaemic"
    ISCHAEMIC = "ischaemic", "Ischaemic"
    OTHER = "other", "Other"


class LesionState(models.TextChoices):
    OPEN = "open", "Open"
    TO_CONFIRM = "to_confirm", "Closed, to confirm"
    HEALED = "healed", "Healed"
    ENDED = "ended", "Ended otherwise"


#: Until healing is confirmed, a lesion that is covered is still looked after.
OPEN_STATES = (LesionState.OPEN, LesionState.TO_CONFIRM)


class LesionOutcome(models.TextChoices):
    HEALED = "healed", "Healed"
    MINOR_AMPUTATION = "minor_amputation", "Minor amputation"
    MAJOR_AMPUTATION = "major_amputation", "Major amputation"
    DIED = "died", "Died with the ulcer open"
    MOVED = "moved", "Moved away"
    LOST = "lost", "Lost to follow-up"
    JOINED = "joined", "Joined another ulcer"
    IN_ERROR = "in_error", "Registered in error"


#: Rows that say something of a foot: all but what was registered in error.
TRUE_LESIONS = ~models.Q(outcome=LesionOutcome.IN_ERROR)


def place_words(place: str, side: str) -> str:
    """Place and side in words, as every row and header shows it."""
    words = SITES[place].words
    return f"{words[0].lower()}{words[1:]}, {Side(side).label.lower()} foot"


class Lesion(ClinicalRecord):
    SITE_PATH = "limb__person__site"

    episode = models.ForeignKey("clinic.Episode", on_delete=models.PROTECT, related_name="lesions")
    limb = models.ForeignKey("clinic.Limb", on_delete=models.PROTECT, related_name="lesions")
    label = models.CharField(max_length=3)
    place = models.CharField("place on the foot", max_length=24, choices=PLACES)
    wound_kind = models.CharField(max_length=10, choices=WoundKind.choices, default=WoundKind.ULCER)
    cause = models.CharField(max_length=16, choices=Cause.choices)
    onset_on = models.DateField("began on (about)")
    first_seen_on = models.DateField()
    recurs_of = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="recurrences"
    )
    #: The open ulcer this one has grown together with, or has come off; each keeps its own history.
    joined_into = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="joined"
    )
    split_from = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="splits"
    )
    #: Registered in error: why, and the ulcer it should have been.
    error_because = models.CharField("why it was an error", max_length=200, blank=True)
    instead = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="mistaken"
    )
    state = models.CharField(max_length=10, choices=LesionState.choices, default=LesionState.OPEN)
    outcome = models.CharField(max_length=18, choices=LesionOutcome.choices, blank=True)
    closed_on = models.DateField("covered and dry on", null=True, blank=True)
    confirmed_on = models.DateField("confirmed healed on", null=True, blank=True)
    #: Found open again that day after it had been closed; what was found before says nothing of it now.
    reopened_on = models.DateField("reopened on", null=True, blank=True)
    ended_on = models.DateField(null=True, blank=True)
    counts_for = counts_for()
    footwear = models.CharField("footwear in remission", max_length=160, blank=True)

    class Meta:
        ordering = ["first_seen_on", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["episode", "label"], name="lesion_label_once"),
            one_of("place", PLACES, name="lesion_place"),
            one_of("wound_kind", WoundKind, name="lesion_wound_kind"),
            one_of("cause", Cause, name="lesion_cause"),
            one_of("state", LesionState, name="lesion_state"),
            one_of("outcome", LesionOutcome, name="lesion_outcome", blank=True),
            models.CheckConstraint(
                condition=models.Q(first_seen_on__gte=models.F("onset_on")),
                name="lesion_onset_order",
                violation_error_message="the ulcer cannot be first seen before it began",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="healed")
                | models.Q(closed_on__isnull=False, confirmed_on__isnull=False, outcome="healed"),
                name="lesion_healed_confirmed",
                violation_error_message="healed needs the date of closure and the date of confirmation",
            ),
            models.CheckConstraint(
                condition=models.Q(outcome="joined", joined_into__isnull=False)
                | (~models.Q(outcome="joined") & models.Q(joined_into__isnull=True)),
                name="lesion_joined",
                violation_error_message="an ulcer that joined another one names it",
            ),
            models.CheckConstraint(
                condition=(models.Q(outcome="in_error") & ~models.Q(error_because=""))
                | (~models.Q(outcome="in_error") & models.Q(error_because="", instead__isnull=True)),
                name="lesion_in_error",
                violation_error_message="an ulcer registered in error has its reason",
            ),
            models.CheckConstraint(
                condition=~models.Q(state__in=["open", "to_confirm"]) | models.Q(outcome=""),
                name="lesion_open_no_outcome",
                violation_error_message="an open ulcer has no outcome yet",
            ),
        ]
        indexes = [models.Index(fields=["state", "limb"], name="lesion_by_state")]

    def __str__(self) -> str:
        return f"{self.named}, {self.where}"

    @property
    def named(self) -> str:
        """What heads a page: a pre-ulcer is not called an ulcer."""
        return f"{'Pre-ulcer' if self.wound_kind == WoundKind.PRE_ULCER else 'Ulcer'} {self.label}"

    @property
    def foot_site(self) -> FootSite:
        return SITES[self.place]

    @property
    def where(self) -> str:
        return place_words(self.place, self.limb.side)

    @property
    def counted_site(self) -> Any:
        """The clinic it counts for in figures."""
        return self.counts_for or self.limb.person.site

    @property
    def is_open(self) -> bool:
        return self.state in OPEN_STATES


class ImprintHow(models.TextChoices):
    TRACED = "traced", "Traced from the insole"
    PLACED = "placed", "Placed by hand on the drawing"
    TYPED = "typed", "Typed from measurements"


class PlacedBy(models.TextChoices):
    OUTLINE = "outline", "By the outline of the insole"
    LANDMARKS = "landmarks", "By heel point, second toe and big toe"
    HOLES = "holes", "By the two holes marked through the printed sheet, and the big toe"


class Imprint(ClinicalRecord):
    """Where the marked lesion printed on the insole after a few steps, in the anatomical frame (mm)."""

    SITE_PATH = "lesion__limb__person__site"

    lesion = models.ForeignKey(Lesion, on_delete=models.PROTECT, related_name="imprints")
    taken_on = models.DateField()
    how = models.CharField(max_length=8, choices=ImprintHow.choices)
    outline_mm = models.JSONField()
    # The photo it was traced on, and how that photo was laid on the insole; empty where there was none.
    scale = models.ForeignKey(
        "clinic.PhotoScale", on_delete=models.PROTECT, null=True, blank=True, related_name="imprints"
    )
    placed_by = models.CharField(max_length=9, choices=PlacedBy.choices, blank=True)
    marks_mm = models.JSONField(null=True, blank=True)
    dressing_mm = models.DecimalField(
        "dressing thickness (mm)", max_digits=3, decimal_places=1, null=True, blank=True
    )
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-taken_on", "-pk"]
        constraints = [
            one_of("how", ImprintHow, name="imprint_how"),
            one_of("placed_by", PlacedBy, name="imprint_placed_by", blank=True),
            between("dressing_mm", 0, 30, name="imprint_dressing"),
        ]

    def __str__(self) -> str:
        return f"Imprint of {self.taken_on:%-d %b %Y}"
