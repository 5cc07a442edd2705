"""The one word on a wound's course, with its reasons and where each limit comes from."""

import math
from dataclasses import dataclass
from enum import StrEnum

from clinic.healing.errors import SeriesError
from clinic.healing.fared import OwnCounts, chance_sentence, chance_told
from clinic.healing.halting import Halt, halt_of
from clinic.healing.progress import (
    BRIDGE_SLACK,
    THREE_WEEKS,
    TOO_SMALL,
    Change,
    Progress,
    area_error,
    progress_of,
)
from clinic.healing.reason import Reason, chance_words, cm2, day_words, smaller, span_words
from clinic.healing.series import LONGEST_GAP, Area, Run, recent

__all__ = [
    "STANDING_LIMIT",
    "Findings",
    "Reason",
    "Standing",
    "Verdict",
    "VerdictWord",
    "chance_words",
    "review_reasons",
    "verdict_of",
]

FOUR_WEEK_SOURCE = (
    "Sheehan 2003, Diabetes Care 26:1879 (53 % at 4 weeks); Coerper 2009, J Diabetes Complications 23:49, "
    "and Warriner 2011, Int Wound J 8 (50 %)"
)
ROLLING_SOURCE = "design choice: the published 4-week mark taken again over the last 28 days"
EIGHT_WEEK_SOURCE = "Warriner 2011, Int Wound J 8 (90 % at 8 weeks)"
DESIGN_CHOICE = "design choice of this program, no source"

STANDING_LIMIT = 0.7
"""Chance that the course stands still or grows from which it is told; design choice, tried on the
development set of the alarms. [-]"""

_SLOW_LIMIT = 50.0
_CHANCE_LIMIT = 0.5
_EIGHT_WEEK_LIMIT = 90.0


class VerdictWord(StrEnum):
    """Words of the verdict; exactly one holds."""

    HEALED = "healed"
    CLOSED = "closed, to confirm"
    WORSENING = "worsening"
    TOO_EARLY = "too early"
    STALLED = "stalled"
    SLOW = "slow"
    ON_COURSE = "on course"

    @property
    def label(self) -> str:
        """The word of a screen; the value is the token that commands print."""
        return _LABELS.get(self.value, self.value)


_LABELS = {"on course": "on track", "stalled": "static", "too early": "too early to judge"}


@dataclass(frozen=True, slots=True)
class Findings:
    """What the record knows about a wound besides its areas.

    Parameters
    ----------
    healed_confirmed : bool
        Full cover and no drainage, confirmed at a second visit at least 14 days after the first.
    covered : bool
        Full cover and no drainage at the last visit, not yet confirmed.
    infection_up : bool
        The infection grade of the last visit is above that of the visit before.
    depth_up : bool
        The depth class of the last visit is above that of the visit before.
    """

    healed_confirmed: bool = False
    covered: bool = False
    infection_up: bool = False
    depth_up: bool = False


@dataclass(frozen=True, slots=True)
class Standing:
    """Chances of the forecast that the course stands still, or grows, at the last area. [-]"""

    still: float
    growing: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """A word and the reasons for it."""

    word: VerdictWord
    reasons: tuple[Reason, ...]


