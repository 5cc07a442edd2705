"""The words of verdicts and grades, each with what it means: pages, prints and lists take them from here."""

from __future__ import annotations

from dataclasses import dataclass

from clinic.healing.verdict import VerdictWord

__all__ = ["CHOICES", "GRADES", "VERDICTS", "Term", "choice_words", "meaning_of"]


@dataclass(frozen=True)
class Term:
    """A word of the screens and what it means, in one sentence."""

    words: str
    means: str


#: Mark of a verdict -> its word. The limits stand in `clinic/healing/verdict.py`, with their sources.
VERDICTS: dict[str, Term] = {
    "worsening": Term(
        VerdictWord.WORSENING.label,
        "The area has grown by more than measuring error, or the infection grade or the depth has gone up.",
    ),
    "stalled": Term(
        VerdictWord.STALLED.label,
        "The areas together no longer get smaller: no change beyond measuring error, as a rule over 3 weeks.",
    ),
    "slow": Term(
        VerdictWord.SLOW.label,
        "Getting smaller, but by less than 50 % in 28 days, or closure within 8 weeks is less likely "
        "than not.",
    ),
    "too_early": Term(
        VerdictWord.TOO_EARLY.label,
        "Fewer than 3 areas or 14 days so far, or a change that measuring error still hides.",
    ),
    "on_course": Term(
        VerdictWord.ON_COURSE.label, "Getting smaller, and none of the limits of a slower verdict is reached."
    ),
    "to_confirm": Term(
        VerdictWord.CLOSED.label, "Covered and dry at the last visit; healed once a later visit confirms it."
    ),
    "healed": Term(
        VerdictWord.HEALED.label, "Full cover without drainage, confirmed at a second visit two weeks later."
    ),
}

#: Name of a grade -> its word. Wordings are ours; the sources stand in `clinic/guidelines/grading.py`.
GRADES: dict[str, Term] = {
    "infection": Term(
        "Infection (IWGDF/IDSA 2023)",
        "1 none, 2 mild, 3 moderate, 4 severe with systemic signs; O beside it: bone is infected.",
    ),
    "sinbad": Term(
        "SINBAD",
        "Site, ischaemia, neuropathy, bacterial infection, area and depth, one point each: 0 to 6, severe "
        "from 3.",
    ),
    "wifi": Term(
        "WIfI clinical stage",
        "Wound, ischaemia and foot infection, each 0 to 3, as one stage of the risk of amputation: 1 very "
        "low to 4 high.",
    ),
    "texas": Term(
        "University of Texas",
        "Depth 0 to 3; A neither infected nor ischaemic, B infected, C ischaemic, D both.",
    ),
    "risk": Term(
        "Risk category (IWGDF)", "Of a next ulcer, 0 very low to 3 high: how often both feet are examined."
    ),
}

#: Rank of a class in the guidance -> its word.
CHOICES = ("first", "second", "third", "fourth", "fifth")


def choice_words(tier: int) -> str:
    """`1` as "first choice"."""
    return f"{CHOICES[tier - 1] if 0 < tier <= len(CHOICES) else tier} choice"


def meaning_of(name: str) -> str:
    """What the word of a verdict's mark or a grade means; empty for any other name."""
    term = VERDICTS.get(name) or GRADES.get(name)
    return term.means if term else ""
