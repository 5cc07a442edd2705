"""The one error family of the healing package."""

__all__ = ["HealingError", "SeriesError", "SurvivalError", "TableError"]


class HealingError(ValueError):
    """Something about an area series, a duration or a table of them is not acceptable."""


class SeriesError(HealingError):
    """One area, or a series of areas, breaks a rule; the sentence names field, value and limit."""


class SurvivalError(HealingError):
    """Durations, event marks or groups of a survival estimate break a rule."""


class TableError(HealingError):
    """A table of values has faults, one sentence each.

    Parameters
    ----------
    faults : sequence of str
        One sentence per fault, in the order of the rows.
    """

    def __init__(self, faults: "list[str] | tuple[str, ...]") -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(self.faults))
