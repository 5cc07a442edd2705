"""Photos of the invented clinic: drawn placeholders, and drawn scenes with a card that are scaled and
traced.
"""

from __future__ import annotations

import math
import uuid
from collections.abc import Sequence
from datetime import date
from random import Random
from typing import TYPE_CHECKING

import numpy as np

from clinic.capture.writes import photos, scales, traces
from clinic.models import PhotoScale, Trace, User, Visit

from . import course
from .pictures import Outline, placeholder, scene

if TYPE_CHECKING:
    from .story import Story

__all__ = ["after_visit", "photograph_and_trace"]

#: A hand leaves the margin by about this much, smoothly. [mm] Design choice of the scenario.
WANDER_MM = 0.3


def after_visit(story: Story, visit: Visit, week: int, open_now: list[int]) -> None:
    """A placeholder of each lesion; one traced for this visit is traced twice more, by two people."""
    for n in open_now:
        trace = story.traced.pop(n, None)
        if trace is not None:
            for by in (story.staff, story.podiatrist):
                _trace(by, trace.scale, trace.outline_mm[0][0], story.seed)
            continue
        area = story.area(n, week)
        photos.photo_store(
            by=story.staff,
            lesion=story.lesions[n],
            visit=visit,
            taken_on=visit.visited_on,
            drawn=True,
            upload=placeholder(
                course.outline(area, Random(story.shape_seeds[n])) if area else (),  # noqa: S311
                f"{area:.2f} cm²",
                Random(week),  # noqa: S311
            ),
        )


def photograph_and_trace(story: Story, n: int, day: date, outline: Outline) -> Trace:
    """The whole way a nurse goes: photo with a card, its corners as found, the margin followed by hand."""
    upload, on_picture = scene(outline, story.seed)
    photo = photos.photo_store(
        by=story.staff, lesion=story.lesions[n], taken_on=day, upload=upload, drawn=True, note="with a card"
    )
    corners = scales.scale_guess(photo, "card")
    if corners is None:
        raise ValueError(f"the drawn card of {day} was not found")
    scale = scales.scale_store(by=story.staff, photo=photo, reference="card", marks=corners)
    flat = np.column_stack([np.array(on_picture), np.ones(len(on_picture))]) @ np.array(scale.matrix).T
    ring = [(float(x), float(y)) for x, y in flat[:, :2] / flat[:, 2:]]
    story.traced[n] = _trace(story.staff, scale, ring, story.seed)
    return story.traced[n]


def _trace(by: User, scale: PhotoScale, ring: Sequence[Sequence[float]], seed: Random) -> Trace:
    key = uuid.UUID(int=seed.getrandbits(128))
    return traces.trace_store(by=by, scale=scale, outline=[[_by_hand(ring, seed)]], submission_key=key)


def _by_hand(ring: Sequence[Sequence[float]], seed: Random) -> list[list[float]]:
    """A closed outline off the true one by a few slow waves, and a little too wide or too narrow."""
    waves = [(k, seed.gauss(0, WANDER_MM / 2), seed.uniform(0, 2 * math.pi)) for k in (0, 1, 2, 3, 5)]
    x0, y0 = (sum(p[k] for p in ring) / len(ring) for k in (0, 1))
    off = []
    for i, (x, y) in enumerate(ring):
        turn = 2 * math.pi * i / len(ring)
        by = sum(size * math.cos(k * turn + phase) for k, size, phase in waves)
        away = math.hypot(x - x0, y - y0) or 1.0
        off.append([x + by * (x - x0) / away, y + by * (y - y0) / away])
    return off
