"""What the forecasts and the verdicts said on a simulated cohort against what its wounds then did.

Run ``python -m tests.clinic.healing.validation.calibration [count]`` for the tables on 2,500 held-out wounds;
the tests beside this file hold the limits on a smaller cohort. The wounds and every assumption in them stand
in ``tests/clinic/healing/simulated.py``: the tables say what the model does when wounds behave like that, and
nothing about a clinic's own. The constants were chosen on seed 11; training chances come from seed 2025,
judgement from 2026.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from clinic.healing.forecast import MODEL, forecast_many
from clinic.healing.progress import area_at
from clinic.healing.series import Run
from clinic.healing.trend import TrendModel
from clinic.healing.verdict import VerdictWord, verdict_of
from tests.clinic.healing.simulated import FIRST_DAY, Wound, cohort, seen_by

WEEKS = (2, 4, 6, 8)
BY = 84  # the chance judged is that of closing by week 12
TRAINING, HELD_OUT = 2025, 2026


@dataclass(frozen=True)
class Bin:
    """One line of a reliability table: chances of one fifth, how many, mean said, share that closed."""

    low: float
    count: int
    said: float
    happened: float


@dataclass(frozen=True)
class Judged:
    """One week's forecasts against what happened; shares are of all open wounds with three areas."""

    week: int
    count: int
    closed: float
    covered: float
    before_low: float
    after_high: float
    finite: float
    bins: tuple[Bin, ...]
    error: float
    brier: float
    base_rate: float
    rule_chances: float
    rule_now_chances: float
    rule_hard: float


def passed(run: Run, day: float) -> bool:
    """The 4-week rule: at day 28, or on the last day before it, the area is at most half the first."""
    then = area_at(run, min(day, run.span))
    return then is not None and then <= 0.5 * run.first.area


def passed_lately(run: Run) -> bool:
    """The same rule asked again: the area has halved over the last 28 days, or since the first area."""
    then = area_at(run, max(0, run.span - 28))
    return then is not None and run.last.area <= 0.5 * then


def two_chances(marks: np.ndarray, closed: np.ndarray) -> tuple[float, float]:
    """Share closed among those that failed and those that passed a rule."""
    return float(closed[~marks].mean()), float(closed[marks].mean())


def judge(wounds: Sequence[Wound], training: Sequence[Wound], week: int, model: TrendModel = MODEL) -> Judged:
    pairs = seen_by(wounds, 7 * week)
    runs = [run for _, run in pairs]
    found = [f for f in forecast_many([(run, ()) for run in runs], model) if f is not None]
    assert len(found) == len(pairs)
    closes = np.array([inf if w.closes is None else w.closes for w, _ in pairs])
    # A low end beyond the horizon is only known to be later than the horizon.
    low = np.array(
        [
            run.span + 364 if f.low is None else (f.low - FIRST_DAY).days
            for f, run in zip(found, runs, strict=True)
        ]
    )
    high = np.array([inf if f.high is None else (f.high - FIRST_DAY).days for f in found])
    chance = np.array([f.chance_12w for f in found])
    closed = closes <= BY
    number = np.minimum((chance * 5).astype(int), 4)
    bins = tuple(
        Bin(b / 5, int(on.sum()), float(chance[on].mean()), float(closed[on].mean()))
        for b in range(5)
        if (on := number == b).any()
    )
    taught = seen_by(training, 7 * week)
    outcome = np.array([w.closes is not None and w.closes <= BY for w, _ in taught])

    def against(rule):
        fail, success = two_chances(np.array([rule(run) for _, run in taught]), outcome)
        said = np.where([rule(run) for run in runs], success, fail)
        return float(np.mean((said - closed) ** 2))

    hard = np.array([passed(run, 28) for run in runs])
    return Judged(
        week=week,
        count=len(pairs),
        closed=float(closed.mean()),
        covered=float(np.mean((low <= closes) & (closes <= high))),
        before_low=float(np.mean(closes < low)),
        after_high=float(np.mean(np.isfinite(high) & (closes > high))),
        finite=float(np.isfinite(high).mean()),
        bins=bins,
        error=sum(abs(b.said - b.happened) * b.count for b in bins) / len(pairs),
        brier=float(np.mean((chance - closed) ** 2)),
        base_rate=float(np.mean((outcome.mean() - closed) ** 2)),
        rule_chances=against(lambda run: passed(run, 28)),
        rule_now_chances=against(passed_lately),
        rule_hard=float(np.mean(hard != closed)),
    )


@dataclass(frozen=True)
class Alarms:
    """When an alarm is raised on one cohort.

    ``false_share`` is the share of the visits of steady wounds, from day 14 on, at which it stands;
    ``delays`` the weeks from the true stall to the first visit with it, infinite where the stall ended, or
    the wound's record, before.
    """

    name: str
    false_share: float
    delays: tuple[float, ...]

    @property
    def median(self) -> float:
        return float(np.median(self.delays))

    @property
    def found(self) -> float:
        return float(np.mean(np.isfinite(self.delays)))


