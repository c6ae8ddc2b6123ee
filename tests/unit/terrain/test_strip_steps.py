"""Steps between flight lines on the same ground."""

from __future__ import annotations

import numpy as np
import pytest

from brimline.grid import Grid
from brimline.terrain.points import LevelStep, StepsBetween, levelled

GRID = Grid(200, 200, 1.0, 0.0, 200.0)


def test_a_step_between_strips_is_its_median_and_strips_apart_have_none() -> None:
    rng = np.random.default_rng(4)
    steps = StepsBetween(GRID)
    for strip, west, east, lift_m in ((7, 0, 120, 0.0), (9, 80, 200, 0.15), (12, 150, 200, 0.15)):
        x, y = rng.uniform(west, east, 60_000), rng.uniform(0, 200, 60_000)
        level_m = 50 + 0.02 * x + lift_m + rng.normal(0, 0.05, x.size)
        for part in np.array_split(np.arange(x.size), 3):  # as read, piece by piece
            steps.add(x[part], y[part], level_m[part], np.full(part.size, strip))
    found = {(step.one, step.other): step for step in steps.found()}
    assert set(found) == {(7, 9), (9, 12)}
    assert abs(found[7, 9].step_m - 0.15) < 0.01
    assert abs(found[9, 12].step_m) < 0.01
    assert found[7, 9].scatter_m < 0.05
    assert steps.found()[0].one == 7


def test_nothing_gathered_tells_nothing() -> None:
    assert StepsBetween(GRID).found() == ()


def test_levelling_takes_off_what_strips_were_lifted_by_and_keeps_the_mean() -> None:
    lifted = {1: 0.0, 2: 0.12, 3: -0.05, 8: 0.3, 9: 0.1}  # 8 and 9 meet none of the others
    points = {1: 500, 2: 300, 3: 200, 8: 100, 9: 300}
    pairs = ((1, 2), (2, 3), (1, 3), (8, 9))
    steps = [LevelStep(a, b, 400, lifted[b] - lifted[a], 0.03) for a, b in pairs]
    add_m = levelled(steps, points)
    level = {strip: lifted[strip] + add_m[strip] for strip in lifted}
    assert level[1] == pytest.approx(level[2]) == pytest.approx(level[3])
    assert level[8] == pytest.approx(level[9])
    for strips in ((1, 2, 3), (8, 9)):
        assert sum(points[s] * add_m[s] for s in strips) == pytest.approx(0, abs=1e-9)


def test_levelling_weighs_steps_that_contradict_each_other_by_how_well_they_are_known() -> None:
    # round the three of them: 0.1 + 0.1 - 0.17 = 0.03 m to share out by variance, 1 : 1 : 4
    # (conditions of a levelling net: corrections go with variances, least squares)
    steps = [
        LevelStep(1, 2, 100, 0.1, 0.02),
        LevelStep(2, 3, 100, 0.1, 0.02),
        LevelStep(1, 3, 100, 0.17, 0.04),
    ]
    add_m = levelled(steps, dict.fromkeys((1, 2, 3), 100))
    assert 0.1 + add_m[2] - add_m[1] == pytest.approx(0.03 / 6)
    assert 0.17 + add_m[3] - add_m[1] == pytest.approx(-4 * 0.03 / 6)


def test_no_steps_need_no_levelling() -> None:
    assert levelled([], {}) == {}
