"""The one error family of the chart package."""

__all__ = ["ChartError"]


class ChartError(ValueError):
    """What was asked to be drawn cannot be; the sentence names field, value and limit."""
