"""Two outlines of one insole over one another: as it is drawn from the foot's length, and as it is used."""

from __future__ import annotations

from django.utils.safestring import SafeString

from offload.core.shapes.insole import Insole
from offload.pictures.paper import Paper, opening_tag

__all__ = ["insole_picture"]

STEP = 50  # [mm] between the marks from the heel


def insole_picture(drawn: Insole, used: Insole, side: str) -> SafeString:
    """The insole in use, full line, over the drawn one, dashed, with marks every 50 mm from the heel."""
    bounds = [one.outline.bounds for one in (drawn, used)]
    low = min(b[0] for b in bounds) - 14.0, min(b[1] for b in bounds)
    high = max(b[2] for b in bounds) + 14.0, max(b[3] for b in bounds)
    paper = Paper(low, high, side)
    length, was = used.outline.bounds[3] - used.outline.bounds[1], drawn.outline.bounds[3]
    title = f"The {side} insole, {length:.0f} mm long"
    if used.traced:
        title += f", over the one drawn from the foot's length, {was:.0f} mm"
    out = [opening_tag(*paper.size, title)]
    axis = paper.ring([(0.0, low[1]), (0.0, high[1])])
    out.append(f'<path d="{axis}" stroke="currentColor" stroke-width=".3" stroke-dasharray="6 2 1 2"/>')
    if used.traced:
        out.append(
            f'<path d="{paper.outline(drawn.outline)}" stroke="currentColor" stroke-width=".5" '
            'stroke-dasharray="2 2"/>'
        )
    out.append(f'<path d="{paper.outline(used.outline)}" stroke="currentColor" stroke-width=".9"/>')
    for y in range(0, int(high[1]) + 1, STEP):
        x, at = paper.place((high[0], float(y)))
        inward = 8 if paper.mirrored else -8
        out.append(f'<path d="M{x:.2f},{at:.2f}h{inward / 2:g}" stroke="currentColor" stroke-width=".4"/>')
        anchor = "start" if paper.mirrored else "end"
        out.append(
            f'<text x="{x + inward * 0.6:.2f}" y="{at - 1:.2f}" font-size="5" text-anchor="{anchor}" '
            f'fill="currentColor">{y}</text>'
        )
    out.append("</svg>")
    return SafeString("".join(out))
