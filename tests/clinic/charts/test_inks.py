"""Charts are drawn in the tokens of the pages, in both schemes."""

import re
from pathlib import Path

from clinic.charts.inks import DARK, EDGE, INK, PINE, RULE, SOFT, SURFACE, in_dark
from clinic.charts.style import as_svg, bare, sheet

CSS = (Path(__file__).resolve().parents[3] / "static" / "css" / "site.css").read_text()
TOKENS = {"surface": SURFACE, "ink": INK, "soft": SOFT, "pine": PINE, "edge": EDGE, "rule": RULE}


def token(block, name):
    found = re.search(rf"--{name}: #([0-9a-f]+)", block).group(1)
    return f"#{found if len(found) == 6 else ''.join(2 * one for one in found)}"


def test_the_inks_are_the_tokens_of_the_style_sheet():
    light, dark = CSS.split("prefers-color-scheme: dark", 1)
    for name, ink in TOKENS.items():
        assert token(light, name) == ink.lower(), name
        assert token(dark, name) == DARK[ink].lower(), name


def test_a_chart_in_the_dark_holds_no_ink_of_the_light():
    with sheet() as figure:
        bare(figure.add_subplot())
        light = as_svg(figure, "An empty chart")
    dark = in_dark(light)
    assert len(dark) == len(light)
    inks = {ink.lower().encode() for ink in TOKENS.values()}
    assert inks & set(re.findall(rb"#[0-9a-f]{6}", light))
    assert not inks & set(re.findall(rb"#[0-9a-f]{6}", dark))
