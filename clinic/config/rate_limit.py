"""How many requests one user may send in a minute: far above any hand, far below a script that copies a
clinic.
"""

from __future__ import annotations

import time

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest

__all__ = ["too_fast"]

#: Twice a window, so that a counter outlives the minute it counts.
CACHE_SECONDS = 120


def too_fast(request: HttpRequest) -> bool:
    """Whether this request is beyond what its user, or its address while nobody is signed in, may send this
    minute.

    Each server counts for itself unless `CACHE_URL` shares one cache.
    """
    limit = settings.WRITES_PER_MINUTE if request.method == "POST" else settings.READS_PER_MINUTE
    if not limit:
        return False
    user = request.user
    who = f"u{user.pk}" if user.is_authenticated else f"a{request.META.get('REMOTE_ADDR', '')}"
    key = f"rate-{request.method == 'POST'}-{who}-{int(time.time() // 60)}"
    cache.add(key, 0, CACHE_SECONDS)
    try:
        return cache.incr(key) > limit
    except ValueError:  # thrown out of a full cache in between
        return False
