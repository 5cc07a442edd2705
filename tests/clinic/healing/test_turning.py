from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from clinic.healing.bank import Bank, filter_bank, mix, move, steps_of
from clinic.healing.closing import closing_table, closing_weeks
from clinic.healing.series import Area, Run
from clinic.healing.turning import AGITATION, SHAPES, first_paces, redrawn, turning
from tests.clinic.healing.validation.generators import FIRST_DAY

BOTH = pytest.mark.parametrize("shape", SHAPES, ids=["straight", "share"])


@BOTH
def test_chances_sum_to_one_and_a_longer_time_is_the_shorter_twice(shape):
    assert first_paces(shape).sum() == pytest.approx(1.0)
    for agitation in AGITATION:
        week = turning(shape, agitation, 14)
        assert week.min() >= 0
        np.testing.assert_allclose(week.sum(axis=1), 1.0)
        np.testing.assert_allclose(week @ week, turning(shape, agitation, 28), atol=1e-12)
    np.testing.assert_allclose(redrawn(shape).sum(axis=1), 1.0)


@BOTH
def test_mixing_keeps_weight_mean_and_spread(shape):
    rng = np.random.default_rng(1)
    size = (3, len(shape.paces))
    weight, level, variance = (
        rng.dirichlet(np.ones(size[1]), 3),
        rng.normal(5, 2, size),
        rng.uniform(0.1, 1, size),
    )
    new = mix(weight, level, variance, turning(shape, AGITATION[1], 14))
    np.testing.assert_allclose(new[0].sum(axis=1), 1.0)
    np.testing.assert_allclose((new[0] * new[1]).sum(axis=1), (weight * level).sum(axis=1))
    second = (weight * (variance + level**2)).sum(axis=1)
    np.testing.assert_allclose((new[0] * (new[2] + new[1] ** 2)).sum(axis=1), second)


@BOTH
def test_a_move_lowers_the_mean_by_the_pace_to_come(shape):
    weight = np.zeros((1, len(AGITATION), len(shape.paces)))
    weight[0, 0, 8] = 1.0
    level, variance = np.full(weight.shape, 3.0), np.full(weight.shape, 0.01)
    new, later, _ = move(shape, weight, level, variance, 14)
    fallen = 3.0 - (new * later).sum()
    expected = turning(shape, AGITATION[0], 14)[8] @ np.array(shape.paces)
    assert fallen == pytest.approx(expected)


@BOTH
def test_the_table_never_falls_with_time_nor_rises_with_the_level(shape):
    table = closing_table(shape)
    assert table.min() >= 0
    assert table.max() <= 1 + 1e-12
    assert np.diff(table, axis=-1).min() >= -1e-12
    assert np.diff(table, axis=2).max() <= 1e-9


@BOTH
def test_the_law_of_closing_is_that_of_simulated_courses(shape):
    # 20,000 seeded courses of one pace and level, turning each week as the table does.
    rng = np.random.default_rng(3)
    size, agitation, pace = 20_000, 1, 12
    start = np.log(4.0) if shape.is_share else 4.0
    sums = turning(shape, AGITATION[agitation], 14).cumsum(axis=1)
    at, level, closed = np.full(size, pace), np.full(size, start), np.zeros((size, 53), dtype=bool)
    for week in range(1, 53):
        at = (rng.random(size)[:, None] > sums[at]).sum(axis=1).clip(max=len(shape.paces) - 1)
        level += -np.array(shape.paces)[at] + np.sqrt(7 * shape.level_noise) * rng.standard_normal(size)
        closed[:, week] = closed[:, week - 1] | (level <= shape.shut)
    weight = np.zeros((1, len(AGITATION), len(shape.paces)))
    weight[0, agitation, pace] = 1.0
    other = next(s for s in SHAPES if s is not shape)
    banks = (
        Bank(shape, weight, np.full(weight.shape, start), np.full(weight.shape, 1e-8)),
        Bank(other, np.zeros_like(weight), np.full(weight.shape, 1.0), np.full(weight.shape, 1e-8)),
    )
    law = closing_weeks(banks)[0]
    # One level and one pace: the table's steps show most; a real wound is spread over many of both.
    assert np.abs(law - closed.mean(axis=0)).max() < 0.05


def test_steps_are_cut_at_changes_of_treatment_and_in_long_gaps():
    steps = steps_of((0, 7, 42), (7, 20))
    assert steps.days == pytest.approx((7, 6.5, 6.5, 22 / 3, 22 / 3, 22 / 3))
    assert steps.areas == (1, -1, -1, -1, -1, 2)
    assert steps.redraws == (True, False, True, False, False, False)


def test_without_turns_the_bank_is_bayes_rule_over_straight_lines(monkeypatch):
    """Against plain sums over paces and noises: no turning, no wandering, no noise of the level, no area
    astray."""
    import clinic.healing.bank as bank

    monkeypatch.setattr(bank, "turning", lambda shape, agitation, half: np.eye(len(shape.paces)))
    monkeypatch.setattr(bank, "_ASTRAY", 0.0)
    radii, days, error = np.array([9.0, 8.3, 8.0, 7.1]), np.array([0, 7, 14, 21]), 0.4
    areas = [
        Area(FIRST_DAY + timedelta(days=int(d)), float(np.pi * r * r))
        for d, r in zip(days, radii, strict=True)
    ]
    quiet = [replace(s, level_noise=0.0) for s in SHAPES]
    monkeypatch.setattr(bank, "SHAPES", tuple(quiet))
    banks, _ = filter_bank([(areas, steps_of(tuple(days), ()))], [[error] * 4])
    straight = banks[0].weight[0].sum(axis=0)
    straight = straight / straight.sum()
    shape, expected = SHAPES[0], np.zeros(len(SHAPES[0].paces))
    for noise, part in zip(bank.NOISES, bank._NOISE_CHANCES, strict=True):
        for k, pace in enumerate(shape.paces):
            # The first radius sets the level: the others are jointly normal around it, with its error in
            # common.
            mean = radii[0] - pace * days[1:] / 7
            cover = (noise * error) ** 2 * (np.eye(3) + np.ones((3, 3)))
            gap = radii[1:] - mean
            density = np.exp(-0.5 * gap @ np.linalg.solve(cover, gap)) / np.sqrt(
                np.linalg.det(2 * np.pi * cover)
            )
            expected[k] += part * first_paces(shape)[k] * density
    np.testing.assert_allclose(straight, expected / expected.sum(), atol=1e-6)


def test_a_run_of_one_kind_is_weighed_the_same_alone_and_among_others():
    def wound(radii):
        areas = tuple(
            Area(FIRST_DAY + timedelta(days=7 * i), float(np.pi * r * r)) for i, r in enumerate(radii)
        )
        return areas, steps_of(Run(areas).days, ())

    one, other = wound([9, 8.5, 8.1]), wound([6, 6, 6.2, 6.1, 5.9, 6])
    together, _ = filter_bank([one, other], [[0.4] * 3, [0.4] * 6])
    alone, _ = filter_bank([one], [[0.4] * 3])
    for a, b in zip(together, alone, strict=True):
        np.testing.assert_allclose(a.weight[0], b.weight[0], atol=1e-12)
