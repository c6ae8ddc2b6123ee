"""Steps between flight lines on the same ground."""

from __future__ import annotations

import numpy as np

from brimline.grid import Grid
from brimline.terrain.points import StepsBetween

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
