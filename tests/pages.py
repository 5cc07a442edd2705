"""A client that reads a page as a browser shows it: the line breaks of a template's source are spaces."""

import re

from django.test import Client

__all__ = ["PageClient"]


class PageClient(Client):
    def request(self, **request):
        response = super().request(**request)
        if response.get("Content-Type", "").startswith("text/html") and not response.streaming:
            response.content = re.sub(rb"\s*\n\s*", b" ", response.content)
        return response
