"""A red flag raised at a visit or a call; it stands on Today until answered."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from .record import one_of
from .withdrawable import Withdrawable, withdrawn_whole


class FlagAnswer(models.TextChoices):
    CALLED = "called", "Spoke to team"
    SENT = "sent", "Sent to hospital"
    TREATED_HERE = "treated_here", "Treated here today"
    KNOWN = "known", "Known, under a team until a date"
    NOT_A_FLAG = "not_a_flag", "Reviewed: not a red flag"


class RedFlag(Withdrawable):
    SITE_PATH = "person__site"

    person = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="red_flags")
    visit = models.ForeignKey(
        "clinic.Visit", on_delete=models.PROTECT, related_name="red_flags", null=True, blank=True
    )
    call = models.ForeignKey(
        "clinic.IncomingCall", on_delete=models.PROTECT, related_name="red_flags", null=True, blank=True
    )
    raised_at = models.DateTimeField()
    flags = models.JSONField()
    #: Standing dangers that raised the flag by themselves: id -> level, see guidelines/known_dangers.py.
    from_record = models.JSONField(default=dict, blank=True)
    answer = models.CharField(max_length=12, choices=FlagAnswer.choices, blank=True)
    answer_note = models.CharField(max_length=300, blank=True)
    #: Of a danger known before: the team that has it, and when it sees the person next.
    under = models.CharField("under which team", max_length=80, blank=True)
    until = models.DateField("until when", null=True, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta:
        ordering = ["-raised_at"]
        constraints = [
            one_of("answer", FlagAnswer, name="red_flag_answer", blank=True),
            withdrawn_whole(name="red_flag_withdrawn"),
            models.CheckConstraint(
                condition=models.Q(answer="", answered_at__isnull=True)
                | (~models.Q(answer="") & models.Q(answered_at__isnull=False)),
                name="red_flag_answered",
            ),
            models.CheckConstraint(
                condition=(models.Q(answer="known", until__isnull=False) & ~models.Q(under=""))
                | (~models.Q(answer="known") & models.Q(under="", until__isnull=True)),
                name="red_flag_known",
                violation_error_message="a danger known before names the team that has it and its next date",
            ),
        ]

    def __str__(self) -> str:
        return f"Red flag of {self.raised_at:%-d %b %Y}"
