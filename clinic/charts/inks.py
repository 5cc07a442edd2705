"""Inks of all charts in the light and the dark scheme: the tokens of the pages."""

import re

__all__ = ["DARK", "EDGE", "INK", "PINE", "RULE", "SOFT", "SURFACE", "in_dark"]

SURFACE = "#FFFFFF"
INK = "#1E2B26"
SOFT = "#51605A"
PINE = "#1E5C48"
EDGE = "#8C877A"
RULE = "#D9D4C7"

#: Each ink in a dim room: the dark tokens of the pages.
DARK = {
    SURFACE: "#1B2A24",
    INK: "#ECE9E0",
    SOFT: "#A9B5AE",
    PINE: "#7CC4A4",
    EDGE: "#6F8278",
    RULE: "#33463D",
}


def in_dark(picture: bytes) -> bytes:
    """The same picture in the inks of the dark scheme; every other byte stays.

    Examples
    --------
    >>> in_dark(b'<path style="fill: #ffffff; stroke: #1e2b26"/>')
    b'<path style="fill: #1b2a24; stroke: #ece9e0"/>'
    """
    inks = {light.lower().encode(): dark.lower().encode() for light, dark in DARK.items()}
    pattern = re.compile(b"|".join(map(re.escape, inks)), re.IGNORECASE)
    return pattern.sub(lambda found: inks[found.group().lower()], picture)
