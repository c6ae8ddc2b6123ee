"""What holds for any shapes on any ground."""

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from brimline.grid import Grid
from brimline.terrain.earthwork import average_end_area_m3, prismoidal_m3, section_areas
from brimline.terrain.shaping import Bank, Bowl, Channel, LevelAlong, design

GRID = Grid(30, 30, 1.0, 0.0, 30.0)
seeds = st.integers(0, 100_000)


def ground(rng):
    down, along = np.indices(GRID.shape)
    bumps = rng.normal(0, 0.1, GRID.shape)
    return (rng.uniform(-0.1, 0.1) * down + rng.uniform(-0.1, 0.1) * along + bumps).astype("f4")


def line(rng):
    return shapely.LineString(rng.uniform(3, 27, (int(rng.integers(2, 5)), 2)))


def channel(rng, name):
    return Channel(name, line(rng), LevelAlong.flat(rng.uniform(-1.5, 0.5)),
                   rng.uniform(-2, 2), rng.uniform(0, 1), 2.0, 2.0)  # fmt: skip


def bank(rng, name):
    return Bank(name, line(rng), LevelAlong.flat(rng.uniform(-0.5, 1.5)), settlement=0.1)


def bowl(rng, name):
    outline = shapely.Point(*rng.uniform(8, 22, 2)).buffer(rng.uniform(2, 6))
    return Bowl(name, outline, rng.uniform(-1, 1), 1.0, 2.0)


def design_of(dem, shapes, **options):
    return design(dem, GRID, shapes, limit_m=8.0).surface(factor=2, **options)


@settings(deadline=None, max_examples=20)
@given(seeds)
def test_channels_only_lower_and_banks_only_raise(seed):
    """Channels leave no ground higher, banks none lower, and the built bank covers the settled."""
    rng = np.random.default_rng(seed)
    dem = ground(rng)
    dug = design_of(dem, [channel(rng, str(k)) for k in range(3)])
    assert (dug.change_m <= 0).all()
    assert (dug.heaped_by == 0).all()
    banks = [bank(rng, str(k)) for k in range(3)]
    heaped, built = design_of(dem, banks), design_of(dem, banks, built=True)
    assert (heaped.change_m >= 0).all()
    assert (built.change_m >= heaped.change_m - 1e-12).all()


@settings(deadline=None, max_examples=20)
@given(seeds)
def test_the_order_in_which_elements_are_named_does_not_matter(seed):
    """Any order of the same shapes makes the same surface."""
    rng = np.random.default_rng(seed)
    dem = ground(rng)
    shapes = [make(rng, str(k)) for k, make in enumerate([channel, bank, bowl, channel, bank])]
    shapes.append(bank(rng, "0"))  # a second shape of the first element
    first = design_of(dem, shapes)
    order = rng.permutation(len(shapes))
    other = design_of(dem, [shapes[k] for k in order])
    np.testing.assert_array_equal(first.design_m, other.design_m)


@settings(deadline=None, max_examples=20)
@given(seeds)
def test_a_shape_far_away_changes_nothing(seed):
    """Every changed cell lies within reach of a shape, and has an element."""
    rng = np.random.default_rng(seed)
    dem = ground(rng)
    shapes = [channel(rng, "a"), bank(rng, "b"), bowl(rng, "c")]
    ready = design(dem, GRID, shapes, limit_m=8.0)
    done = ready.surface(factor=2)
    changed = np.abs(done.change_m) > 1e-6
    x, y = GRID.xy(*np.nonzero(changed))
    points = shapely.points(x, y)
    near = np.zeros(len(points), dtype=bool)
    for one in ready.placed:
        near |= shapely.distance(one.shape.core, points) <= one.reach_m + GRID.cell_m
    assert near.all()
    assert ((done.dug_by > 0) | (done.heaped_by > 0))[changed].all()


@settings(deadline=None, max_examples=50)
@given(seeds)
def test_section_areas_agree_with_a_fine_sum(seed):
    """Exact section areas are the limit of a fine sum, and swap with the surfaces."""
    rng = np.random.default_rng(seed)
    offset = np.cumsum(rng.uniform(0.1, 2, 12))
    one, other = rng.normal(0, 1, (2, 12))
    found = section_areas(offset, one, other)
    fine = np.linspace(offset[0], offset[-1], 200_001)
    down = np.interp(fine, offset, one) - np.interp(fine, offset, other)
    width = fine[1] - fine[0]
    np.testing.assert_allclose(found.cut_m2, np.maximum(down, 0).sum() * width, rtol=2e-3)
    swapped = section_areas(offset, other, one)
    np.testing.assert_allclose([swapped.cut_m2, swapped.fill_m2], [found.fill_m2, found.cut_m2])


@settings(deadline=None, max_examples=50)
@given(seeds)
def test_the_prismoidal_formula_is_exact_for_cubics(seed):
    """Any area that is cubic in the chainage is summed exactly; end areas only a linear one."""
    rng = np.random.default_rng(seed)
    cubic = np.polynomial.Polynomial(rng.uniform(0, 2, 4))
    length = rng.uniform(0.5, 20)
    exact = cubic.integ()(length)
    chainage = np.linspace(0, length, 5)
    np.testing.assert_allclose(prismoidal_m3(chainage, cubic(chainage)), exact)
    linear = np.polynomial.Polynomial(rng.uniform(0, 2, 2))
    chainage = np.sort(np.append(rng.uniform(0, length, 3), [0, length]))
    np.testing.assert_allclose(
        average_end_area_m3(chainage, linear(chainage)), linear.integ()(length)
    )
