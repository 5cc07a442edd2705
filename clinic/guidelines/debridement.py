"""When is sharp debridement withheld?"""

from __future__ import annotations

__all__ = ["sharp_withheld"]

SOURCE = "IWGDF/ESVS/SVS intersocietal guideline 2023 (read in pages that quote it)"


def sharp_withheld(ischaemia_grade: int | None, infection_grade: int | None) -> str:
    """Why an ulcer is not debrided sharply, or nothing.

    Parameters
    ----------
    ischaemia_grade : int or None
        WIfI ischaemia grade. [-]
    infection_grade : int or None
        IWGDF/IDSA grade; what is not known is not infected here, the cautious side. [-]

    Returns
    -------
    str
        One sentence; empty where the blade is not withheld by this rule.

    Examples
    --------
    >>> sharp_withheld(3, 1)
    'Ischaemia grade 3 and no infection: no sharp debridement.'
    >>> sharp_withheld(3, 3), sharp_withheld(2, 1)
    ('', '')
    """
    if ischaemia_grade != 3 or (infection_grade is not None and infection_grade >= 2):
        return ""
    known = "no infection" if infection_grade == 1 else "infection not known"
    return f"Ischaemia grade 3 and {known}: no sharp debridement."
