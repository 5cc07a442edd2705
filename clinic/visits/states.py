"""The state of a visit, from the values of its row."""

from __future__ import annotations

from clinic.lifecycle.chart import Allows
from clinic.lifecycle.visit import visit_state_of
from clinic.models import Attendance, Visit, VisitState
from clinic.record.lifecycle import allowed

__all__ = ["visit_allowed", "visit_state"]


def visit_state(visit: Visit) -> str:
    return visit_state_of(
        in_error=visit.state == VisitState.IN_ERROR,
        came=visit.attendance == Attendance.CAME,
        unfinished=visit.unfinished,
    )


def visit_allowed(visit: Visit, event: str) -> Allows:
    return allowed("visit", visit_state(visit), event)
