"""What the clinician asked of a cut, and whether a measurement meets it."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["FOOTWEAR_FIGURES", "NO_TARGET", "TARGETS", "Target"]

NO_TARGET = "none"
TARGETS: dict[str, str] = {
    "peak": "Peak with the cut at most (kPa)",
    "less": "Less than without the cut by at least (%)",
    NO_TARGET: "No target set",
}
#: Said where the target is asked.
FOOTWEAR_FIGURES = (
    "No target is published for an open ulcer: it is the clinician's. 200 kPa and 30 % less are figures for "
    "footwear of healed feet."
)


@dataclass(frozen=True, slots=True)
class Target:
    """What the clinician asked of a cut.

    Parameters
    ----------
    kind : str
        ``peak``, ``less`` or ``none``.
    value : float or None
        Peak [kPa] or fall [%]; None without a target.

    Examples
    --------
    >>> Target("less", 30.0).met(300.0, 200.0), Target("peak", 200.0).met(300.0, 210.0)
    (True, False)
    >>> Target("none", None).met(300.0, 210.0) is None
    True
    """

    kind: str
    value: float | None

    def met(self, without: float, with_cut: float) -> bool | None:
        """Whether measured peaks [kPa] meet it; None without a target."""
        if self.kind == "peak" and self.value is not None:
            return with_cut <= self.value
        if self.kind == "less" and self.value is not None:
            return without - with_cut >= without * self.value / 100.0
        return None

    @property
    def words(self) -> str:
        """The target in words."""
        if self.kind == "peak" and self.value is not None:
            return f"at most {self.value:g} kPa"
        if self.kind == "less" and self.value is not None:
            return f"at least {self.value:g} % less"
        return "no target set"
