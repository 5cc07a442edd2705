"""Which tests can be asked for, in which unit does each come, and between which bounds is a value believed?

The bounds keep typing errors and wrong units out; they are not normal ranges, which are the laboratory's.
"""

from __future__ import annotations

from dataclasses import dataclass

from clinic.guidelines.errors import GuidelineError

__all__ = ["RESULT_KINDS", "ResultKind", "value_fault"]


@dataclass(frozen=True)
class ResultKind:
    """One kind of test.

    Parameters
    ----------
    id : str
        Stable key kept in the record.
    label : str
        What the screens say.
    unit : str
        Unit of its value; empty where the report is words.
    low, high : float or None
        Between which a value is believed; None where the report is words. [unit]
    source : str
        Where the bounds come from.
    """

    id: str
    label: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    source: str = "a report in words, no bounds"

    @property
    def numeric(self) -> bool:
        """Whether the result is a number."""
        return self.low is not None


_BOUNDS = "bounds against typing errors: design choice"

RESULT_KINDS: dict[str, ResultKind] = {
    kind.id: kind
    for kind in (
        ResultKind("xray", "X-ray"),
        ResultKind("crp", "CRP", "mg/L", 0, 600, _BOUNDS),
        ResultKind("esr", "ESR", "mm/h", 0, 200, _BOUNDS),
        ResultKind("mri", "MRI"),
        ResultKind("culture", "Culture"),
        ResultKind("biopsy", "Bone biopsy"),
        # A percentage (3 to 20) lies below the bounds, so a value in the other unit is refused.
        ResultKind("hba1c", "HbA1c", "mmol/mol", 21, 220, _BOUNDS),
        # A value in g/dL (1 to 6) lies below the bounds.
        ResultKind("albumin", "Albumin", "g/L", 8, 70, _BOUNDS),
        ResultKind("kidney", "Kidney function (eGFR)", "mL/min/1.73 m²", 1, 200, _BOUNDS),
        ResultKind("duplex", "Arterial duplex"),
        ResultKind("other", "Other test"),
    )
}


def value_fault(kind: str, value: float | None, words: str) -> str:
    """What is wrong with a reported value, or nothing.

    Parameters
    ----------
    kind : str
        Key of ``RESULT_KINDS``.
    value : float or None
        In the unit of its kind.
    words : str
        The report in words.

    Returns
    -------
    str
        One sentence that names the test, the value and the limit; empty where it can be believed.

    Raises
    ------
    GuidelineError
        If the kind is not in the list.

    Examples
    --------
    >>> value_fault("crp", 48, "")
    ''
    >>> value_fault("hba1c", 8.5, "")
    'HbA1c was given as 8.5 mmol/mol; it must be between 21 and 220 mmol/mol.'
    >>> value_fault("xray", None, "")
    'X-ray: the report in words is needed.'
    """
    row = RESULT_KINDS.get(kind)
    if row is None:
        raise GuidelineError(f"kind: {kind!r} is not one of {', '.join(RESULT_KINDS)}")
    if row.low is None or row.high is None:
        if value is not None:
            return f"{row.label} was given a value of {value:g}; its report is words."
        return "" if words.strip() else f"{row.label}: the report in words is needed."
    if value is None:
        return "" if words.strip() else f"{row.label}: its value in {row.unit}, or words, are needed."
    if not row.low <= value <= row.high:
        return (
            f"{row.label} was given as {value:g} {row.unit}; it must be between {row.low:g} and "
            f"{row.high:g} {row.unit}."
        )
    return ""
