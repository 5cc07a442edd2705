"""What an account needs besides its user: one-time links, and the devices it is signed in on."""

from django.conf import settings
from django.db import models

from .record import one_of


class LinkPurpose(models.TextChoices):
    INVITE = "invite", "Invitation"
    RESET = "reset", "New password"


class AccountLink(models.Model):
    """A link that sets a password once. Only its hash is kept."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="links")
    purpose = models.CharField(max_length=6, choices=LinkPurpose.choices)
    token_sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [one_of("purpose", LinkPurpose, name="account_link_purpose")]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()} for {self.user}"


class SignIn(models.Model):
    """One signed-in browser, so that its user can see it and end it."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="sign_ins")
    session_key = models.CharField(max_length=40, unique=True)
    at = models.DateTimeField()
    browser = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"{self.user}, {self.browser}, {self.at}"
