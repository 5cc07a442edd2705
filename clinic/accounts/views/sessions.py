"""Signing in, the second factor, handing the tablet over, and one's own account."""

from __future__ import annotations

import logging
from typing import Any

import segno
from django.conf import settings
from django.contrib import auth, messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render, resolve_url
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme, urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django_otp import login as otp_login

from clinic.access import ClinicRequest, may, second_factor_asked
from clinic.accounts.forms.accounts import (
    CodeForm,
    EndSignInsForm,
    EnrolForm,
    EnrolStartForm,
    OwnPasswordForm,
)
from clinic.accounts.reads.accounts import own_sign_ins, recovery_codes_left
from clinic.accounts.seats import keep_seat, seats_of
from clinic.accounts.views.asking import asked_lately, password_right
from clinic.accounts.writes import sessions
from clinic.accounts.writes.accounts import own_password_change
from clinic.models import User
from clinic.record.errors import Refused
from clinic.record.forms.refusals import show
from clinic.record.messages import message_of

log = logging.getLogger("clinic.sign_in")


def _next(request: HttpRequest) -> str:
    """Where to go afterwards: only a path of this host."""
    target = request.POST.get("next") or request.GET.get("next") or ""
    safe = url_has_allowed_host_and_scheme(
        target, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return target if safe and target.startswith("/") else resolve_url("home")


@sensitive_post_parameters()
@never_cache
@login_not_required
def sign_in(request: HttpRequest) -> HttpResponse:
    if request.user.is_authenticated:
        return redirect(_next(request))
    typed = request.GET.get("as", "")
    form = AuthenticationForm(request, data=request.POST or None, initial={"username": typed})
    if request.method == "POST" and form.is_valid():
        user: Any = form.get_user()
        auth.login(request, user)
        sessions.sign_in_note(
            user=user,
            session_key=request.session.session_key or "",
            agent=request.headers.get("User-Agent", ""),
        )
        log.info("signed in with a password", extra={"user": user.pk})
        response = redirect(_next(request))
        keep_seat(request, response, user.username)
        return response
    return render(
        request,
        "registration/login.html",
        {
            "form": form,
            "next": _next(request),
            "seats": seats_of(request),
            "typed": typed,
            "sign_on": settings.SIGN_ON_ISSUER,
        },
        status=422 if form.errors else 200,
    )


@may("own_account")
def switch_user(request: ClinicRequest) -> HttpResponse:
    """Hand the tablet to a colleague: signed out, back on this page after they sign in."""
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    where = _next(request)
    log.info("signed out", extra={"user": request.user.pk})
    auth.logout(request)
    return redirect(f"{reverse('login')}?{urlencode({'next': where})}")


def _moved(request: HttpRequest, old: str | None) -> None:
    sessions.sign_in_moved(old=old or "", new=request.session.session_key or "")


@sensitive_post_parameters()
@never_cache
@may("own_account")
def second_factor(request: ClinicRequest) -> HttpResponse:
    user: Any = request.user
    if not user.second_factor:
        return redirect(f"{reverse('second_factor_enrol')}?{urlencode({'next': _next(request)})}")
    form = CodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        device = sessions.code_accept(by=User.objects.get(pk=user.pk), code=form.cleaned_data["code"])
        if device is None:
            log.warning("second factor refused", extra={"user": user.pk})
            form.add_error("code", "Not right, used already, or too soon after a wrong one.")
        else:
            old = request.session.session_key
            otp_login(request, device)
            request.session.cycle_key()
            _moved(request, old)
            log.info("second factor given", extra={"user": user.pk})
            return redirect(_next(request))
    return render(
        request,
        "accounts/code.html",
        {"form": form, "next": _next(request)},
        status=422 if form.errors else 200,
    )


second_factor.before_second_factor = True  # type: ignore[attr-defined]


@sensitive_post_parameters()
@never_cache
@may("own_account")
def second_factor_enrol(request: ClinicRequest) -> HttpResponseBase:
    """Turn the second factor on, or replace it; replacing asks for the old one first."""
    user: Any = request.user
    if user.second_factor and not user.is_verified():
        return redirect("second_factor")
    starting = request.method != "POST" or request.POST.get("act") == "start"
    form: Any = _enrol_form(EnrolStartForm if starting else EnrolForm, request)
    if request.method != "POST" or not form.is_valid():
        # A wrong form with the right password keeps its key; without the password no key is shown or kept.
        return _enrol_start(request, form if starting else EnrolStartForm())
    if not user.has_usable_password():
        if not asked_lately(request):
            return _enrol_start(request, EnrolStartForm())
    elif not password_right(request, form.cleaned_data["password"]):
        form = EnrolStartForm(request.POST)
        form.add_error("password", "Not your password.")
        return _enrol_start(request, form)
    who = User.objects.get(pk=user.pk)
    if starting:
        return _enrol_page(request, EnrolForm(), sessions.enrol_start(by=who))
    try:
        confirmed, codes = sessions.enrol_confirm(by=who, code=form.cleaned_data["code"])
    except Refused as refused:
        show(form, refused)
        device = sessions.enrolling(by=who)
        return (
            _enrol_start(request, EnrolStartForm()) if device is None else _enrol_page(request, form, device)
        )
    old = request.session.session_key
    otp_login(request, confirmed)
    request.session.cycle_key()
    _moved(request, old)
    sessions.sign_out_everywhere(user=who, but=request.session.session_key)
    return render(request, "accounts/recovery_codes.html", {"codes": codes, "next": _next(request)})


def _enrol_form(kind: type[Any], request: ClinicRequest) -> Any:
    return _asking(kind(request.POST or None), request)


def _asking(form: Any, request: ClinicRequest) -> Any:
    """The form, without the question for a password where the account has none."""
    if not request.user.has_usable_password():
        del form.fields["password"]
    return form


def _enrol_start(request: ClinicRequest, form: EnrolStartForm) -> HttpResponse:
    """Ask for the password; whatever key was shown before is worth nothing from here on."""
    sessions.enrol_drop(by=request.user)
    return render(
        request,
        "accounts/enrol_start.html",
        {
            "form": form,
            "asked": second_factor_asked(request.user),
            "next": _next(request),
            "hospital": not request.user.has_usable_password(),
            "asked_lately": asked_lately(request),
        },
        status=422 if form.errors else 200,
    )


def _enrol_page(request: ClinicRequest, form: EnrolForm, device: Any) -> HttpResponse:
    return render(
        request,
        "accounts/enrol.html",
        {
            "form": form,
            "picture": segno.make(device.config_url, error="m").svg_data_uri(scale=5, border=4, light="#fff"),
            "secret": _in_fours(device),
            "hospital": not request.user.has_usable_password(),
            "asked": second_factor_asked(request.user),
            "next": _next(request),
        },
        status=422 if form.errors else 200,
    )


second_factor_enrol.before_second_factor = True  # type: ignore[attr-defined]


def _in_fours(device: Any) -> str:
    from base64 import b32encode

    text = b32encode(device.bin_key).decode().rstrip("=")
    return " ".join(text[i : i + 4] for i in range(0, len(text), 4))


@sensitive_post_parameters()
@may("own_account")
def me(request: ClinicRequest) -> HttpResponse:
    """One's own account: password, second factor, where one is signed in."""
    user: Any = request.user
    form = OwnPasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            if not password_right(request, form.cleaned_data["old"]):
                raise Refused("Password now: not right.", field="old")
            changed = own_password_change(
                by=user,
                old=form.cleaned_data["old"],
                new=form.cleaned_data["new"],
                keep_session=request.session.session_key,
            )
        except Refused as refused:
            show(form, refused)
        else:
            old = request.session.session_key
            update_session_auth_hash(request, changed)
            _moved(request, old)
            messages.success(request, "Your password is changed; every other sign-in has ended.")
            return redirect("me")
    return _me_page(request, form, _asking(EndSignInsForm(), request))


def _me_page(request: ClinicRequest, form: OwnPasswordForm, ending: Any) -> HttpResponse:
    return render(
        request,
        "accounts/me.html",
        {
            "form": form,
            "ending": ending,
            "sign_ins": own_sign_ins(request.user, request.session.session_key),
            "codes_left": recovery_codes_left(request.user),
            "hospital": not request.user.has_usable_password(),
            "asked_lately": asked_lately(request),
            "asked": second_factor_asked(request.user),
        },
        status=422 if form.errors or ending.errors else 200,
    )


@sensitive_post_parameters()
@may("own_account")
def sign_out_other(request: ClinicRequest) -> HttpResponse:
    """End one of one's sign-ins, or all but this one, after the password or a fresh sign-on."""
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    user: Any = request.user
    ending = _asking(EndSignInsForm(request.POST), request)
    if not user.has_usable_password():
        if not asked_lately(request):
            ending.add_error(None, "Sign in with the hospital's account again first; nothing was ended.")
    elif ending.is_valid() and not password_right(request, ending.cleaned_data["password"]):
        ending.add_error("password", "Not your password.")
    if ending.errors:
        return _me_page(request, OwnPasswordForm(), ending)
    which = request.POST.get("sign_in", "")
    if which.isdecimal() and len(which) < 18:
        try:
            sessions.sign_out_one(by=user, sign_in=int(which))
        except Refused as refused:
            messages.error(request, message_of("refused", words=refused.message).text)
        else:
            messages.success(request, "That sign-in has ended.")
    else:
        count = sessions.sign_out_others(by=user, but=request.session.session_key)
        messages.success(request, f"{count} other sign-in{'' if count == 1 else 's'} ended.")
    return redirect("me")