def verdict_of(
    run: Run,
    findings: Findings | None = None,
    chance_closed_next_8w: float | None = None,
    standing: Standing | None = None,
    own: OwnCounts | None = None,
) -> Verdict:
    """Verdict on the course of a wound: the first of the list that holds.

    Parameters
    ----------
    run : Run
        Areas of one kind, from ``last_run``.
    findings : Findings or None
        Findings beside the areas; None when only areas are known.
    chance_closed_next_8w : float or None
        Forecast chance of closing within 8 weeks after the last area; None without a forecast. [-]
    standing : Standing or None
        Chances of the forecast that the course stands still or grows; None without a forecast.
    own : OwnCounts or None
        How the clinic's own chances have fared, said beside each one.

    Returns
    -------
    Verdict
        The word, and reasons with their sources.

    Raises
    ------
    SeriesError
        If the chance is not from 0 to 1.

    Notes
    -----
    Order: healed; closed, to confirm; worsening; too early; stalled; slow; on course. Every limit below day
    28 and every error is a design choice; the 50 % limits are the published 4-week rule, taken again over
    the last 28 days from day 56, so that no old figure holds a verdict for ever. Whether a course has
    stopped or grows is asked of all its areas together (``halting.halt_of``, and the forecast's chances),
    since asking each visit alone tells one steadily healing wound in three wrongly at some visit.
    """
    if chance_closed_next_8w is not None and not 0.0 <= chance_closed_next_8w <= 1.0:
        raise SeriesError(f"chance_closed_next_8w: {chance_closed_next_8w:g} is not from 0 to 1")
    known = findings if findings is not None else Findings()
    progress, halt = progress_of(run), halt_of(recent(run))
    reasons: list[Reason] = []
    if known.healed_confirmed:
        reasons = [
            Reason(
                "Full cover without drainage, confirmed at a second visit at least 14 days later.",
                "two visits two weeks apart: regulators' definition, from memory",
            )
        ]
        word = VerdictWord.HEALED
    elif run.last.area == 0 or known.covered:
        found = "The last area is 0" if run.last.area == 0 else "Found covered and dry"
        reasons = [Reason(f"{found}; healed only when confirmed at a visit at least 14 days later.")]
        word = VerdictWord.CLOSED
    elif reasons := _worsening(run, known, halt, standing, progress):
        word = VerdictWord.WORSENING
    elif reasons := _too_early(run):
        word = VerdictWord.TOO_EARLY
    elif reasons := _stalled(run, halt, standing, progress):
        word = VerdictWord.STALLED
    elif reasons := _not_yet(progress):
        word = VerdictWord.TOO_EARLY
    elif reasons := _slow(progress, chance_closed_next_8w, own):
        word = VerdictWord.SLOW
    else:
        word = VerdictWord.ON_COURSE
        reasons = _on_course(progress, chance_closed_next_8w, own)
    if word not in (VerdictWord.HEALED, VerdictWord.CLOSED):
        reasons += _gap(run)
    if 0 < run.last.area < TOO_SMALL:
        reasons.append(Reason(f"{run.last.area_cm2:.2f} cm²: too small to judge by area.", DESIGN_CHOICE))
    if run.note is not None:
        reasons.append(Reason(run.note))
    return Verdict(word, tuple(reasons))


def review_reasons(run: Run) -> tuple[Reason, ...]:
    """Reasons to look at a wound again that do not change its verdict.

    Parameters
    ----------
    run : Run
        Areas of one kind.

    Returns
    -------
    tuple of Reason
        From day 56 on: the reduction from the first area is under 90 %.
    """
    reduction = progress_of(run).reduction_last
    if run.span < 56 or run.last.area == 0 or reduction is None or reduction >= _EIGHT_WEEK_LIMIT:
        return ()
    return (
        Reason(f"{smaller(reduction)} at {span_words(run.span)}, under 90 % at week 8.", EIGHT_WEEK_SOURCE),
    )


def _worsening(
    run: Run, known: Findings, halt: Halt | None, standing: Standing | None, progress: Progress
) -> list[Reason]:
    reasons = []
    areas = run.areas
    if len(areas) >= 2:
        before = areas[-2]
        # From the third area on, the areas together tell a rise sooner than one jump does.
        times = 2.0 if len(areas) == 2 else 3.0
        limit = times * math.sqrt(2.0) * _error(before)
        if areas[-1].area - before.area > limit:
            reasons.append(_up(before, areas[-1], limit, "since the last visit"))
    if halt is not None and halt.is_told and halt.grows:
        reasons.append(
            Reason(f"The areas since {day_words(halt.since)} grow, more than they scatter.", DESIGN_CHOICE)
        )
    elif standing is not None and standing.growing >= STANDING_LIMIT:
        # In words: how often such a figure came true is not counted, and no chance is shown without that.
        reasons.append(Reason("Likely growing, as all its areas together foretell.", DESIGN_CHOICE))
    recent_change = progress.three_weeks
    if (
        len(areas) >= 3
        and areas[-1].area - areas[0].area > math.sqrt(2.0) * _error(areas[0])
        and recent_change is not None
        and -recent_change.difference <= recent_change.error
    ):
        reasons.append(
            Reason(
                f"Above the first area ({cm2(areas[0].area)} to {cm2(areas[-1].area)} cm²) by more than "
                "measuring error and not falling in the last 3 weeks.",
                DESIGN_CHOICE,
            )
        )
    if known.infection_up:
        reasons.append(Reason("The infection grade has gone up."))
    if known.depth_up:
        reasons.append(Reason("The depth class has gone up."))
    return reasons


def _too_early(run: Run) -> list[Reason]:
    now = recent(run)
    gap = ""
    if len(now.areas) < len(run.areas):
        before = run.areas[len(run.areas) - len(now.areas) - 1]
        weeks = (now.first.day - before.day).days // 7
        gap = f" after a gap of {weeks} weeks without an area (since {day_words(before.day)})"
    if len(now.areas) < 3:
        return [Reason(f"{len(now.areas)} of at least 3 areas so far{gap}.", DESIGN_CHOICE)]
    if now.span < 14:
        return [Reason(f"{now.span} of at least 14 days so far{gap}.", DESIGN_CHOICE)]
    return []


