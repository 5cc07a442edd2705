"""How far a plan has come, and what may be done with it at each stage.

A tuple names the stages that may follow; a sentence says why nothing is done, its names in braces filled in
by who asks.
"""

from __future__ import annotations

__all__ = ["EVENTS", "STAGES", "refusal"]

DRAFT, SIGNED, CUT, FITTED = "draft", "signed", "cut", "fitted"
CHECKED, TOUCHES, UNREADABLE, REPLACED = "checked", "touches", "unreadable", "replaced"

STAGES: dict[str, str] = {
    DRAFT: "Draft",
    SIGNED: "Signed",
    CUT: "Cut",
    FITTED: "Fitted",
    CHECKED: "Checked, no contact",
    TOUCHES: "Checked, contact",
    UNREADABLE: "Checked, not readable",
    REPLACED: "Replaced",
}
_IN_FORCE = (SIGNED, CUT, FITTED, CHECKED, TOUCHES, UNREADABLE)
_DRAFT = "Plan {code} is not signed: do not cut from it."
_REPLACED = "Plan {code} v{number} was replaced; use the plan that replaced it."
_TWICE = "Plan {code} v{number} was signed already by {signed_by}; nothing was changed."
_NOT_CUT = "Plan {code} is not cut yet, so it cannot be fitted."
_NOT_FITTED = "Plan {code} is not fitted yet; the contact check comes after that."
_ORDER = "; the order is imprint, cut, contact check, then seal"

#: Event -> its words, and each stage's answer.
EVENTS: dict[str, tuple[str, dict[str, tuple[str, ...] | str]]] = {
    "sign": (
        "A podiatrist signs it",
        {DRAFT: (SIGNED,), **dict.fromkeys((*_IN_FORCE, REPLACED), _TWICE)},
    ),
    "cut": (
        "The insole is cut from it",
        {
            DRAFT: _DRAFT,
            SIGNED: (CUT, SIGNED),
            CUT: (CUT, SIGNED),
            FITTED: (CUT, SIGNED),
            CHECKED: (CUT, SIGNED),
            TOUCHES: (CUT, SIGNED),
            UNREADABLE: (CUT, SIGNED),
            REPLACED: _REPLACED,
        },
    ),
    "fit": (
        "The cut insole is put into the device",
        {
            DRAFT: _DRAFT,
            SIGNED: _NOT_CUT,
            CUT: (FITTED,),
            FITTED: (FITTED,),
            CHECKED: (FITTED,),
            TOUCHES: (FITTED,),
            UNREADABLE: (FITTED,),
            REPLACED: _REPLACED,
        },
    ),
    "check": (
        "The imprint on the cut insole is looked at for contact",
        {
            DRAFT: _DRAFT,
            SIGNED: _NOT_FITTED,
            CUT: _NOT_FITTED,
            FITTED: (CHECKED, TOUCHES, UNREADABLE),
            CHECKED: (CHECKED, TOUCHES, UNREADABLE),
            TOUCHES: (CHECKED, TOUCHES),  # one that cannot be read lifts no contact
            UNREADABLE: (CHECKED, TOUCHES, UNREADABLE),
            REPLACED: _REPLACED,
        },
    ),
    "measure": (
        "Peaks are measured in the shoe",
        {
            DRAFT: "Plan {code} is not signed, so nothing was cut from it to be measured.",
            **{stage: (stage,) for stage in (*_IN_FORCE, REPLACED)},
        },
    ),
    "seal": (
        "A device is sealed over it",
        {
            DRAFT: f"relief plan {{code}} is not signed{_ORDER}",
            SIGNED: f"relief plan {{code}} is not cut{_ORDER}",
            CUT: f"relief plan {{code}} is cut, but not fitted and not checked for contact{_ORDER}",
            FITTED: f"relief plan {{code}} has no contact check since it was fitted{_ORDER}",
            CHECKED: (CHECKED,),
            TOUCHES: f"relief plan {{code}} failed its contact check: the ulcer touches the base of the "
            f"opening{_ORDER}",
            UNREADABLE: f"the contact check of relief plan {{code}} could not be read: repeat it, the dummy "
            f"first{_ORDER}",
            REPLACED: "plan {code} was replaced; cut and check the plan that replaced it first",
        },
    ),
    "undo": (
        "Its newest step was entered in error",
        {
            DRAFT: "Plan {code} is a draft; its steps stay as they are.",
            SIGNED: _IN_FORCE,
            CUT: _IN_FORCE,
            FITTED: _IN_FORCE,
            CHECKED: (FITTED, CHECKED, TOUCHES, UNREADABLE),
            TOUCHES: (FITTED, CHECKED, TOUCHES, UNREADABLE),
            UNREADABLE: (FITTED, CHECKED, UNREADABLE),
            REPLACED: "Plan {code} was replaced; its steps stay as they are.",
        },
    ),
    "replace": (
        "A later version is signed",
        {
            DRAFT: "Plan {code} is a draft; only a signed plan is replaced.",
            **{stage: (REPLACED,) for stage in _IN_FORCE},
            REPLACED: "Plan {code} v{number}, which this draft would replace, was replaced already: start a "
            "new version.",
        },
    ),
}


def refusal(stage: str, event: str, **names: object) -> str:
    """Why an event may not happen to a plan at a stage.

    Parameters
    ----------
    stage, event : str
        Names of the table.
    **names : object
        What stands in braces in the sentence: code, number, signed_by.

    Returns
    -------
    str
        The sentence; empty where it may happen.

    Examples
    --------
    >>> refusal("draft", "cut", code="ABC")
    'Plan ABC is not signed: do not cut from it.'
    >>> refusal("signed", "cut", code="ABC")
    ''
    """
    answer = EVENTS[event][1][stage]
    return answer.format(**names) if isinstance(answer, str) else ""
