"""Tracks against every way there is, and against closed forms."""

import heapq
import math
from dataclasses import replace

import numpy as np
import pytest

from brimline.lines.tracks import TrackRules, bench_m2, eased, find_track, gentlest_grade_pct

RULES = TrackRules(3.0, 12.0, 40.0, earth_per_m=2.0, crossing_m=15.0)


def allowed_after(last, moves, radius_m, cell_m):
    """Moves after which an arc of the radius that touches both takes half of each at most."""
    if last is None:
        return moves
    found = []
    for step in moves:
        turn = abs(math.remainder(math.atan2(*step) - math.atan2(*last), math.tau))
        half = cell_m * min(math.hypot(*step), math.hypot(*last)) / 2
        if turn <= 3 and radius_m * math.tan(turn / 2) <= half + 1e-9:
            found.append(step)
    return found


def brute_force(level, blocked, crossing, start, end, rules, cell_m):
    """Dijkstra written out step by step over cells and the step that led there, all asked anew."""
    rows, cols = level.shape
    south, east = np.gradient(level, cell_m)
    moves = [
        (a, b) for a in range(-3, 4) for b in range(-3, 4)
        if math.gcd(a, b) == 1 and abs(a) + abs(b) <= 5
    ]  # fmt: skip
    best, heap = {(start, None): 0.0}, [(0.0, start, (0, 0))]
    while heap:
        cost, (r, c), came = heapq.heappop(heap)
        if (r, c) == end:
            return cost
        last = came if rules.radius_m and came != (0, 0) else None
        if cost > best[(r, c), last]:
            continue
        for a, b in allowed_after(last, moves, rules.radius_m, cell_m):
            to = (r + a, c + b)
            if not (0 <= to[0] < rows and 0 <= to[1] < cols) or blocked[to] or blocked[r, c]:
                continue
            passed = {
                (r + turn(a * k / 3), c + turn(b * k / 3))
                for k in (1, 2) for turn in (math.floor, math.ceil)
            } - {(r, c)}  # fmt: skip
            if any(blocked[cell] for cell in passed):
                continue
            run = cell_m * math.hypot(a, b)
            if abs(level[to] - level[r, c]) / run > rules.most_grade_pct / 100:
                continue
            across = max(
                abs(east[at] * a - south[at] * b) / math.hypot(a, b) for at in ((r, c), to)
            )
            if across > rules.most_cross_pct / 100:
                continue
            earth = rules.width_m**2 * across / (8 * (1 - rules.batter * across))
            price = run * (1 + rules.earth_per_m * earth)
            if any(crossing[cell] for cell in {*passed, to}):
                price += rules.crossing_m
            state = (to, (a, b) if rules.radius_m else None)
            if cost + price < best.get(state, math.inf) - 1e-12:
                best[state] = cost + price
                heapq.heappush(heap, (cost + price, to, (a, b)))
    return math.inf


@pytest.mark.parametrize("radius_m", [0.0, 3.0, 6.0])
@pytest.mark.parametrize("seed", range(6))
def test_the_track_is_the_cheapest_of_all(seed, radius_m):
    rules = replace(RULES, radius_m=radius_m)
    rng = np.random.default_rng(seed)
    level = np.cumsum(rng.normal(0, 0.25, (14, 16)), axis=0)
    blocked = rng.random(level.shape) < 0.08
    crossing = np.zeros_like(blocked)
    crossing[7] = True
    start, end = (1, 2), (12, 13)
    blocked[start] = blocked[end] = False
    expected = brute_force(level, blocked, crossing, start, end, rules, 2.0)
    found = find_track(level, blocked, crossing, [start, end], rules, cell_m=2.0)
    if math.isinf(expected):
        assert found is None
    else:
        assert found.cost_m == pytest.approx(expected)
        assert found.grade_pct <= 12.0 + 1e-9
        assert not blocked[tuple(found.cells.T)].any()
        _, tightest_m = eased(found.cells * 2.0)
        assert tightest_m >= radius_m - 1e-9


