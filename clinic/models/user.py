"""People who sign in. Their role decides what they may do, their sites decide whose records they see."""

from __future__ import annotations

from functools import cached_property

from django.contrib.auth.hashers import check_password
from django.contrib.auth.models import AbstractUser
from django.db import models

from .record import one_of
from .site import Site


class Role(models.TextChoices):
    STAFF = "staff", "Clinic staff"
    PODIATRIST = "podiatrist", "Podiatrist"
    MANAGER = "manager", "Manager"


class User(AbstractUser):
    role = models.CharField(max_length=12, choices=Role.choices, default=Role.STAFF)
    sites = models.ManyToManyField("clinic.Site", related_name="members", blank=True)

    #: Profession of somebody in the clinic staff who is registered for it; such a clinician may sign second
    #: against a known danger.
    registered_as = models.CharField("registered as", max_length=60, blank=True)

    #: A confirmed second factor exists; kept on the row every request reads anyway.
    second_factor = models.BooleanField(default=False, editable=False)

    #: Issuer and subject of the hospital's sign-on; None for a local account.
    sign_on_subject = models.CharField(max_length=500, null=True, unique=True, default=None, editable=False)

    class Meta(AbstractUser.Meta):
        constraints = [one_of("role", Role, name="user_role")]

    def __str__(self) -> str:
        return self.get_full_name() or self.username

    @property
    def is_registered(self) -> bool:
        """A registered clinician: every podiatrist, and staff whose profession is entered; no manager."""
        return self.role == Role.PODIATRIST or (self.role == Role.STAFF and bool(self.registered_as))

    def check_password(self, raw_password: str | None) -> bool:
        """Whether it is the password. The framework would store it anew, beside the audit chain."""
        return raw_password is not None and check_password(raw_password, self.password)

    @cached_property
    def my_sites(self) -> list[Site]:
        """Sites this user works at by name, read once per request: what a list of clinics needs and no more.

        A clinic is a long row; somebody may work at two hundred.
        """
        return list(self.sites.order_by("name").only("name", "second_factor"))

    @property
    def site_ids(self) -> list[int]:
        """Their numbers."""
        return [site.pk for site in self.my_sites]
