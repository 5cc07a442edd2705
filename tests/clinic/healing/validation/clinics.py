"""Recalibration in clinics whose wounds differ: ``python -m tests.clinic.healing.validation.clinics
[clinics] [bank]``.

A bank of courses is looked at as of week 5. Each invented clinic draws from it with weights of its own: the
kinds in parts of its own, and slower or faster closing than the areas so far would say (log-weights linear
in the log of the closing time, slope normal with sd 0.8). So its chances are shifted in level and order. It
has 100 own outcomes and is judged on 5,000 others. The bar is a regression of closing within 8 weeks on four
features (ln of the first and last radius, pace over all areas and over the last two), fitted by maximum
likelihood to the same 100 outcomes.
"""

import sys
from dataclasses import dataclass
from datetime import timedelta
from math import inf

import numpy as np
from scipy.special import expit

from clinic.healing.forecast import forecast_many
from clinic.healing.recalibration import Past, line_of, tails_of
from tests.clinic.healing.validation.generators import FIRST_DAY, KINDS, mixture
from tests.clinic.healing.validation.judging import brier, calibration_error, looked_at

JUDGED, DEVELOPMENT = 31415, 27182
WEEK, OWN, TEST = 5, 100, 5000


@dataclass(frozen=True)
class Bank:
    said: tuple
    closes: np.ndarray
    kind: np.ndarray
    features: np.ndarray
    chance: np.ndarray
    score: np.ndarray
    reach: np.ndarray


def bank(count, seed):
    pairs = looked_at(mixture(count, seed), WEEK)
    said = forecast_many([(run, ()) for _, run in pairs])
    kept = [(c, r, f) for (c, r), f in zip(pairs, said, strict=True) if f is not None]
    closes = [inf if c.closes is None else c.closes - (r.last.day - FIRST_DAY).days for c, r, _ in kept]
    return Bank(
        tuple(f for _, _, f in kept),
        np.array(closes, dtype=float),
        np.array([list(KINDS).index(c.kind) for c, _, _ in kept]),
        np.array([_features(r) for _, r, _ in kept]),
        np.array([f.chance_next_8w for _, _, f in kept]),
        np.array([f.chance_by(c) if c <= 364 else inf for (_, _, f), c in zip(kept, closes, strict=True)]),
        np.array([f.weeks[-1] for _, _, f in kept]),
    )


def _features(run):
    radii, days = [a.radius for a in run.areas], run.days
    whole = (radii[0] - radii[-1]) / days[-1] * 7
    last = (radii[-2] - radii[-1]) / (days[-1] - days[-2]) * 7
    return 1.0, np.log(radii[0]), np.log(radii[-1]), whole, last


def regression(features, marks):
    """Maximum likelihood, with a ridge of 1e-3 so that separated outcomes end somewhere."""
    centre, spread = features[:, 1:].mean(0), features[:, 1:].std(0) + 1e-9

    def scaled(x):
        return np.column_stack([np.ones(len(x)), (x[:, 1:] - centre) / spread])

    x, found = scaled(features), np.zeros(features.shape[1])
    for _ in range(60):
        p = expit(x @ found)
        step = np.linalg.solve(
            (x * (p * (1 - p))[:, None]).T @ x + 1e-3 * np.eye(x.shape[1]), x.T @ (marks - p) - 1e-3 * found
        )
        found += np.clip(step, -1, 1)
    return lambda other: expit(scaled(other) @ found)


@dataclass(frozen=True)
class Clinic:
    ece_before: float
    ece: float
    brier_before: float
    brier: float
    bar: float
    covered_before: float
    covered: float
    finite: float


def clinic(rng, stock, own=OWN, test=TEST):
    parts = rng.dirichlet(np.full(len(KINDS), 0.7))
    late = np.log(np.clip(stock.closes, 1, 730))
    late = (late - late.mean()) / late.std()
    weight = parts[stock.kind] * np.exp(rng.normal(0, 0.8) * late)
    drawn = rng.choice(stock.closes.size, own, p=weight / weight.sum())
    rest = weight.copy()
    rest[drawn] = 0.0
    judged = rng.choice(stock.closes.size, test, p=rest / rest.sum())
    chance, score = stock.chance, stock.score[judged]
    came = stock.closes <= 56
    line = line_of(list(chance[drawn]), list(came[drawn]))
    new = np.vectorize(line.of)(chance[judged])
    followed = rng.uniform(140, 730, own)
    today = FIRST_DAY + timedelta(days=1000)
    pasts = [
        Past(stock.said[i], stock.closes[i] if stock.closes[i] <= known else None, known, today)
        for i, known in zip(drawn, followed, strict=True)
    ]
    tails = tails_of(pasts, today)
    named, finite = stock.reach[judged] >= 0.9, stock.reach[judged] >= tails.high
    before = (score[named] >= 0.1) & (score[named] <= 0.9)
    within = (score[finite] >= tails.low) & (score[finite] <= tails.high)
    model = regression(stock.features[drawn], came[drawn])
    return Clinic(
        calibration_error(chance[judged], came[judged]),
        calibration_error(new, came[judged]),
        brier(chance[judged], came[judged]),
        brier(new, came[judged]),
        brier(model(stock.features[judged]), came[judged]),
        float(np.mean(before)) if before.size else np.nan,
        float(np.mean(within)) if within.size else np.nan,
        float(np.mean(finite)),
    )


def judge(count, size, seed=JUDGED):
    stock, rng = bank(size, seed), np.random.default_rng(seed + 1)
    return [clinic(rng, stock) for _ in range(count)]


def table(clinics):
    def mean(name):
        return float(np.nanmean([getattr(one, name) for one in clinics]))

    return (
        "| clinics | ECE as said | ECE own line | Brier as said | own line | four features | own / four | "
        "coverage as said (finite) | own tails (finite) | finite |\n|" + " --- |" * 10 + "\n"
        f"| {len(clinics)} | {mean('ece_before'):.3f} | {mean('ece'):.3f} | {mean('brier_before'):.4f} | "
        f"{mean('brier'):.4f} | {mean('bar'):.4f} | {mean('brier') / mean('bar'):.3f} | "
        f"{mean('covered_before'):.1%} | {mean('covered'):.1%} | {mean('finite'):.0%} |"
    )


if __name__ == "__main__":
    print(table(judge(*(int(a) for a in sys.argv[1:3])) if len(sys.argv) > 2 else judge(200, 3000)))
