"""Problems told and not settled."""

from __future__ import annotations

from clinic.models import Problem, Site

__all__ = ["open_problems"]

SHOWN = 50


def open_problems(site: Site) -> list[Problem]:
    return list(Problem.objects.filter(site=site, settled_at=None).select_related("told_by")[:SHOWN])
