"""What a later room wants done after an earlier room's write: one table, asked in the same transaction.

An earlier room never imports a later one; it names here what happened, and the table names who answers.
"""

from __future__ import annotations

from typing import Any

from django.utils.module_loading import import_string

__all__ = ["AFTERWARDS", "afterwards"]

#: What happened -> functions, in their order; each takes the same keywords.
AFTERWARDS: dict[str, tuple[str, ...]] = {
    # A plan was computed for a weight: another one flags it.
    "person_weighed": ("clinic.relief.writes.watch.plans_review",),
    # A weight that counted does so no more, or as another one.
    "weight_changed": ("clinic.relief.writes.plan_flags_back.plan_flags_reconsider",),
    # Its last ulcer healed: taken off, or worn on for a reason.
    "device_not_needed": ("clinic.devices.writes.leaving.device_not_needed",),
    # A finding past an urgent line raises its red flag.
    "limb_examined": ("clinic.alerts.writes.standing.dangers_raise",),
}


def afterwards(event: str, **details: Any) -> None:
    """Do what the table asks for; whatever is raised there takes the write back too."""
    for name in AFTERWARDS[event]:
        import_string(name)(**details)
