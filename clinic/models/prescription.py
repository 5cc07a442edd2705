"""A device prescribed for a limb: what was known, what the guidance said, what was chosen and why.

Facts and advice are copies: a later edition of the rules, or a corrected finding, never rewrites them.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.conf import settings
from django.db import models

from clinic.guidelines.devices import DEVICES, NON_REMOVABLE, WITH_INSOLE, classes_where

from .record import ClinicalRecord, counts_for, one_of

#: Generic trade classes; a maker's label is for tracing only and enters no rule.
DEVICE_CHOICES: list[tuple[str, str]] = [(d.id, d.label) for d in DEVICES.values()]
_STAYS_ON = classes_where(lambda d: d.stays_on)
#: Rows of devices that are sealed on now.
SEALED = models.Q(device_class__in=_STAYS_ON, stopped_on=None, sealed_on__isnull=False, opened_on=None)
#: Rows of devices that stay on, were opened, and neither sealed again nor stopped since.
OPENED = models.Q(device_class__in=_STAYS_ON, stopped_on=None, opened_on__isnull=False)
#: Rows of devices that wait for a second signature.
UNSIGNED = models.Q(second_needed=True, second_at=None, stopped_on=None)
#: Rows signed second by telephone, whose confirmation has not come.
UNCONFIRMED = models.Q(overriding=True, second_at__isnull=False, second_confirmed_at=None, stopped_on=None)


class DepartureReason(models.TextChoices):
    """Why the choice departs from the first class the advice offers."""

    PERSON_DECLINES = "person_declines", "The patient declines it"
    CANNOT_ATTEND = "cannot_attend", "Cannot attend as often as it needs"
    NOT_TOLERATED = "not_tolerated", "Not tolerated before"
    NOT_AVAILABLE = "not_available", "Not available here today"
    SKILL = "skill", "Nobody trained to apply it"
    FINDING_NOT_IN_RULES = "finding_not_in_rules", "Other clinical finding"
    FACT_MISSING = "fact_missing", "A finding is missing; removable meanwhile"
    OTHER = "other", "Other"


class Agreement(models.TextChoices):
    """Where a choice stands to the guidance; decided when it is signed and kept (own design)."""

    FIRST = "first", "First choice given"
    LOWER_DATED = "lower_dated", "Second choice, documented reason"
    LOWER_TICKED = "lower_ticked", "Second choice, undated reason"
    DEPARTED = "departed", "Departure with a reason"
    UNJUDGED = "unjudged", "Cannot be judged, findings missing"


#: What each value of `agrees` may be told apart into.
AGREES = {
    True: (Agreement.FIRST, Agreement.LOWER_DATED, Agreement.LOWER_TICKED),
    False: (Agreement.DEPARTED,),
    None: (Agreement.UNJUDGED,),
}


class StopReason(models.TextChoices):
    HEALED = "healed", "Healed"
    CHANGED = "changed", "Changed for another device"
    NOT_TOLERATED = "not_tolerated", "Not tolerated"
    NEW_LESION = "new_lesion", "New ulcer from the device"
    BROKEN = "broken", "Broken"
    INFECTION = "infection", "Infection or ischaemia"
    ENDED = "ended", "Ulcer or care here ended"
    OTHER = "other", "Other"


class DeviceLeft(models.TextChoices):
    """Where a device went whose wearer, or whose last ulcer, is no longer cared for here."""

    TAKEN_OFF = "taken_off", "Taken off"
    HANDED_OVER = "handed_over", "Worn on, handed to another team"
    NOT_KNOWN = "not_known", "Not known"


def content_digest(content: dict[str, Any]) -> str:
    """Hash of a signed record's content, whatever the database does to the order of JSON."""
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _own_reason() -> Any:
    return models.ForeignKey(
        "clinic.SiteReason", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )


def _words_then() -> Any:
    return models.CharField(max_length=80, blank=True, default="", db_default="")


