"""The answer to a form that names its key: stored, as what; or stored before, by the same key."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.crypto import salted_hmac
from django_htmx.http import HttpResponseClientRedirect

from clinic.models import FormReceipt
from clinic.record.messages import message_of
from clinic.record.reads.receipts import HEADER, key_of, receipt_header, receipt_words
from clinic.record.scripted import sent_on, wants_json
from clinic.record.writes.receipts import Sending

__all__ = ["FORM_KEY", "form_sent", "stored_before", "with_receipt"]

#: The field that the page's script adds to every form it keeps.
FORM_KEY = "form_key"
#: Not of the form's content: they differ between two sendings of the same form.
STAMPS = {FORM_KEY, "csrfmiddlewaretoken"}


def form_sent(request: HttpRequest) -> Sending | None:
    """The form of a request that names its key; None for every other request."""
    if request.method != "POST" or not request.user.is_authenticated:
        return None
    key = key_of(request.POST.get(FORM_KEY, ""))
    return Sending(request.user.pk, key, _content_digest(request)) if key else None


def _content_digest(request: HttpRequest) -> str:
    """Keyed digest of what was typed and of the address it was sent to; of a file, its name and length."""
    typed = sorted(
        (name, value) for name, values in request.POST.lists() if name not in STAMPS for value in values
    )
    files = sorted((name, one.name, one.size) for name, sent in request.FILES.lists() for one in sent if one)
    return salted_hmac(FORM_KEY, repr((request.path, typed, files)), algorithm="sha256").hexdigest()


def with_receipt(response: HttpResponseBase, receipt: FormReceipt) -> HttpResponseBase:
    """The answer, which now names the key and the version stored."""
    response[HEADER] = receipt_header(receipt)
    return response


def _changed_since(request: HttpRequest, stored: dict[str, Any], receipt: FormReceipt) -> HttpResponse:
    if wants_json(request):  # type: ignore[arg-type]
        refused = f"Stored already, as {stored['name']}. What was changed since is not stored."
        return JsonResponse({"refused": refused}, status=409)
    context = {"stored": stored, "at": receipt.at}
    return render(request, "record/stored_before.html", context, status=409)


def stored_before(request: HttpRequest, receipt: FormReceipt, content_digest: str) -> HttpResponseBase:
    """Answer a form whose key has a receipt: on to what was stored; or, changed since, where to change it."""
    stored = receipt_words(receipt)
    if receipt.content_digest != content_digest:
        changed = _changed_since(request, stored, receipt)
        return with_receipt(changed, receipt)
    messages.warning(request, message_of("form_stored_already", what=stored["name"]).text)
    if request.headers.get("HX-Request"):
        return with_receipt(HttpResponseClientRedirect(stored["url"]), receipt)
    return with_receipt(sent_on(request, stored["url"]), receipt)  # type: ignore[arg-type]
