"""Requests that the test server is still answering, in threads of its own."""

from __future__ import annotations

import threading
from typing import Any

from django.core.signals import request_finished, request_started

LONGEST = 20.0
"""How long an answer is waited for [s]; a page that was closed asks for no more."""


class InFlight:
    """Threads with a request that is not answered yet."""

    def __init__(self) -> None:
        self.threads: set[int] = set()
        self.changed = threading.Condition()
        request_started.connect(self._began)
        request_finished.connect(self._ended)

    def _began(self, **_: Any) -> None:
        with self.changed:
            self.threads.add(threading.get_ident())

    def _ended(self, **_: Any) -> None:
        with self.changed:
            self.threads.discard(threading.get_ident())
            self.changed.notify_all()

    def over(self) -> bool:
        """Wait until every request of another thread is answered."""
        own = {threading.get_ident()}
        with self.changed:
            return self.changed.wait_for(lambda: self.threads <= own, timeout=LONGEST)
