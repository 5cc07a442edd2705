"""Invented courses of care, drawn from one seed: dates and numbers only, no database.

Nothing here is fitted to a cohort. Waiting times, courses and shares are chosen so that every figure of the audit has
cases (common practice, no source); they say nothing about real clinics.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, timedelta
from random import Random

from clinic.guidelines.devices import NON_REMOVABLE

__all__ = ["Device", "Ulcer", "life", "measured"]

YEARS = 3
PLACES = (
    "mth_1", "mth_2", "mth_3", "mth_5", "plantar_hallux", "plantar_midfoot", "heel_central", "apex_2", "dorsal_toe_2",
)  # fmt: skip
LOWER = ("walker_knee_high_removable", "ankle_high_removable", "felted_foam_with_footwear")
REASONS = ("person_declines", "cannot_attend", "not_tolerated", "not_available", "skill", "other")
STOPS = ("changed", "not_tolerated", "new_lesion", "broken", "infection", "other")


@dataclass(slots=True)
class Device:
    device_class: str
    prescribed: date
    fitted: date | None
    stopped: date | None = None
    stop_reason: str = ""
    agreement: str = "first"
    departure: str = ""
    sealed: date | None = None
    open_by: date | None = None
    opened: date | None = None
    signer: int = 0
    words: int = 0


@dataclass(slots=True)
class Ulcer:
    """One lesion with the days it was looked at and the areas found [mm²]; the last is 0 where it closed."""

    side: str
    place: str
    cause: str
    first_seen: date
    presented: date
    days: list[date]
    areas: list[float]
    state: str = "open"
    outcome: str = ""
    closed: date | None = None
    confirmed: date | None = None
    ended: date | None = None
    recurs: bool = False
    concurrent: bool = False
    devices: list[Device] = field(default_factory=list)


def measured(index: int, lesions: int, measurements: int) -> int:
    """How often a lesion is measured: pairs of more and fewer, so that the total is exact."""
    base, rest = divmod(measurements, lesions)
    swing = (index // 2 * 7) % max(1, base - 3) // 2
    paired = swing if index + 1 < lesions or index % 2 else 0
    return base + (1 if index < rest else 0) + (paired if index % 2 == 0 else -paired)


def life(rng: Random, counts: list[int], today: date) -> list[Ulcer]:
    """Lesions of one person, oldest first, each measured as often as asked."""
    concurrent = len(counts) > 1 and rng.random() < 0.4
    current = rng.random() < 0.09
    starts: list[tuple[date, int, bool]] = []
    spans = [7 * n + 14 for n in counts]
    if concurrent:
        spans = [max(spans)]
    gaps = [rng.randint(30, 200) for _ in spans[1:]]
    room = YEARS * 365 - sum(spans) - sum(gaps)
    end = today - timedelta(days=rng.randint(0, 6) if current else rng.randint(20, max(21, room)))
    begin = end - timedelta(days=sum(spans) + sum(gaps))
    for k, n in enumerate(counts):
        starts.append((begin, n, concurrent and k > 0))
        if not concurrent:
            begin += timedelta(days=spans[k] + (gaps[k] if k < len(gaps) else 0))
    first_side = rng.choice(("left", "right"))
    made: list[Ulcer] = []
    for k, (start, n, beside) in enumerate(starts):
        other = "right" if first_side == "left" else "left"
        side = other if beside or (k and rng.random() < 0.4) else first_side
        last = current and (beside or k == len(starts) - 1 or concurrent)
        if last:
            # Weekly up to this week: the lesion is open now.
            start = end - timedelta(days=7 * (n - 1))
        if made and made[0].concurrent is False and beside:
            start = made[0].first_seen if not last else start
        ulcer = _ulcer(rng, side, start, n, last, final=k == len(starts) - 1 and not concurrent)
        ulcer.concurrent = beside
        ulcer.recurs = bool(made) and not beside and side == made[-1].side and rng.random() < 0.7
        if ulcer.recurs:
            ulcer.place = made[-1].place
        made.append(ulcer)
    return made


def _ulcer(rng: Random, side: str, start: date, n: int, open_now: bool, *, final: bool) -> Ulcer:
    fate = rng.random()
    days = [start + timedelta(days=7 * k) for k in range(n)]
    first = 10 ** rng.uniform(1.5, 2.9)
    shrink = rng.uniform(0.72, 0.99) if not open_now else rng.uniform(0.8, 1.04)
    noise = [math.exp(rng.gauss(0.0, 0.07)) for _ in range(n)]
    areas = [round(max(6.0, first * shrink**k * noise[k]), 1) for k in range(n)]
    ulcer = Ulcer(
        side, rng.choice(PLACES), rng.choice(("neuropathic", "neuropathic", "neuroischaemic")), start,
        start - timedelta(days=min(int(rng.expovariate(1 / 9)), 120)), days, areas,
    )  # fmt: skip
    if not open_now:
        if fate < 0.80 and n >= 3:
            ulcer.state, ulcer.outcome = "healed", "healed"
            ulcer.closed = days[-2]
            days[-1] = days[-2] + timedelta(days=14)
            ulcer.confirmed = days[-1]
            areas[-2] = areas[-1] = 0.0
        elif fate < 0.83 and final:
            ulcer.state, ulcer.closed = "to_confirm", days[-1]
            areas[-1] = 0.0
        else:
            ulcer.state, ulcer.ended = "ended", days[-1] + timedelta(days=rng.randint(1, 9))
            # Who died or moved has no later lesion.
            ulcer.outcome = (
                "minor_amputation" if fate < 0.87 else "major_amputation" if fate < 0.88
                else "lost" if fate < 0.93 or not final else "moved" if fate < 0.95 else "died"
            )  # fmt: skip
    ulcer.devices = _devices(rng, ulcer)
    return ulcer


def _devices(rng: Random, ulcer: Ulcer) -> list[Device]:
    if rng.random() < 0.04:
        return []
    over = ulcer.closed or ulcer.ended or None
    chance, wait = rng.random(), min(int(rng.expovariate(1 / 4)), 40)
    agreement = (
        "first" if chance < 0.5 else "lower_dated" if chance < 0.65 else "lower_ticked" if chance < 0.75
        else "departed" if chance < 0.9 else "unjudged"
    )  # fmt: skip
    chosen = "total_contact_cast" if rng.random() < 0.5 else "walker_non_removable"
    if agreement != "first":
        chosen = rng.choice(LOWER)
    departure = rng.choice(REASONS) if agreement == "departed" else ""
    if agreement == "unjudged":
        departure = "fact_missing"
    prescribed = ulcer.first_seen + timedelta(days=wait)
    if over is not None and prescribed >= over:
        prescribed = ulcer.first_seen
    one = Device(chosen, prescribed, None, agreement=agreement, departure=departure,
                 signer=rng.randint(0, 1), words=rng.randint(0, 5))  # fmt: skip
    fitted = prescribed + timedelta(days=min(int(rng.expovariate(1 / 3)), 20))
    last = ulcer.days[-1]
    if fitted <= (over or last) and rng.random() < 0.97:
        one.fitted = fitted
    found = [one]
    middle = (over or last) - timedelta(days=7)
    if one.fitted and rng.random() < 0.25 and middle > one.fitted + timedelta(days=7):
        span = (middle - one.fitted).days
        changed = one.fitted + timedelta(days=rng.randint(7, max(7, span)))
        one.stopped, one.stop_reason = changed, rng.choice(STOPS)
        found.append(
            Device(rng.choice(LOWER), changed, changed, agreement="lower_dated", signer=one.signer, words=2)
        )
    if over is not None:
        newest = found[-1]
        newest.stopped = max(over, newest.prescribed)
        newest.stop_reason = (
            "healed" if ulcer.closed else "infection" if "amputation" in ulcer.outcome else "other"
        )
    for device in found:
        _seal(rng, device, last)
    return found


def _seal(rng: Random, device: Device, last: date) -> None:
    if device.fitted is None or device.device_class not in NON_REMOVABLE:
        return
    device.sealed = max(device.fitted, last if device.stopped is None else device.stopped - timedelta(days=6))
    device.open_by = device.sealed + timedelta(days=7)
    if device.stopped is not None:
        late = rng.random() < 0.06
        device.opened = device.open_by + timedelta(days=rng.randint(1, 4)) if late else device.stopped
