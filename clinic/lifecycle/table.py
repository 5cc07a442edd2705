"""The charts as the tables of README.md: `python -m clinic.lifecycle.table > clinic/lifecycle/README.md`."""

from __future__ import annotations

from collections import Counter

from .chart import Allows, Answer, Chart
from .charts import CHARTS

__all__ = ["page"]

HEAD = """# The life of a case

What may happen to each noun in each of its states. Written by `python -m clinic.lifecycle.table` from the
charts beside this page, which the writes ask and the pages offer by; not edited by hand. A cell names the
state that follows, what is *settled* and what *opens*, or refuses with the words a nurse reads.
"""


def _cell(answer: Answer, states: dict[str, str]) -> str:
    if not isinstance(answer, Allows):
        return f"no: “{answer.words}”"
    words = " or ".join(states[state].lower() for state in answer.to) or "gone"
    parts = [f"→ **{words}**"]
    if answer.settles:
        parts.append(f"settles {answer.settles}")
    if answer.opens:
        parts.append(f"opens {answer.opens}")
    return "; ".join(parts)


def _table(chart: Chart) -> str:
    states = dict(chart.states)
    lines = [f"## {chart.noun.capitalize()}", ""]
    for name, event in chart.events.items():
        lines += [f"**{event.words}** (`{name}`)", "", "| is | then |", "| --- | --- |"]
        same: dict[str, list[str]] = {}
        for state, words in states.items():
            same.setdefault(_cell(chart.answer(state, name), states), []).append(words.lower())
        lines += [f"| {', '.join(found)} | {cell} |" for cell, found in same.items()]
        lines.append("")
    return "\n".join(lines)


def _counts() -> str:
    lines = ["| noun | states | events | cells | refused |", "| --- | --- | --- | --- | --- |"]
    whole: Counter[str] = Counter()
    for chart in CHARTS.values():
        refused = sum(not isinstance(answer, Allows) for answer in chart.cells.values())
        row = {
            "states": len(chart.states),
            "events": len(chart.events),
            "cells": len(chart.cells),
            "refused": refused,
        }
        whole.update(row)
        lines.append(f"| {chart.noun} | {' | '.join(map(str, row.values()))} |")
    share = 100 * whole["refused"] / whole["cells"]
    lines.append(
        f"| all | {whole['states']} | {whole['events']} | {whole['cells']} | {whole['refused']} "
        f"({share:.0f} %) |"
    )
    return "\n".join(lines)


def page() -> str:
    """The whole page.

    Returns
    -------
    str
        Markdown.
    """
    return "\n".join([HEAD, _counts(), "", *map(_table, CHARTS.values())]).rstrip() + "\n"


if __name__ == "__main__":
    print(page(), end="")
