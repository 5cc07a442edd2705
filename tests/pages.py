"""A client that reads a page as a browser shows it: the line breaks of a template's source are spaces."""

import re

from django.test import Client

__all__ = ["PageClient"]

#: Inside these a line break is part of the content.
WHOLE = re.compile(rb"(<(textarea|pre)\b.*?</\2>)", re.DOTALL)


def shown(page: bytes) -> bytes:
    parts, at = [], 0
    for whole in WHOLE.finditer(page):
        parts += [re.sub(rb"\s*\n\s*", b" ", page[at : whole.start()]), whole[0]]
        at = whole.end()
    return b"".join([*parts, re.sub(rb"\s*\n\s*", b" ", page[at:])])


class PageClient(Client):
    def request(self, **request):
        response = super().request(**request)
        if response.get("Content-Type", "").startswith("text/html") and not response.streaming:
            response.content = shown(response.content)
        return response