def _stalled(run: Run, halt: Halt | None, standing: Standing | None, progress: Progress) -> list[Reason]:
    reasons = []
    if halt is not None and halt.is_told:
        then = next(area for area in run.areas if area.day == halt.since)
        since = "the first area" if then is run.first else day_words(then.day)
        reasons.append(
            Reason(
                f"No longer closing since {since}: {cm2(then.area)} to {cm2(run.last.area)} cm², judged "
                "from all areas and their scatter.",
                DESIGN_CHOICE,
            )
        )
    elif halt is not None and halt.never_began:
        first = recent(run).first
        reasons.append(
            Reason(
                f"Not closing since {day_words(first.day)}: {cm2(first.area)} to {cm2(run.last.area)} "
                "cm², slower than any healing ulcer, judged from all areas and their scatter.",
                DESIGN_CHOICE,
            )
        )
    elif standing is not None and standing.still + standing.growing >= STANDING_LIMIT:
        reasons.append(Reason("Likely not closing, as all its areas together foretell.", DESIGN_CHOICE))
    change = progress.three_weeks
    if reasons and change is not None and -change.difference <= change.error:
        reasons.append(_no_reduction(run, change))
    return reasons


def _not_yet(progress: Progress) -> list[Reason]:
    """Before day 28 nothing published judges a wound that has not visibly shrunk and has not been told to
    have stopped."""
    change = progress.three_weeks
    if progress.days >= 28 or change is None or -change.difference > change.error:
        return []
    return [
        Reason(
            f"Whether it is closing cannot be told yet: {change.words} in {progress.days} days.",
            DESIGN_CHOICE,
        )
    ]


def _gap(run: Run) -> list[Reason]:
    """A gap too wide for a word on the last weeks; a longer one stands among the reasons of "too early"."""
    if len(run.areas) < 2:
        return []
    before = run.areas[-2]
    days = (run.last.day - before.day).days
    if not THREE_WEEKS + BRIDGE_SLACK < days <= LONGEST_GAP:
        return []
    return [
        Reason(
            f"No area in the {days} days from {day_words(before.day)} to {day_words(run.last.day)}: "
            "nothing is said of the weeks between.",
            DESIGN_CHOICE,
        )
    ]


def _no_reduction(run: Run, change: Change) -> Reason:
    period = "the last 3 weeks" if run.span >= 21 else f"the {run.span} days so far"
    then = run.last.area - change.difference
    return Reason(
        f"No reduction beyond measuring error over {period}: {cm2(then)} to {cm2(run.last.area)} cm² "
        f"({change.words}).",
        DESIGN_CHOICE,
    )


def _slow(progress: Progress, chance: float | None, own: OwnCounts | None) -> list[Reason]:
    reasons = []
    if (
        28 <= progress.days < 56
        and progress.reduction_last is not None
        and progress.reduction_last < _SLOW_LIMIT
    ):
        reasons.append(
            Reason(
                f"{smaller(progress.reduction_last)} after {span_words(progress.days)}, under 50 % "
                "(published marks 50–53 %).",
                FOUR_WEEK_SOURCE,
            )
        )
    if progress.days >= 56 and progress.reduction_28d is not None and progress.reduction_28d < _SLOW_LIMIT:
        reasons.append(
            Reason(
                f"28 days: {smaller(progress.reduction_28d)} (mark 50 %).",
                ROLLING_SOURCE,
            )
        )
    if progress.days >= 28 and chance is not None and chance < _CHANCE_LIMIT:
        reasons.append(
            Reason(
                f"Closure within 8 weeks: {chance_told(chance, own)}; limit 50 %.",
                DESIGN_CHOICE,
                chance=True,
            )
        )
    return reasons


def _on_course(progress: Progress, chance: float | None, own: OwnCounts | None) -> list[Reason]:
    reasons = []
    if progress.reduction_last is not None:
        reasons.append(Reason(f"{smaller(progress.reduction_last)} after {span_words(progress.days)}."))
    else:
        reasons.append(Reason("The first area is 0, so no reduction can be told from it."))
    if progress.days >= 56 and progress.reduction_28d is not None:
        reasons.append(
            Reason(
                f"28 days: {smaller(progress.reduction_28d)} (mark 50 %, reached).",
                ROLLING_SOURCE,
            )
        )
    if progress.days >= 28 and chance is not None:
        reasons.append(Reason(chance_sentence(chance, own), DESIGN_CHOICE, chance=True))
    return reasons


def _error(area: Area) -> float:
    return area_error(area.area, area.method, area.perimeter, area.share)


def _up(before: Area, now: Area, limit: float, period: str) -> Reason:
    return Reason(
        f"Larger {period}: {cm2(before.area)} to {cm2(now.area)} cm², more than the {cm2(limit)} cm² that "
        "measuring error explains.",
        DESIGN_CHOICE,
    )
