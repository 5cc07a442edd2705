"""How far to go along a step of Newton's method."""

from __future__ import annotations

__all__ = ["LineSearch"]

MOST_TRIES = 40


class LineSearch:
    """Where the slope of a convex potential along a step has lost half of itself or more.

    A layer near its locking strain, or a void that closes, makes a whole step far too long, so the place is
    bracketed and then interpolated (regula falsi with halving, the Illinois rule: Dowell M, Jarratt P, BIT
    1971;11:168).

    Parameters
    ----------
    slope
        Slope at the beginning of the step; below nought when the step goes down.
    """

    def __init__(self, slope: float) -> None:
        self.size = 1.0
        self.goes_on = True
        self._enough = 0.5 * abs(slope)
        self._low, self._low_slope = 0.0, slope
        self._high, self._high_slope = 1.0, 0.0
        self._left = MOST_TRIES

    def told(self, slope: float) -> None:
        """Take the slope at the present size; set the next size or stop."""
        self._left -= 1
        if abs(slope) <= self._enough or (slope < 0 and self.size >= 1.0) or self._left == 0:
            self.goes_on = False
            return
        if slope > 0:
            if self._high_slope > 0:
                self._low_slope /= 2.0
            self._high, self._high_slope = self.size, slope
        else:
            self._low, self._low_slope = self.size, slope
            self._high_slope /= 2.0
        share = self._low_slope / (self._low_slope - self._high_slope)
        self.size = self._low + (self._high - self._low) * min(max(share, 0.1), 0.9)
