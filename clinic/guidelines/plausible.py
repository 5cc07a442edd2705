"""Which typed numbers are so unlike the last ones that the page asks once before it saves them.

Never a wall: wounds do double and people do lose a tenth of their weight. The limits a clinic sets are house
rules (common practice, no source); those written here are design choices.
"""

from __future__ import annotations

__all__ = ["SMALL_AREA_MM2", "area_jumps", "slip_of_ten", "weight_change"]

#: Under this the error of a measured area is a large share of it. Design choice. [mm²]
SMALL_AREA_MM2 = 50.0
#: Ten times, with room for what may have changed since; a lost point of two decimals is a hundred times.
#: Design choice.
SLIPS = ((7.0, 14.0), (70.0, 140.0))


def slip_of_ten(last: float, now: float) -> bool:
    """Whether a number is about ten or a hundred times the last one, or that part of it.

    Parameters
    ----------
    last, now : float
        In one unit.

    Returns
    -------
    bool
        Never for 0, which is a finding and no slip.

    Examples
    --------
    >>> slip_of_ten(8.2, 85), slip_of_ten(8.2, 0.85), slip_of_ten(8.2, 9.1), slip_of_ten(8.2, 0)
    (True, True, False, False)
    """
    if min(last, now) <= 0:
        return False
    ratio = max(last, now) / min(last, now)
    return any(low <= ratio <= high for low, high in SLIPS)


def area_jumps(last_mm2: float, now_mm2: float, *, ratio: float, small_ratio: float) -> bool:
    """Whether an area is at least `ratio` times another, or that part of it.

    Parameters
    ----------
    last_mm2, now_mm2 : float
        Areas found by one method in one state. [mm²]
    ratio, small_ratio : float
        House rules: the limit, and the limit where the smaller area is under 0.5 cm².

    Returns
    -------
    bool
        Never for 0: a covered wound is told by a tick of its own.

    Examples
    --------
    >>> area_jumps(200, 500, ratio=2.5, small_ratio=5), area_jumps(200, 400, ratio=2.5, small_ratio=5)
    (True, False)
    >>> area_jumps(100, 40, ratio=2.5, small_ratio=5), area_jumps(41, 4006, ratio=2.5, small_ratio=5)
    (False, True)
    """
    small, large = sorted((last_mm2, now_mm2))
    if small <= 0:
        return False
    return large / small >= (small_ratio if small < SMALL_AREA_MM2 else ratio)


def weight_change(last_kg: float, now_kg: float) -> float:
    """Change of weight as a share of the last one, negative for a loss. [%]

    Examples
    --------
    >>> round(weight_change(84.5, 71.0))
    -16
    """
    return 100.0 * (now_kg - last_kg) / last_kg
