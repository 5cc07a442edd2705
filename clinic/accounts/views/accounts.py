"""Accounts of one's clinics, for a manager; and the one-time link that sets a password."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from clinic.access import ClinicRequest, may
from clinic.accounts.forms.accounts import AccountForm, InviteForm, LinkPasswordForm
from clinic.accounts.reads.accounts import accounts_of
from clinic.accounts.reads.open_work import work_of
from clinic.accounts.writes import accounts as writes
from clinic.models import User
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of


@may("accounts")
def accounts(request: ClinicRequest) -> HttpResponse:
    return render(request, "accounts/list.html", {"accounts": accounts_of(request.user), "here": "settings"})


def _show_link(request: ClinicRequest, user: User, token: str) -> HttpResponse:
    """The link is shown this once; only its hash is kept."""
    link = request.build_absolute_uri(reverse("account_link", kwargs={"token": token}))
    return render(request, "accounts/link_made.html", {"account": user, "link": link, "here": "settings"})


@never_cache
@may("accounts")
def account_new(request: ClinicRequest) -> HttpResponse:
    form = InviteForm(request.POST or None, by=request.user)
    if request.method == "POST" and form.is_valid():
        try:
            made, token = writes.account_invite(by=request.user, **form.cleaned_data)
        except Refused as refused:
            show(form, refused)
        else:
            return _show_link(request, made, token)
    return render(
        request,
        "accounts/new.html",
        {"form": form, "here": "settings"},
        status=422 if form.errors else 200,
    )


@never_cache
@may("accounts")
def account(request: ClinicRequest, account: int) -> HttpResponse:
    found: Any = get_object_or_404(accounts_of(request.user), pk=account)
    initial = {
        "first_name": found.first_name,
        "last_name": found.last_name,
        "role": found.role,
        "registered_as": found.registered_as,
        "active": found.is_active,
        "sites": [site.pk for site in found.shown_sites],
    }
    act = request.POST.get("act", "change") if request.method == "POST" else ""
    form = AccountForm(request.POST if act == "change" else None, by=request.user, of=found, initial=initial)
    try:
        if act == "reset":
            return _show_link(request, found, writes.account_reset(by=request.user, user=found))
        if act == "second_factor":
            writes.second_factor_remove(by=request.user, user=found)
            messages.success(
                request, "The second factor is removed; it is enrolled anew at the next sign-in."
            )
            return redirect("account", account=found.pk)
        if act == "change" and form.is_valid():
            writes.account_change(by=request.user, user=found, **form.cleaned_data)
            messages.success(request, "The account is changed.")
            return redirect("accounts")
    except Refused as refused:
        if form.is_bound:
            show(form, refused)
        else:
            messages.error(request, message_of("refused", words=refused.message).text)
    return render(
        request,
        "accounts/detail.html",
        {"form": form, "account": found, "work": work_of(found, request.user.site_ids), "here": "settings"},
        status=422 if form.is_bound and form.errors else 200,
    )


@sensitive_post_parameters()
@never_cache
@login_not_required
def account_link(request: HttpRequest, token: str) -> HttpResponse:
    link = writes.link_find(token)
    if link is None:
        return render(request, "accounts/link_ended.html", status=404)
    form = LinkPasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            writes.link_use(token=token, password=form.cleaned_data["password"])
        except Refused as refused:
            show(form, refused)
        else:
            messages.success(request, "The password is set. Sign in with it.")
            return redirect("login")
    return render(
        request,
        "accounts/link.html",
        {"form": form, "account": link.user},
        status=422 if form.errors else 200,
    )
