"""Small middlewares: signing in again under htmx, the idle clock, and pages that no cache may keep."""

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import resolve_url
from django.utils import timezone
from django_htmx.http import HttpResponseClientRedirect

TOUCH_EVERY_SECONDS = 60


class HtmxLoginRedirect:
    """Turn the redirect to the sign-in page into a whole-page one when htmx asked.

    The browser follows a 302 inside the request, so the sign-in form would land inside the panel.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        response = self.get_response(request)
        if (
            response.status_code == 302
            and request.headers.get("HX-Request") == "true"
            and response["Location"].startswith(resolve_url(settings.LOGIN_URL))
        ):
            return HttpResponseClientRedirect(response["Location"])
        return response


class TouchSession:
    """Restart the idle clock at most once a minute: each save takes SQLite's write lock."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        if request.user.is_authenticated:
            now = int(timezone.now().timestamp())
            if now - request.session.get("touched", 0) >= TOUCH_EVERY_SECONDS:
                request.session["touched"] = now
        return self.get_response(request)


class PrivatePages:
    """No shared or browser cache keeps a page of a signed-in person unless a view says otherwise."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request) -> HttpResponse:
        response = self.get_response(request)
        if request.user.is_authenticated and not response.has_header("Cache-Control"):
            response["Cache-Control"] = "private, no-store"
        return response
