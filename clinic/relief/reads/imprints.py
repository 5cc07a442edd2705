"""What was traced on the photo of an insole: its edge, and the print on it."""

from __future__ import annotations

from dataclasses import dataclass

from clinic.models import PhotoScale, Trace

__all__ = ["Overlay", "edge_and_print"]

#: A trace larger than any wound is the edge of the insole. [mm²]
INSOLE_FROM_MM2 = 6000.0


@dataclass(frozen=True)
class Overlay:
    """The insole of the record over the photo, before an imprint is kept: its edge and the ulcer's place as
    SVG paths, the misfit in words, and what names this very placement.
    """

    insole_path: str
    words: str
    token: str


def edge_and_print(scale: PhotoScale) -> tuple[Trace | None, Trace | None]:
    """The newest traced edge and the newest traced print of one scaled photo (one query)."""
    traces = list(scale.traces.order_by("-created_at", "-pk"))
    edge = next((one for one in traces if one.area_mm2 >= INSOLE_FROM_MM2), None)
    return edge, next((one for one in traces if one.area_mm2 < INSOLE_FROM_MM2), None)
