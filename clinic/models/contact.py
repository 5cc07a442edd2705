"""An attempt to reach a person, after a missed visit or a flag."""

from django.db import models

from .record import one_of
from .withdrawable import Withdrawable, withdrawn_whole


class ContactHow(models.TextChoices):
    TELEPHONE = "telephone", "Telephone"
    SECOND_CONTACT = "second_contact", "Second contact"
    LETTER = "letter", "Letter"
    HOME = "home", "Home visit"


class ContactResult(models.TextChoices):
    REACHED = "reached", "Reached"
    NOT_REACHED = "not_reached", "Not reached"
    MESSAGE = "message", "Message left"


class Contact(Withdrawable):
    SITE_PATH = "person__site"

    person = models.ForeignKey("clinic.Person", on_delete=models.PROTECT, related_name="contacts")
    tried_at = models.DateTimeField()
    how = models.CharField(max_length=14, choices=ContactHow.choices)
    result = models.CharField(max_length=12, choices=ContactResult.choices)
    note = models.CharField(max_length=300, blank=True)
    #: The next date agreed in it, and the one it replaced, which comes back when it is taken back.
    next_on = models.DateField("next date agreed", null=True, blank=True)
    next_was = models.DateField("next date before", null=True, blank=True, editable=False)

    class Meta:
        ordering = ["-tried_at"]
        constraints = [
            one_of("how", ContactHow, name="contact_how"),
            one_of("result", ContactResult, name="contact_result"),
            withdrawn_whole(name="contact_withdrawn_whole"),
        ]

    def __str__(self) -> str:
        return f"{self.get_how_display()}: {self.get_result_display()}"
