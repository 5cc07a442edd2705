"""A call that came in: what the person or a helper says between two visits, and what was done about it."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from .record import ClinicalRecord, one_of


class CallAbout(models.TextChoices):
    RUBBING = "rubbing", "Rubbing or pain in the device"
    WET = "wet", "Device wet, loose or broken"
    FEVER = "fever", "Fever or unwell"
    FELL = "fell", "A fall"
    BACK_HOME = "back_home", "Back from hospital"
    OTHER = "other", "Other"


class CallDone(models.TextChoices):
    ADVISED = "advised", "Advice given"
    COMES_TODAY = "comes_today", "Comes in today"
    COMES_LATER = "comes_later", "Comes in on another day"
    PASSED_ON = "passed_on", "Passed on to a colleague or service"


class IncomingCall(ClinicalRecord):
    SITE_PATH = "person__site"

    person = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="calls")
    called_at = models.DateTimeField()
    caller = models.CharField("who called", max_length=80, blank=True)
    about = models.CharField(max_length=10, choices=CallAbout.choices)
    words = models.CharField("what they say", max_length=300)
    #: The red flags were asked at this call; what was found stands in a row of `RedFlag`.
    done = models.CharField(max_length=12, choices=CallDone.choices, blank=True)
    done_note = models.CharField(max_length=300, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta:
        ordering = ["-called_at", "-pk"]
        constraints = [
            one_of("about", CallAbout, name="call_about"),
            one_of("done", CallDone, name="call_done", blank=True),
            models.CheckConstraint(
                condition=models.Q(done="", done_at__isnull=True, done_by__isnull=True)
                | (~models.Q(done="") & models.Q(done_at__isnull=False, done_by__isnull=False)),
                name="call_answered",
                violation_error_message="what was done about a call has its time and who did it",
            ),
        ]

    def __str__(self) -> str:
        return f"Call: {self.get_about_display()}"
