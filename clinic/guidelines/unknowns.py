"""What can still be said when some findings are missing, and which of them would settle it?"""

import itertools
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

__all__ = ["outcomes"]

Outcome = TypeVar("Outcome")


def outcomes(
    rule: Callable[..., Outcome], findings: Mapping[str, Any], possible: Mapping[str, Sequence[Any]]
) -> tuple[frozenset[Outcome], tuple[str, ...]]:
    """Every outcome the missing findings still leave open, and the missing findings that could narrow it.

    Parameters
    ----------
    rule : callable
        Takes every finding by keyword, none of them missing.
    findings : mapping of str to value or None
        ``None`` is a missing finding.
    possible : mapping of str to sequence
        The values a finding can take, one of each kind the rule tells apart.

    Returns
    -------
    frozenset
        The outcomes left; one element if the findings at hand settle it.
    tuple of str
        Missing findings that matter, empty if settled.

    Examples
    --------
    >>> left, missing = outcomes(lambda a, b: a and b, {"a": True, "b": None}, {"a": (0, 1), "b": (0, 1)})
    >>> sorted(left), missing
    ([0, 1], ('b',))
    """
    unknown = [name for name, value in findings.items() if value is None]
    reached: dict[tuple[Any, ...], Outcome] = {}
    for values in itertools.product(*(possible[name] for name in unknown)):
        reached[values] = rule(**{**findings, **dict(zip(unknown, values, strict=True))})
    left = frozenset(reached.values())
    if len(left) == 1:
        return left, ()
    matter = []
    for place, name in enumerate(unknown):
        by_rest: dict[tuple[Any, ...], set[Outcome]] = {}
        for values, outcome in reached.items():
            by_rest.setdefault(values[:place] + values[place + 1 :], set()).add(outcome)
        if any(len(found) > 1 for found in by_rest.values()):
            matter.append(name)
    return left, tuple(matter)
