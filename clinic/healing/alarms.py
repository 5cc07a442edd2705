"""The trade-off behind the words "stalled" and "worsening": how often they are wrong, and how soon right."""

from dataclasses import dataclass

from clinic.healing.halting import LIMIT

__all__ = ["COURSES", "TRADE_OFF", "AlarmPoint"]

COURSES = 400
"""Invented courses of each kind that the figures rest on."""


@dataclass(frozen=True, slots=True)
class AlarmPoint:
    """What a limit of the evidence would do.

    Parameters
    ----------
    limit : float
        Evidence from which a wound is told to have stopped. [-]
    ever : float
        Steadily healing wounds told so at least once by week 20. [%]
    visits : float
        Their visits at which it is told. [%]
    plateau_weeks : float
        Median weeks from a real stop to being told. [weeks]
    plateaus : float
        Real stops told within ten weeks. [%]
    growing : float
        Growing wounds told. [%]
    """

    limit: float
    ever: float
    visits: float
    plateau_weeks: float
    plateaus: float
    growing: float

    @property
    def is_chosen(self) -> bool:
        """Whether the program stands here."""
        return self.limit == LIMIT


TRADE_OFF = (
    AlarmPoint(1.0, 19.2, 3.5, 2.3, 100.0, 100.0),
    AlarmPoint(2.0, 12.2, 2.1, 2.4, 100.0, 100.0),
    AlarmPoint(3.0, 8.2, 1.3, 2.9, 100.0, 100.0),
    AlarmPoint(4.0, 5.8, 0.9, 3.0, 100.0, 100.0),
    AlarmPoint(6.0, 3.2, 0.5, 3.6, 98.0, 100.0),
    AlarmPoint(9.0, 2.5, 0.3, 4.4, 97.0, 100.0),
)
"""Printed by ``python -m tests.clinic.healing.validation.alarms 400`` on 30 November 2026; a smaller run is
held beside it in the tests."""
