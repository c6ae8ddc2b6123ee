"""Guides that are chosen: what is drawn falls from valley to ridge, and little is drawn elsewhere.

A line at a distance d from a level line falls from valley to flank by d times the difference of the
slopes there (worked out in test_keyline_on_analytic_valleys).
"""

import numpy as np
import pytest
import shapely

from brimline.grid import Grid
from brimline.lines.keyline import (
    Useful,
    chosen_guides,
    cultivation_lines,
    find_keypoints,
    given_keypoint,
    keyline,
    keylines,
    places_on_floors,
)
from brimline.lines.keyline.working import _kernels
from brimline.lines.limits import limits
from brimline.lines.relief import ridge_lines, valley_lines
from brimline.terrain.smooth import smoothed

LINES = {"width_m": 3.0, "reach_m": 45.0, "turning_radius_m": 6.0, "min_length_m": 20.0}


def country(seed, above=0.20, below=0.06, ridge=0.10):
    """Three valleys, steeper than the ridges above 115 m and gentler below, with noise."""
    grid = Grid(300, 728, 1.0, 1000.0, 5350.0)
    x, y = grid.xy(*np.indices(grid.shape))
    g = 0.5 * (1 + np.cos(np.pi * (x - 1364) / 120))
    shrinks, grows, back = 1 / ridge - 1 / above, 1 / below - 1 / ridge, 50.0
    past = y - 5200 - back * (g - 1)
    up, down = past / (1 / ridge - shrinks * g), past / (1 / ridge + grows * g)
    rise = np.where(past > 0, up, down)
    plain = (y - 5200 + back) * ridge
    rise = np.where(up > back / shrinks, plain, rise)
    rise = np.where(down < -back / grows, plain, rise)
    rng = np.random.default_rng(seed)
    rough = smoothed(rng.normal(size=grid.shape).astype(np.float32), cell_m=1.0, sigma_m=5.0)
    return (115 + rise + 0.05 * rough / rough.std()).astype(np.float32), grid


def chosen_on(dem, grid, **changed):
    calm, surface = (smoothed(dem, cell_m=1.0, sigma_m=sigma) for sigma in (4.0, 3.0))
    valleys = valley_lines(calm, grid, min_area_m2=3000.0)
    ridges = ridge_lines(calm, grid, min_area_m2=3000.0)
    found = find_keypoints(calm, grid, valleys, smooth_m=4.0, noise_m=0.05, correlation_m=5.0)
    guides = keylines(found, dem, surface, grid, valleys, ridges)
    places = places_on_floors(surface, grid, valleys, apart_m=20.0)
    tried = keylines(places, dem, surface, grid, valleys, ridges, first_id=len(guides) + 1)
    where = limits(surface, grid)
    useful = Useful(shortest_m=60.0)
    got = chosen_guides(
        surface, grid, [], [*guides, *tried], where, useful,
        least_m=changed.get("least_m", 800.0), most=20, **LINES,
    )  # fmt: skip
    laid = [
        line
        for guide in [*guides, *tried][:6]
        for line in cultivation_lines(surface, grid, guide, where, **LINES)
    ]
    return got, guides, laid


def length_and_share(lines):
    total = sum(one.length_m for one in lines)
    return total, sum(one.length_m * one.share_right_pct for one in lines) / max(total, 1e-9)


