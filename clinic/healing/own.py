"""A clinic's own figures as of a day: line, tails, and how chances told there have fared."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from clinic.healing.fared import OwnCounts, counted
from clinic.healing.lookback import Looked
from clinic.healing.recalibration import (
    LEAST_CLOSED,
    LOT,
    TARGET,
    VERSION,
    WINDOW,
    CalibrationLine,
    Past,
    Tails,
    adapted,
    line_of,
    tails_of,
)

__all__ = ["Own", "own_of", "pasts_of"]


@dataclass(frozen=True, slots=True)
class Own:
    """A clinic's own figures, as of a day.

    Parameters
    ----------
    made_on : datetime.date
        Day it was made.
    version : str
        Of the method.
    line : CalibrationLine or None
        None while too few outcomes are known.
    tails : Tails or None
        As above.
    counts : OwnCounts
        How chances as told have fared here.
    """

    made_on: date
    version: str
    line: CalibrationLine | None
    tails: Tails | None
    counts: OwnCounts = OwnCounts()

    @property
    def is_on(self) -> bool:
        """Whether it moves forecasts."""
        return self.line is not None and self.tails is not None

    @property
    def says_anything(self) -> bool:
        """Whether it moves forecasts or counts an outcome."""
        return self.is_on or any(of for _, of in self.counts.within_8)


def pasts_of(looked: Sequence[Looked]) -> tuple[Past, ...]:
    """Forecasts looked back at, as outcomes; for the tails what ended otherwise counts as open to its end."""
    return tuple(
        Past(
            said=one.said,
            closed=None if one.closed is None else float((one.closed - one.said.last).days),
            known=float(max((one.known_until - one.said.last).days, 0)),
            on=one.closed or one.known_until,
            span=float((one.said.last - one.first).days),
            ended=one.ended,
        )
        for one in looked
    )


def own_of(pasts: Sequence[Past], today: date) -> Own:
    """Line and tails of a clinic from what is known on a day, and how its chances have fared.

    Parameters
    ----------
    pasts : sequence of Past
        Of one look at each course; later knowledge than ``today`` is not used.
    today : datetime.date
        Day it is made.

    Returns
    -------
    Own
        Line and tails empty while under ``LEAST_CLOSED`` courses have closed.
    """
    known = [past for past in pasts if past.on <= today]
    counts = _counts(known)
    if sum(past.closed is not None for past in known) < LEAST_CLOSED:
        return Own(today, VERSION, None, None, counts)
    low, high = _missed_so_far(known)
    return Own(today, VERSION, _line(known), tails_of(known, today, low, 1.0 - high), counts)


def _line(known: Sequence[Past]) -> CalibrationLine:
    pairs = [(past.said.chance_next_8w, past.came_within(WINDOW)) for past in known]
    return line_of(
        [chance for chance, came in pairs if came is not None],
        [came for _, came in pairs if came is not None],
    )


def _counts(known: Sequence[Past]) -> OwnCounts:
    """Outcomes of chances as they would have been told then: by the line made from outcomes known on that
    day, renewed with each lot of ten; a line is never counted on what it was drawn through."""
    outcomes: dict[int, list[tuple[float, bool]]] = {8: [], 12: [], 20: []}
    ordered = sorted(known, key=lambda past: past.said.last)
    for start in range(0, len(ordered), LOT):
        day = ordered[start].said.last
        before = [past for past in known if past.on < day]
        enough = sum(past.closed is not None for past in before) >= LEAST_CLOSED
        line = _line(before) if enough else None
        for past in ordered[start : start + LOT]:
            law = past.said
            for weeks, chance, ahead in (
                (8, law.chance_next_8w, float(WINDOW)),
                (12, law.chance_12w, 84.0 - past.span),
                (20, law.chance_20w, 140.0 - past.span),
            ):
                came = past.came_within(ahead)
                if chance > 0.0 and came is not None:
                    outcomes[weeks].append((chance if line is None else line.of(chance), came))
    return OwnCounts(*(counted(outcomes[weeks]) for weeks in (8, 12, 20)))


def _missed_so_far(known: Sequence[Past]) -> tuple[float, float]:
    """Tails to ask for, from how intervals made earlier have fared: the past is played again in lots of ten
    outcomes."""
    closed = sorted((past for past in known if past.closed is not None), key=lambda past: past.on)
    early: list[bool] = []
    late: list[bool] = []
    low = high = TARGET
    for start in range(LEAST_CLOSED, len(closed), LOT):
        day = closed[start].on
        ends = tails_of([past for past in known if past.on < day], day, low, 1.0 - high)
        for past in closed[start : start + LOT]:
            if past.closed is not None and past.said.weeks[-1] >= ends.high:
                score = past.said.chance_by(past.closed)
                early.append(score < ends.low)
                late.append(score > ends.high)
        low, high = adapted(TARGET, early), adapted(TARGET, late)
    return low, high