_SHORTEST_STALL = 28


def _visits(wound: Wound):
    """(day, run so far) from the third area and day 14 on, up to 40 weeks."""
    run = wound.run
    for count in range(3, len(run.areas) + 1):
        day = run.days[count - 1]
        if 14 <= day <= 280:
            yield day, Run(run.areas[:count])


def stall_alarms(wounds: Sequence[Wound]) -> tuple[Alarms, Alarms, float]:
    """Verdicts "stalled" or "worsening", and the 4-week rule at equal false alarms: (ours, rule, its limit).

    The rule is asked at each visit: the reduction over the last 28 days (or since the first area) is under a
    limit. The limit is moved from the published 50 % until the rule is wrong at the same share of the visits
    of steady wounds, so neither gains by crying more often.
    """
    steady = [seen for w in wounds if w.course == "steady" for seen in _visits(w)]
    stalls = [
        [(day, run) for day, run in _visits(w) if w.turns <= day < w.turns + w.pause]
        for w in wounds
        if w.course == "stall" and w.turns is not None and w.pause >= _SHORTEST_STALL
    ]
    starts = [
        w.turns for w in wounds if w.course == "stall" and w.turns is not None and w.pause >= _SHORTEST_STALL
    ]

    def ours(run: Run) -> bool:
        return verdict_of(run).word in (VerdictWord.STALLED, VerdictWord.WORSENING)

    def lately(run: Run) -> float:
        then = area_at(run, max(0, run.span - 28))
        # In a gap the rule cannot be asked, and raises no alarm.
        return inf if then is None else 1.0 - run.last.area / then

    share = float(np.mean([ours(run) for _, run in steady]))
    limit = float(np.quantile([lately(run) for _, run in steady], share))

    def delays(alarm) -> tuple[float, ...]:
        return tuple(
            next(((day - start) / 7 for day, run in seen if alarm(run)), inf)
            for start, seen in zip(starts, stalls, strict=True)
        )

    def rule(run: Run) -> bool:
        return lately(run) < limit

    wrong = float(np.mean([rule(run) for _, run in steady]))
    return (
        Alarms("verdict stalled or worsening", share, delays(ours)),
        Alarms("4-week rule, moved", wrong, delays(rule)),
        limit,
    )


def words_at(wounds: Sequence[Wound], week: int) -> dict[str, dict[str, int]]:
    """Verdict words by true course, of wounds open and seen in that week."""
    table: dict[str, dict[str, int]] = {}
    for wound, run in seen_by(wounds, 7 * week):
        row = table.setdefault(wound.course, {})
        word = str(verdict_of(run).word)
        row[word] = row.get(word, 0) + 1
    return table


def main(count: int) -> None:
    wounds, training = cohort(count, HELD_OUT), cohort(count, TRAINING)
    print(f"{count} simulated wounds, held out (seed {HELD_OUT}); training chances from seed {TRAINING}")
    rows = [judge(wounds, training, week) for week in WEEKS]
    print("\n80 % interval of the closing date (all open wounds with three areas)")
    print("week  wounds  inside  before low end  after high end  high end within 52 weeks")
    for r in rows:
        print(
            f"{r.week:4}  {r.count:6}  {r.covered:5.1%}  {r.before_low:14.1%}  {r.after_high:14.1%}  "
            f"{r.finite:10.1%}"
        )
    print("\nChance of closing by week 12: reliability in five bins")
    print("week  chance      wounds  mean said  closed")
    for r in rows:
        for b in r.bins:
            print(
                f"{r.week:4}  {b.low:.1f} to {b.low + 0.2:.1f}  {b.count:6}  {b.said:9.3f}  {b.happened:6.3f}"
            )
        print(f"      expected calibration error {r.error:.3f}")
    print("\nBrier score of that chance (less is better)")
    print(
        "week  closed  forecast  base rate  4-week rule, two chances  asked of last 28 days  hard rule (0 or "
        "1)"
    )
    for r in rows:
        print(
            f"{r.week:4}  {r.closed:6.1%}  {r.brier:8.4f}  {r.base_rate:9.4f}  {r.rule_chances:24.4f}  "
            f"{r.rule_now_chances:21.4f}  {r.rule_hard:18.4f}"
        )
    ours, rule, limit = stall_alarms(wounds)
    print(f"\nStalls of at least 4 weeks: {len(ours.delays)}; weeks from the start of the stall to the alarm")
    print("alarm                          false (visits of steady wounds)  found  median weeks")
    for a in (ours, rule):
        print(f"{a.name:30} {a.false_share:31.1%}  {a.found:5.1%}  {a.median:12.1f}")
    print(f"the rule's limit at equal false alarms: {limit:.0%} smaller over 28 days")
    for week in (3, 4, 6):
        print(f"\nVerdicts at week {week} by true course")
        for course, words in sorted(words_at(wounds, week).items()):
            total = sum(words.values())
            print(f"  {course:7} {total:5}  " + ", ".join(f"{w} {n}" for w, n in sorted(words.items())))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2500)