def test_a_plane_is_climbed_at_its_limit_by_as_long_a_way_as_that_takes():
    # straight up a slope of 20 % at most 10 % along: rise over grade is the least that there is
    level = np.repeat(0.2 * np.arange(40.0)[:, None] * 3.0, 40, axis=1)
    free = np.zeros(level.shape, bool)
    rules = TrackRules(most_grade_pct=10.0, earth_per_m=0.0)
    found = find_track(level, free, free, [(35, 20), (5, 20)], rules, cell_m=3.0)
    least_m = (level[35, 20] - level[5, 20]) / 0.10
    assert found.length_m >= least_m
    assert found.length_m < 1.15 * least_m  # 32 bearings
    assert found.grade_pct <= 10.0 + 1e-9


def test_no_way_is_no_track():
    level = np.zeros((12, 12))
    wall = np.zeros((12, 12), bool)
    wall[6] = True
    none = np.zeros_like(wall)
    assert find_track(level, wall, none, [(1, 1), (10, 10)], RULES, cell_m=1.0) is None
    straight = find_track(level, none, none, [(1, 1), (5, 5), (10, 10)], RULES, cell_m=1.0)
    assert straight.length_m == pytest.approx(9 * math.sqrt(2))
    assert straight.cut_m3 == 0


def test_a_bench_is_a_triangle_on_half_its_width():
    # 3 m on 20 % with banks of 1 in 1.5: half 1.5 m × 0.3 m / 2, enlarged by 1 / (1 - 1.5 × 0.2)
    assert bench_m2(0.2, 3.0, 1.5) == pytest.approx(0.225 / 0.7)
    assert np.isinf(bench_m2(0.7, 3.0, 1.5))


def test_a_track_turns_no_tighter_than_the_machine_even_at_places_to_pass():
    free = np.zeros((40, 40), bool)
    level = np.zeros(free.shape)
    places = [(5, 5), (5, 30), (30, 30)]
    sharp, round_ = (
        find_track(level, free, free, places, TrackRules(radius_m=radius_m), cell_m=3.0)
        for radius_m in (0.0, 12.0)
    )
    assert eased(sharp.cells * 3.0)[1] < 12
    line, tightest_m = eased(round_.cells * 3.0)
    assert tightest_m >= 12
    assert round_.cost_m >= sharp.cost_m
    assert {(5, 5), (5, 30), (30, 30)} <= {tuple(cell) for cell in round_.cells.tolist()}
    # no three points of the line lie on a tighter circle than its arcs are
    a, b, c = line[:-2], line[1:-1], line[2:]
    u, v = (b - a).T, (c - a).T
    area = np.abs(u[0] * v[1] - u[1] * v[0]) / 2
    sides = [np.hypot(*(p - q).T) for p, q in ((a, b), (b, c), (a, c))]
    with np.errstate(divide="ignore"):
        assert (sides[0] * sides[1] * sides[2] / (4 * area)).min() >= 0.99 * 12


def test_a_corner_is_rounded_by_the_arc_that_touches_both_legs():
    # a right angle between legs of 20 and 30 m: half of the shorter is the radius, 10 m
    line, tightest_m = eased(np.array([(0.0, 0.0), (20.0, 0.0), (20.0, 30.0)]))
    assert tightest_m == pytest.approx(10)
    middle = np.array([10.0, 10.0])
    np.testing.assert_allclose(np.hypot(*(line[1:-1] - middle).T), 10, atol=1e-9)
    np.testing.assert_allclose(line[[1, -2]], [(10, 0), (20, 10)], atol=1e-9)
    straight = np.array([(0.0, 0.0), (1.0, 0.0), (2.0, 0.0)])
    assert np.isinf(eased(straight)[1])


def test_the_grade_that_would_do_is_the_gentlest_whole_percent():
    """Straight up a trough of one cell's width at 13.4 %: 13 % finds nothing, 14 % does."""
    level = np.outer(0.134 * np.arange(12.0), np.ones(9))
    blocked = np.ones(level.shape, dtype=bool)
    blocked[:, 4] = False
    free, ends = np.zeros_like(blocked), [(0, 4), (11, 4)]
    rules = replace(RULES, most_grade_pct=10.0)
    assert find_track(level, blocked, free, ends, rules, cell_m=1.0) is None
    assert gentlest_grade_pct(level, blocked, free, ends, rules, cell_m=1.0) == 14.0
    blocked[6] = True  # no grade leads through a wall
    assert gentlest_grade_pct(level, blocked, free, ends, rules, cell_m=1.0) is None
