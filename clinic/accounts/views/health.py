"""Whether the program can do its work, for a watcher: no sign-in, no name, no detail.

`manage.py doctor` and its page say what is wrong and what to do; this page only says that something is.
"""

from __future__ import annotations

import os

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.clickjacking import xframe_options_deny
from django.views.decorators.http import require_safe


@never_cache
@xframe_options_deny
@login_not_required
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    """200 when the database answers and photos can be written, 503 otherwise."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        database = True
    except DatabaseError:
        database = False
    folder = settings.MEDIA_ROOT if settings.MEDIA_ROOT.exists() else settings.MEDIA_ROOT.parent
    free = os.statvfs(folder)
    room = os.access(folder, os.W_OK) and free.f_bavail * free.f_frsize > 50 * 1024 * 1024
    well = database and room
    return JsonResponse(
        {"status": "ok" if well else "failing", "database": database, "room_for_photos": room},
        status=200 if well else 503,
    )
