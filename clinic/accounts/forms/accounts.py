"""Accounts: inviting, changing, one-time links, one's own password, codes of the second factor."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.validators import UnicodeUsernameValidator

from clinic.models import Role, Site, User


def _password(label: str, autocomplete: str, help_text: str = "") -> forms.CharField:
    return forms.CharField(
        label=label,
        strip=False,
        max_length=256,
        help_text=help_text,
        widget=forms.PasswordInput(attrs={"autocomplete": autocomplete}),
    )


RULES = (
    "At least 12 characters; three or four unconnected words do well. No common password, no words of "
    "this clinic."
)


class AccountForm(forms.Form):
    """What a manager may set. Nothing else of the user is taken from a request."""

    first_name = forms.CharField(label="Given name", max_length=60)
    last_name = forms.CharField(label="Family name", max_length=60)
    role = forms.ChoiceField(label="Role", choices=Role.choices)
    registered_as = forms.CharField(
        label="Registered as",
        max_length=60,
        required=False,
        help_text="Profession of a registered clinician in the clinic staff, such as nurse, doctor or "
        "physiotherapist: may sign second against a known danger. Empty for everybody else.",
    )
    # Closed lists rather than a look-up of what was sent: a number no database holds is then no fault of it.
    sites = forms.MultipleChoiceField(label="Clinics", widget=forms.CheckboxSelectMultiple)
    active = forms.BooleanField(label="The account is on", required=False)
    hand_to = forms.ChoiceField(
        label="Open work goes to",
        required=False,
        help_text="Results and review items it waits for, where it is switched off or leaves a clinic.",
    )

    def __init__(self, *args: Any, by: User, of: User | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._own = {str(site.pk): site for site in Site.objects.filter(pk__in=by.site_ids)}
        sites: Any = self.fields["sites"]
        sites.choices = [(key, site.name) for key, site in self._own.items()]
        colleagues = User.objects.filter(sites__in=by.site_ids, is_active=True).exclude(role=Role.MANAGER)
        if of is not None:
            # Nobody hands their work over to themselves.
            colleagues = colleagues.exclude(pk=of.pk)
        self._colleagues = {str(one.pk): one for one in colleagues.distinct().order_by("last_name", "pk")}
        hand_to: Any = self.fields["hand_to"]
        hand_to.choices = [("", "Nobody"), *((key, str(one)) for key, one in self._colleagues.items())]

    def clean_hand_to(self) -> User | None:
        return self._colleagues.get(self.cleaned_data["hand_to"])

    def clean_sites(self) -> list[Site]:
        return [self._own[key] for key in self.cleaned_data["sites"]]


class InviteForm(AccountForm):
    username = forms.CharField(
        label="User name",
        max_length=60,
        validators=[UnicodeUsernameValidator()],
        help_text="What the person signs in with. Letters, digits and . - _ @ +",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none"}),
    )
    field_order = ("username", "first_name", "last_name", "role", "registered_as", "sites")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["active"], self.fields["hand_to"]


class _TwiceForm(forms.Form):
    first, second = "", ""

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get(self.first) and data.get(self.second) and data[self.first] != data[self.second]:
            self.add_error(self.second, "The two are not the same.")
        return data


class LinkPasswordForm(_TwiceForm):
    first, second = "password", "again"
    password = _password("New password", "new-password", RULES)
    again = _password("The same again", "new-password")


class OwnPasswordForm(_TwiceForm):
    first, second = "new", "again"
    old = _password("Password now", "current-password")
    new = _password("New password", "new-password", RULES)
    again = _password("The same again", "new-password")


def _code(label: str, help_text: str) -> forms.CharField:
    return forms.CharField(
        label=label,
        max_length=40,
        help_text=help_text,
        widget=forms.TextInput(
            attrs={"autocomplete": "one-time-code", "inputmode": "text", "autocapitalize": "none"}
        ),
    )


class CodeForm(forms.Form):
    code = _code("Code", "Six digits from your authenticator, or one of your recovery codes.")


class EnrolStartForm(forms.Form):
    password = _password("Your password", "current-password", "Asked before the key is shown.")


class EnrolForm(forms.Form):
    code = _code("Code", "The six digits your authenticator shows now.")
    password = _password("Your password", "current-password")


class EndSignInsForm(forms.Form):
    password = _password("Your password", "current-password", "Asked before a sign-in is ended.")
