"""How lines lie beside the ones that were drawn, against distances that GEOS measures."""

import numpy as np
import pytest
import shapely

from brimline.grid import Grid
from brimline.lines.relief.chains import Chains
from brimline.lines.relief.ground import ReliefGround
from brimline.lines.relief.parted import Drawn

FLANK_M = 10.0


def wandering(rng, points):
    turn = np.cumsum(rng.normal(0, 0.4, points - 1)) + rng.uniform(0, 2 * np.pi)
    steps = rng.uniform(1, 12, points - 1)[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    return rng.uniform(40, 160, 2) + np.concatenate([[[0.0, 0.0]], np.cumsum(steps, axis=0)])


def drawn_on(dem, lines, *, least_m=0.0):
    """All lines drawn, each its own floor."""
    chains = Chains.of_sizes(np.array([len(line) for line in lines]))
    ground = ReliefGround(dem, Grid(*dem.shape, 1.0, north_m=float(dem.shape[0])))
    xy = np.concatenate(lines)
    drawn = Drawn(ground, chains, xy, ground.levels_at(xy), flank_m=FLANK_M, least_m=least_m)
    for course, line in enumerate(lines):
        drawn.add(course, line)
    return drawn


@pytest.fixture(scope="module")
def level():
    return np.full((200, 200), 5.0, dtype=np.float32)


@pytest.mark.parametrize("seed", range(20))
def test_the_length_of_its_own_is_what_lies_outside_all_buffers(level, seed):
    rng = np.random.default_rng(seed)
    lines = [wandering(rng, int(rng.integers(2, 25))) for _ in range(4)]
    line = wandering(rng, 30)
    beside = shapely.union_all([shapely.LineString(one).buffer(FLANK_M, 256) for one in lines])
    expected = shapely.LineString(line).difference(beside).length
    # an arc of 256 pieces a quarter lies 0.05 mm inside the circle, and a line may run along it
    assert drawn_on(level, lines).own_length_m(line) == pytest.approx(expected, abs=0.1)


@pytest.mark.interpreted
def test_the_length_beyond_a_straight_line_and_round_its_end_is_exact(level):
    drawn = drawn_on(level, [np.array([[50.0, 100.0], [100.0, 100.0]])])
    across = np.array([[70.0, 80.0], [70.0, 130.0]])  # within 10 m for 20 of its 50 m
    assert drawn.own_length_m(across) == pytest.approx(30.0, abs=1e-9)
    past = np.array([[90.0, 106.0], [150.0, 106.0]])  # leaves the round end 8 m beyond it
    assert drawn.own_length_m(past) == pytest.approx(42.0, abs=1e-9)
    assert drawn.own_length_m(np.array([[60.0, 101.0], [95.0, 109.0]])) == 0.0


@pytest.mark.parametrize("seed", range(20))
def test_a_line_that_ends_beside_another_meets_it_where_it_comes_within_reach(level, seed):
    rng = np.random.default_rng(seed)
    lines = [wandering(rng, 20) for _ in range(3)]
    beside = shapely.segmentize(shapely.LineString(lines[seed % 3]), 1.5)
    xy = shapely.get_coordinates(beside) + 0.5
    xy = np.concatenate([xy[0] + np.linspace([0, 400], [0, 3], 90), xy])
    away = np.array(
        [shapely.distance(shapely.LineString(one), shapely.points(xy)) for one in lines]
    )
    first = np.flatnonzero(away.min(axis=0) > FLANK_M / 2)[-1] + 1
    length = shapely.LineString(xy[first:]).length
    met = drawn_on(level, lines).meets(xy)
    if length <= 2 * FLANK_M:
        assert met is None
    else:
        assert met == (first, away[:, first].argmin())


def test_two_lines_are_two_only_where_ground_stands_between_them():
    # Two troughs, 30 m apart, that fall alike, and between them a spur or none.
    row, col = np.indices((200, 200)).astype(float)
    open_ground = 100 - 0.1 * row
    spur = open_ground + 0.5 * np.exp(-(((col - 100) / 5) ** 2))
    left, right = (np.array([[x + 0.5, 180.0], [x + 0.5, 20.0]]) for x in (85.0, 115.0))
    for dem, own_m in ((open_ground, 0.0), (spur, 160.0)):
        drawn = drawn_on(dem.astype(np.float32), [left], least_m=0.3)
        assert drawn.own_length_m(right) == pytest.approx(own_m)


def test_with_nothing_drawn_all_of_a_line_is_its_own(level):
    drawn = drawn_on(level, [np.array([[0.0, 0.0], [5.0, 0.0]])])
    fresh = Drawn(
        ReliefGround(level, Grid(200, 200, 1.0, north_m=200.0)),
        Chains.of_sizes(np.array([2])),
        np.zeros((2, 2)),
        np.zeros(2),
        flank_m=FLANK_M,
        least_m=0.0,
    )
    line = np.array([[100.0, 100.0], [130.0, 140.0]])
    assert fresh.own_length_m(line) == drawn.own_length_m(line) == pytest.approx(50.0)
    assert fresh.meets(line) is None
