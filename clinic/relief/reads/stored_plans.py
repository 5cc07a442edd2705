"""Relief plans that are not as their digest says."""

from __future__ import annotations

from collections.abc import Iterator

from offload.models import ReliefPlan
from offload.plans.keeping import is_intact

__all__ = ["altered_plans"]


def altered_plans() -> Iterator[int]:
    """Numbers of plans whose specification or result was changed past the program."""
    for row in ReliefPlan.objects.order_by("pk").iterator(chunk_size=100):
        if not is_intact(row):
            yield row.pk
