"""What stands of a course when the way of measuring changes, until the new areas can be judged themselves?"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from clinic.healing.reason import Reason, day_words
from clinic.healing.series import LONGEST_GAP, Area, Run, WoundState, last_run
from clinic.healing.verdict import Verdict, VerdictWord

__all__ = ["Judged", "carried", "runs_before"]

#: Words that say how a course went; the others say that it ended, or that nothing can be said.
_OF_A_COURSE = frozenset(
    {VerdictWord.WORSENING, VerdictWord.STALLED, VerdictWord.SLOW, VerdictWord.ON_COURSE}
)


@dataclass(frozen=True, slots=True)
class Judged:
    """An earlier run of a wound and its verdict."""

    run: Run
    verdict: Verdict


def runs_before(run: Run, areas: Sequence[Area], closed: Sequence[date] = ()) -> tuple[Run, ...]:
    """Runs of other methods or debridement states that end less than eight weeks before the last area.

    Parameters
    ----------
    run : Run
        The run that is judged now, from ``last_run``.
    areas : sequence of Area
        All areas of the wound.
    closed : sequence of datetime.date
        Days on which the wound was found covered and dry: what opens after one is a course of its own.

    Returns
    -------
    tuple of Run
        The newest first; empty where nothing was left out, or the wound was closed since.
    """
    shut = max([*closed, *(a.day for a in areas if a.area == 0 and a.day < run.last.day)], default=date.min)
    found: list[Run] = []
    first = run.first.day
    while left := [area for area in areas if shut < area.day < first]:
        before = last_run(left)
        if (run.last.day - before.last.day).days > LONGEST_GAP:
            break
        found.append(before)
        first = before.first.day
    return tuple(found)


def carried(now: Verdict, run: Run, before: Sequence[Judged]) -> Verdict:
    """The verdict of a course whose way of measuring has changed: the last judged one stands, with its day.

    Parameters
    ----------
    now : Verdict
        Verdict of the areas measured the new way.
    run : Run
        Those areas.
    before : sequence of Judged
        Earlier runs of the wound, the newest first.

    Returns
    -------
    Verdict
        `now`, unless it is too early to judge and an earlier run was judged.

    Notes
    -----
    Design choice: what was found stands until it can be judged again; a change of method is no news of the
    wound.
    """
    if now.word is not VerdictWord.TOO_EARLY:
        return now
    judged = next((one for one in before if one.verdict.word in _OF_A_COURSE), None)
    if judged is None:
        return now
    was = judged.run.last
    then, since = _kinds(was, run.last)
    stands = Reason(
        f"{judged.verdict.word.label.capitalize()} by areas {then} until {day_words(was.day)}; it stands "
        f"until areas {since} can be judged, which are not comparable with them.",
        "design choice of this program, no source",
    )
    return Verdict(judged.verdict.word, (stands, *judged.verdict.reasons, *now.reasons))


def _kinds(was: Area, now: Area) -> tuple[str, str]:
    """How both were measured, by what differs: the method, and the state of the wound where that differs."""
    if was.state is now.state:
        return str(was.method), str(now.method)
    then, since = (
        "of unstated debridement" if area.state is WoundState.NOT_STATED else f"{area.state} debridement"
        for area in (was, now)
    )
    if was.method is now.method:
        return then, since
    return f"{was.method}, {then}", f"{now.method}, {since}"
