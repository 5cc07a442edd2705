"""The errors of the guideline package: one family, each with sentences a person can act on."""

__all__ = ["FactsError", "GradingError", "GuidelineError", "TableError"]


class GuidelineError(ValueError):
    """Anything this package refuses."""


class FactsError(GuidelineError):
    """The facts of a case cannot be read; ``faults`` holds one sentence per fault."""

    def __init__(self, faults: tuple[str, ...]) -> None:
        self.faults = faults
        super().__init__("; ".join(faults))


class TableError(GuidelineError):
    """The rule table is not fit for use; ``faults`` holds one sentence per fault."""

    def __init__(self, faults: tuple[str, ...]) -> None:
        self.faults = faults
        super().__init__("; ".join(faults))


class GradingError(GuidelineError):
    """A finding given to a grading function is out of its bounds."""
