"""A form as the browser would send it, read from the page."""

from html.parser import HTMLParser

__all__ = ["Fields"]


class Fields(HTMLParser):
    """What a form holds: name -> value typed or chosen, as the browser would send it."""

    def __init__(self, html):
        super().__init__()
        self.values, self.names, self._area, self._select = {}, set(), None, None
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag == "option" and self._select and "selected" in given:
            self.values[self._select] = [given.get("value", "")]
        name = given.get("name")
        if not name or tag == "button":
            # A button is sent only when it is the one pressed.
            return
        self.names.add(name)
        if tag == "textarea":
            self._area = name
        elif tag == "select":
            self._select = name
        elif given.get("type") in ("radio", "checkbox"):
            if "checked" in given:
                self.values.setdefault(name, []).append(given.get("value", "on"))
        elif given.get("value"):
            self.values[name] = [given["value"]]

    def handle_data(self, data):
        if self._area and data.strip():
            self.values[self._area] = [data.strip()]

    def handle_endtag(self, tag):
        if tag == "textarea":
            self._area = None
        if tag == "select":
            self._select = None
