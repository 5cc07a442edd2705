"""Reading what a tracing page shows, and every outline of a lesion in one picture."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from clinic.models import Lesion, Measurement, Person, PhotoScale, PhotoSubject, Trace, Visit, VisitState

__all__ = [
    "LAST_OUTLINES",
    "OutlineOfDay",
    "last_outline",
    "outline_rings",
    "outlines_of",
    "scale_rows",
    "trace_at_visit",
    "trace_for_visit",
]

LAST_OUTLINES = 30

Ring = list[list[float]]


@dataclass(frozen=True)
class OutlineOfDay:
    """One traced area of a lesion, its rings about their own centre, and how dark it is drawn (1 =
    newest).
    """

    measurement: Measurement
    rings: tuple[Ring, ...]
    darkness: float

    @property
    def opacity(self) -> float:
        """From faint (the oldest) to full ink (the newest)."""
        return round(0.22 + 0.78 * self.darkness, 2)

    @property
    def path(self) -> str:
        """The rings as an SVG path, y down as in the photo."""
        return path_of(self.rings)


def path_of(rings: Sequence[Iterable[Sequence[float]]]) -> str:
    return " ".join("M" + " L".join(f"{x:.2f} {y:.2f}" for x, y in ring) + " Z" for ring in rings)


def outline_rings(stored: Any) -> tuple[Ring, ...]:
    """All rings of a stored outline, outer ones and holes alike."""
    if not stored:
        return ()
    if isinstance(stored[0][0], int | float):
        return (stored,)
    return tuple(ring for part in stored for ring in part)


def centred(rings: tuple[Ring, ...]) -> tuple[Ring, ...]:
    """Rings moved so that the centre of their area, holes taken out, lies at the origin."""
    area = across = down = 0.0
    for ring in rings:
        signed = x_sum = y_sum = 0.0
        for (x1, y1), (x2, y2) in zip(ring, [*ring[1:], ring[0]], strict=True):
            cross = x1 * y2 - x2 * y1
            signed += cross / 2
            x_sum += (x1 + x2) * cross / 6
            y_sum += (y1 + y2) * cross / 6
        hole = any(other is not ring and _inside(ring[0], other) for other in rings)
        sign = (-1.0 if hole else 1.0) * (1.0 if signed >= 0 else -1.0)
        area, across, down = area + sign * signed, across + sign * x_sum, down + sign * y_sum
    if area == 0:
        return rings
    return tuple([[x - across / area, y - down / area] for x, y in ring] for ring in rings)


def _inside(point: list[float], ring: Ring) -> bool:
    x, y = point
    odd = False
    for (x1, y1), (x2, y2) in zip(ring, [*ring[1:], ring[0]], strict=True):
        if (y1 > y) != (y2 > y) and x < (x2 - x1) * (y - y1) / (y2 - y1) + x1:
            odd = not odd
    return odd


def outlines_of(lesion: Lesion) -> list[OutlineOfDay]:
    """Every traced area of a lesion, the oldest first (one query)."""
    rows = list(
        Measurement.objects.filter(lesion=lesion, visit__state=VisitState.STANDS, outline_mm__isnull=False)
        .select_related("visit")
        .order_by("-visit__visited_on", "-pk")[:LAST_OUTLINES]
    )[::-1]
    last = max(len(rows) - 1, 1)
    return [
        OutlineOfDay(row, centred(outline_rings(row.outline_mm)), number / last if len(rows) > 1 else 1.0)
        for number, row in enumerate(rows)
    ]


def last_outline(lesion: Lesion, before: Any) -> OutlineOfDay | None:
    """The last traced outline before a day, to lay over the photo for comparison."""
    row = (
        Measurement.objects.filter(
            lesion=lesion,
            visit__state=VisitState.STANDS,
            visit__visited_on__lt=before,
            outline_mm__isnull=False,
        )
        .select_related("visit")
        .order_by("-visit__visited_on", "-pk")
        .first()
    )
    return None if row is None else OutlineOfDay(row, centred(outline_rings(row.outline_mm)), 1.0)


def scale_rows() -> Any:
    """Scales with everything that a page about one names."""
    return PhotoScale.objects.select_related("photo__lesion__limb__person__site")


def trace_at_visit(visit: Visit, number: int) -> Trace | None:
    """A trace on a photo that belongs to a stored visit."""
    return (
        Trace.objects.filter(
            pk=number,
            scale__photo__visit=visit,
            scale__photo__subject=PhotoSubject.WOUND,
            scale__photo__withdrawn_on=None,
        )
        .select_related("scale__photo")
        .first()
    )


def trace_for_visit(person: Person, number: int, day: date) -> Trace | None:
    """A trace on a photo of this person's lesion taken on that day."""
    return (
        Trace.objects.filter(
            pk=number,
            scale__photo__lesion__limb__person=person,
            scale__photo__subject=PhotoSubject.WOUND,
            scale__photo__taken_on=day,
            scale__photo__withdrawn_on=None,
        )
        .select_related("scale__photo")
        .first()
    )