class Prescription(ClinicalRecord):
    SITE_PATH = "limb__person__site"

    limb = models.ForeignKey("clinic.Limb", on_delete=models.PROTECT, related_name="prescriptions")
    lesions = models.ManyToManyField("clinic.Lesion", related_name="prescriptions")
    device_class = models.CharField(max_length=32, choices=DEVICE_CHOICES)
    device_label = models.CharField("maker's label, for tracing only", max_length=80, blank=True)
    prescribed_on = models.DateField()

    facts = models.JSONField()
    advice = models.JSONField()
    edition = models.CharField(max_length=120)
    first_offered = models.CharField(max_length=32, blank=True)
    agrees = models.BooleanField("choice is the first class the advice offers", null=True, blank=True)
    agreement = models.CharField("agreement with guidance", max_length=12, choices=Agreement.choices)
    departure_reason = models.CharField(max_length=24, choices=DepartureReason.choices, blank=True)
    #: The clinic's own reason, and the words it had that day; `departure_reason` says what it counts as.
    departure_own = _own_reason()
    departure_words = _words_then()
    reason = models.TextField("reason in words")
    signed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField()
    #: Everything page and print say of the decision, in words as they stood; `content_sha256` is its hash.
    content = models.JSONField(default=dict, blank=True)
    content_sha256 = models.CharField(max_length=64, blank=True)
    #: Classes that serve a lesion the chosen one leaves, such as a spacer beside a walker.
    beside = models.JSONField(default=list, blank=True)
    second_needed = models.BooleanField("needs a second signature", default=False)
    second_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    second_at = models.DateTimeField(null=True, blank=True)
    #: A device that stays on, signed against a known danger; the second clinician may be an outside one, who
    #: is then named here and confirms in writing.
    overriding = models.BooleanField("signed against a known danger", default=False)
    second_name = models.CharField(max_length=80, blank=True)
    second_role = models.CharField(max_length=80, blank=True)
    second_telephone = models.CharField(max_length=40, blank=True)
    second_confirmed_at = models.DateTimeField(null=True, blank=True)
    second_confirmed_how = models.CharField(max_length=200, blank=True)
    forecast_shown = models.JSONField(null=True, blank=True)
    relief_plan = models.ForeignKey(
        "offload.ReliefPlan", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    counts_for = counts_for()
    fitted_on = models.DateField(null=True, blank=True)
    sealed_on = models.DateField(null=True, blank=True)
    open_by = models.DateField(null=True, blank=True)
    opened_on = models.DateField(null=True, blank=True)
    #: The visit that opened it; empty: it was opened on its own page, or stopped.
    opened_visit = models.ForeignKey(
        "clinic.Visit", on_delete=models.PROTECT, related_name="opened_devices", null=True, blank=True
    )
    stopped_on = models.DateField(null=True, blank=True)
    stop_reason = models.CharField(max_length=14, choices=StopReason.choices, blank=True)
    stop_own = _own_reason()
    stop_words = _words_then()
    #: Of a device whose wearer left: what became of it, by or with whom, and who was told.
    left_how = models.CharField(max_length=11, choices=DeviceLeft.choices, blank=True)
    left_with = models.CharField("by whom, or with whom", max_length=120, blank=True)
    left_told = models.CharField("who was told", max_length=120, blank=True)
    #: Worn on although no ulcer of the foot is open: asked again after the next ending.
    kept_on = models.DateField(null=True, blank=True)
    kept_because = models.CharField(max_length=160, blank=True)

    #: Read by the history library: the list of lesions is kept with each copy.
    _history_m2m_fields = [lesions]

    class Meta:
        ordering = ["-prescribed_on", "-pk"]
        indexes = [
            models.Index(fields=["prescribed_on", "limb"], name="prescription_by_day"),
            models.Index(fields=["limb", "fitted_on"], name="prescription_fitted"),
            # Chosen from EXPLAIN at 200 sites: shares of the whole network, and the few that wait.
            models.Index(
                fields=["prescribed_on", "departure_reason"],
                condition=models.Q(agreement="departed"),
                name="prescription_departures",
            ),
            models.Index(
                fields=["limb"],
                condition=models.Q(second_needed=True, second_at__isnull=True, stopped_on__isnull=True),
                name="prescription_waiting",
            ),
        ]
        constraints = [
            one_of("device_class", DEVICE_CHOICES, name="prescription_class"),
            one_of("departure_reason", DepartureReason, name="prescription_departure", blank=True),
            one_of("stop_reason", StopReason, name="prescription_stop", blank=True),
            one_of("left_how", DeviceLeft, name="prescription_left", blank=True),
            models.CheckConstraint(
                condition=models.Q(left_how="", left_with="", left_told="")
                | models.Q(left_how__gt="", stopped_on__isnull=False),
                name="prescription_left_stopped",
                violation_error_message="what became of a device is told of one that was stopped",
            ),
            models.CheckConstraint(
                condition=models.Q(kept_on__isnull=True, kept_because="")
                | (models.Q(kept_on__isnull=False) & ~models.Q(kept_because="")),
                name="prescription_kept",
                violation_error_message="a device worn on without an open ulcer has its day and its reason",
            ),
            models.CheckConstraint(
                condition=models.Q(agrees=True, agreement__in=[a.value for a in AGREES[True]])
                | models.Q(agrees=False, agreement="departed")
                | models.Q(agrees__isnull=True, agreement="unjudged"),
                name="prescription_agreement",
                violation_error_message="the agreement told must go with whether the choice agrees",
            ),
            models.CheckConstraint(
                condition=~models.Q(reason=""),
                name="prescription_reason",
                violation_error_message="a prescription needs its reason in words",
            ),
            models.CheckConstraint(
                condition=~models.Q(agrees=False) | ~models.Q(departure_reason=""),
                name="prescription_departure_coded",
                violation_error_message="a departure from guidance needs its coded reason",
            ),
            models.CheckConstraint(
                condition=models.Q(stopped_on__isnull=True, stop_reason="")
                | (models.Q(stopped_on__isnull=False) & ~models.Q(stop_reason="")),
                name="prescription_stopped",
                violation_error_message="a stopped device needs the date and the reason",
            ),
            models.CheckConstraint(
                condition=models.Q(sealed_on__isnull=True)
                | models.Q(
                    open_by__isnull=False,
                    open_by__gt=models.F("sealed_on"),
                    device_class__in=list(_STAYS_ON),
                ),
                name="prescription_sealed",
                violation_error_message="only a non-removable device is sealed, and then it has a day to "
                "open it by",
            ),
            models.CheckConstraint(
                condition=models.Q(second_by__isnull=True, second_at__isnull=True)
                | (
                    models.Q(second_by__isnull=False, second_at__isnull=False, second_name="")
                    & ~models.Q(second_by=models.F("signed_by"))
                )
                | (
                    models.Q(second_by__isnull=True, second_at__isnull=False, overriding=True)
                    & ~models.Q(second_name="")
                    & ~models.Q(second_role="")
                    & ~models.Q(second_telephone="")
                ),
                name="prescription_second_other",
                violation_error_message="the second signature is another person's, with its time",
            ),
            models.CheckConstraint(
                condition=models.Q(second_needed=False)
                | models.Q(fitted_on__isnull=True)
                | models.Q(second_at__isnull=False),
                name="prescription_second_before_fitting",
                violation_error_message="the second signature comes before the fitting",
            ),
            models.CheckConstraint(
                condition=models.Q(overriding=False)
                | models.Q(second_needed=True, sealed_on__isnull=True)
                | models.Q(second_needed=True, second_confirmed_at__isnull=False),
                name="prescription_override_before_sealing",
                violation_error_message="a device signed against a known danger is sealed only once the "
                "second clinician has confirmed it",
            ),
            models.UniqueConstraint(
                fields=["limb"],
                condition=models.Q(stopped_on__isnull=True),
                name="prescription_one_running",
                violation_error_message="this limb already has a running device; stop it first",
            ),
        ]

    def __str__(self) -> str:
        return self.get_device_class_display()

    @property
    def departure_told(self) -> str:
        """The coded reason in the words it had when it was given."""
        return self.departure_words or (self.get_departure_reason_display() if self.departure_reason else "")

    @property
    def stop_told(self) -> str:
        return self.stop_words or (self.get_stop_reason_display() if self.stop_reason else "")

    @property
    def is_non_removable(self) -> bool:
        return self.device_class in NON_REMOVABLE

    @property
    def stays_closed(self) -> bool:
        """Sealed, and not opened since; whether it was stopped is another question."""
        return self.sealed_on is not None and self.opened_on is None

    @property
    def waits_for_second(self) -> bool:
        return self.second_needed and self.second_at is None and self.stopped_on is None

    @property
    def waits_for_confirmation(self) -> bool:
        """Signed second by telephone, and nothing in writing yet."""
        return (
            self.overriding
            and self.second_at is not None
            and self.second_confirmed_at is None
            and self.stopped_on is None
        )

    @property
    def stays_unsealed(self) -> bool:
        """Signed against a known danger, without a second clinician who has confirmed it."""
        return self.overriding and self.second_confirmed_at is None

    @property
    def second_words(self) -> str:
        """Who signed second, as every page says it."""
        if self.second_by is not None:
            return str(self.second_by)
        return f"{self.second_name}, {self.second_role}, by telephone {self.second_telephone}"

    @property
    def takes_insole(self) -> bool:
        return self.device_class in WITH_INSOLE


class LimbPlan(ClinicalRecord):
    """Which limb and which lesions a relief plan serves; the plan itself knows no person."""

    SITE_PATH = "limb__person__site"

    limb = models.ForeignKey("clinic.Limb", on_delete=models.PROTECT, related_name="relief_plans")
    lesions = models.ManyToManyField("clinic.Lesion", related_name="relief_plans")
    plan = models.OneToOneField("offload.ReliefPlan", on_delete=models.PROTECT, related_name="+")
    #: What its pressures start from; empty for the reference map.
    measured_map = models.ForeignKey(
        "clinic.MeasuredMap", on_delete=models.PROTECT, null=True, blank=True, related_name="plans"
    )
    #: Set aside here: not signed, cut or followed any more. The plan itself knows no person.
    ended_on = models.DateField(null=True, blank=True)
    ended_because = models.CharField(max_length=200, blank=True)
    _history_m2m_fields = [lesions]

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ended_on__isnull=True, ended_because="")
                | (models.Q(ended_on__isnull=False) & ~models.Q(ended_because="")),
                name="limb_plan_ended",
                violation_error_message="a plan that was set aside has its day and its reason",
            )
        ]

    def __str__(self) -> str:
        return f"Relief plan {self.plan_id}"