@pytest.mark.parametrize(
    ("seed", "slopes"),
    [
        (3, (0.20, 0.06, 0.10)),
        (4, (0.20, 0.06, 0.10)),
        (5, (0.25, 0.05, 0.10)),
        (6, (0.15, 0.05, 0.09)),
        (7, (0.18, 0.08, 0.12)),
    ],
)
def test_on_keyline_country_most_of_what_is_drawn_falls_right(seed, slopes):
    dem, grid = country(seed, *slopes)
    got, _, _ = chosen_on(dem, grid)
    total, share = length_and_share(got.lines)
    assert share >= 85.0  # 95 to 97 measured; 59 to 78 of all lines beside keypoints' keylines
    assert total > 5000.0
    # no more turns on a hectare of lined ground than lines of the least length would need
    assert len(got.lines) <= 10_000 / (60.0 * 3.0) * total * 3.0 / 10_000
    assert all(one.length_m >= 60.0 - 0.1 for one in got.lines)
    assert {one.keyline_id for one in got.lines} == {one.keyline_id for one in got.guides}
    tree = shapely.STRtree([one.line for one in got.lines])
    first, second = tree.query([one.line for one in got.lines], predicate="crosses")
    assert first.size == second.size == 0
    assert [one.line_id for one in got.lines] == list(range(1, len(got.lines) + 1))


def test_where_floor_and_ridge_are_equally_steep_little_is_drawn():
    row, col = np.indices((300, 728))
    g = 0.5 * (1 + np.cos(np.pi * (col + 0.5 - 364) / 120))
    dem = (100 + 0.10 * (300 - row) - 8.0 * g).astype(np.float32)
    got, _, laid = chosen_on(dem, Grid(300, 728, 1.0))
    assert length_and_share(laid)[1] < 60.0
    drawn = length_and_share(got.lines)[0] if got.lines else 0.0
    assert drawn < 0.15 * 300 * 728 / LINES["width_m"]


def test_what_a_person_drew_is_laid_in_full():
    dem, grid = country(3)
    surface = smoothed(dem, cell_m=1.0, sigma_m=3.0)
    valleys = valley_lines(surface, grid, min_area_m2=3000.0)
    point = given_keypoint(surface, grid, valleys, shapely.Point(1364, 5260))
    own = keyline(point, dem, surface, grid, valleys)
    where = limits(surface, grid)
    got = chosen_guides(surface, grid, [own], [], where, Useful(), least_m=1.0, most=3, **LINES)
    plain = cultivation_lines(surface, grid, own, where, **LINES)
    assert length_and_share(got.lines) == pytest.approx(length_and_share(plain))


def best_by_halving(scores):
    """Maximal scoring stretches by their definition: the best, then those to both sides of it."""
    sums = np.concatenate([[0.0], np.cumsum(scores)])
    best = max(
        (
            (sums[j] - sums[i], -(j - i), i, j)
            for i in range(len(scores))
            for j in range(i + 1, len(scores) + 1)
        ),
        default=(0, 0, 0, 0),
    )
    gain, _, i, j = best
    if gain <= 1e-12:
        return []
    left = best_by_halving(scores[:i])
    right = [(a + j, b + j) for a, b in best_by_halving(scores[j:])]
    return [*left, (i, j), *right]


@pytest.mark.parametrize("seed", range(20))
def test_stretches_are_the_maximal_scoring_ones(seed):
    """Ruzzo & Tompa (1999): the best stretch, then the best of what is left on either side."""
    rng = np.random.default_rng(seed)
    falls = rng.choice([-0.01, 0.01], size=30, p=[0.35, 0.65])
    ends = np.cumsum(rng.uniform(0.5, 2.0, 30))
    steps = np.column_stack([np.concatenate([[0.0], ends[:-1]]), ends, falls])
    found = _kernels.stretches(steps, 0.0, 0.08, 3.0, 0.0)
    length = np.diff(steps[:, :2], axis=1)[:, 0]
    wanted = best_by_halving(np.where(falls > 0, length, -3.0 * length))
    np.testing.assert_allclose(found, [(steps[i, 0], steps[j - 1, 1]) for i, j in wanted])
    for low, high in found:
        inside = (steps[:, 0] >= low) & (steps[:, 1] <= high)
        right = length[inside & (falls > 0)].sum()
        assert right >= 0.75 * (high - low) - 1e-9


def test_numbers_out_of_range_are_refused():
    with pytest.raises(ValueError, match="least_fall_pct"):
        Useful(least_fall_pct=9.0)
    with pytest.raises(ValueError, match="share_pct"):
        Useful(share_pct=100.0)
