"""Places for ponds against closed forms, and against trying everything with other tools."""

import itertools

import numpy as np
import pytest
import shapely
from scipy import ndimage

from brimline.choose.ponds import BankRules, pond_sites
from brimline.choose.ponds.around import Neighbourhood, fills_pct
from brimline.choose.ponds.drawn import dam_row
from brimline.choose.ponds.rules import fill_m3
from brimline.design.flooded import flooded
from brimline.grid import Grid

SOUTH = 6
SIZE, MIDDLE = 161, 80
GRID = Grid(SIZE, SIZE, 1.0, 1000.0, 2000.0)
PLAIN = {"settlement_share": 0.0, "half_lengths_m": (70.0,), "wing_m": 0.0, "most": 1}


def ground(shape, fall):
    """A valley that runs south with an even fall; `shape` gives its section."""
    row, col = np.indices((SIZE, SIZE), dtype=np.float64)
    return (100 - fall * row + shape(np.abs(col - MIDDLE))).astype(np.float32)


def down_the_valley():
    """Directions down the flanks, then south along the floor, and what gathers there."""
    codes = np.full((SIZE, SIZE), SOUTH, dtype=np.uint8)
    codes[:, :MIDDLE], codes[:, MIDDLE + 1 :] = 0, 4
    codes[-1] = 8
    area = np.zeros((SIZE, SIZE))
    area[:, MIDDLE] = SIZE * np.arange(1, SIZE + 1)
    return codes, area


def found(dem, **changed):
    codes, area = down_the_valley()
    rules = BankRules(**{**PLAIN, "path_area_m2": 1.0, **changed})
    return pond_sites(dem, codes, area, GRID, rules)


@pytest.mark.parametrize(("fall", "side", "depth"), [(0.05, 0.25, 4.0), (0.04, 0.2, 3.0)])
def test_a_straight_v_valley_is_a_pyramid(fall, side, depth):
    """Capacity L T H / 6: FAO Irrigation and Drainage Paper 64 (value from memory), exact here."""
    dem = ground(lambda x: side * x, fall)
    (site,) = found(dem, depths_m=(depth,), over_m=0.0)
    across, back = 2 * depth / side, depth / fall
    assert site.best.storage_m3 == pytest.approx(across * back * depth / 6, rel=0.02)
    assert site.best.length_m == pytest.approx(across, rel=0.01)
    assert site.best.fill_m3 == pytest.approx(
        fill_m3(depth, across, top_m=3.0, batters=5.0), rel=0.01
    )
    assert site.best.height_m == pytest.approx(depth, abs=0.01)


def test_the_rule_for_fill_is_higher_than_the_exact_v():
    """0.216 H L (2 C + H S) is 2 673 m³ where the exact V is 2 312.5 m³ (FAO 64, from memory)."""
    assert fill_m3(5.0, 100.0, top_m=3.0, batters=3.75) == pytest.approx(2312.5)
    assert 0.216 * 5 * 100 * (2 * 3 + 5 * 3.75) == pytest.approx(2673, abs=0.5)


def test_a_parabolic_valley():
    """Sections of 4/3 d^1.5 / sqrt(a) add up to 8/15 D^2.5 / (sqrt(a) fall)."""
    bend, fall, depth = 0.01, 0.04, 3.0
    (site,) = found(ground(lambda x: bend * x**2, fall), depths_m=(depth,), over_m=0.0)
    assert site.best.storage_m3 == pytest.approx(
        8 / 15 * depth**2.5 / (np.sqrt(bend) * fall), rel=0.02
    )


def test_a_flat_floor_with_steep_sides_takes_a_bank_from_side_to_side():
    floor, side, fall, depth = 15.0, 0.5, 0.04, 2.0
    dem = ground(lambda x: side * np.maximum(x - floor, 0), fall)
    (site,) = found(dem, depths_m=(depth,), over_m=0.0)
    level = 2 * floor * depth**2 / (2 * fall)  # a wedge over the floor, two pyramids beside it
    flanks = 2 * depth / side * depth / fall * depth / 6
    assert site.best.storage_m3 == pytest.approx(level + flanks, rel=0.03)


def test_a_bank_with_wings_on_an_even_slope_holds_a_wedge():
    """Without sides the bank turns up the slope; water stands as a wedge W D² / (2 s) in it."""
    slope, depth, half = 0.04, 2.0, 30.0
    row = np.indices((SIZE, SIZE))[0]
    dem = (100 - slope * row).astype(np.float32)
    codes = np.full(dem.shape, SOUTH, dtype=np.uint8)
    codes[-1] = 8
    area = np.cumsum(np.ones(dem.shape), axis=0)
    rules = BankRules(
        depths_m=(depth,), over_m=0.0, settlement_share=0.0, half_lengths_m=(half,), wing_m=70.0,
        path_area_m2=90.0, most=1, ways=16,
    )  # fmt: skip
    (site,) = pond_sites(dem, codes, area, GRID, rules)
    assert site.best.storage_m3 == pytest.approx(2 * half * depth**2 / (2 * slope), rel=0.04)
    main = fill_m3(depth, 2 * half, top_m=3.0, batters=5.0, straight_valley=False)
    wings = 2 * fill_m3(depth, depth / slope, top_m=3.0, batters=5.0)
    assert site.best.fill_m3 == pytest.approx(main + wings, rel=0.03)
    assert site.catchment_m2 == pytest.approx((2 * half + 1) * (site.cell[0] + 1), rel=0.03)


def test_a_cone_hollow_behind_a_bank_counts_with_its_own_volume():
    """Water over a cone is pi r² D / 3; the bank closes the notch that drains it."""
    row, col = np.indices((SIZE, SIZE), dtype=np.float64)
    cone = 90 + 0.1 * np.hypot(row - MIDDLE, col - MIDDLE)
    dem = np.where((row > MIDDLE) & (np.abs(col - MIDDLE) <= 1), 90 - 0.001 * row, cone)
    (site,) = found(dem.astype(np.float32), depths_m=(3.0,), over_m=0.0, path_area_m2=15_000.0)
    notch = 1.2 * 3 * 30  # at most, on the way of the notch through the cone
    assert site.best.storage_m3 == pytest.approx(np.pi * 30**2 * 3 / 3, abs=3 * notch)
    assert site.best.storage_m3 < np.pi * 30**2 * 3 / 3 + 3 * notch


def everything(dem, up_to_deg, depths, over, rules):
    """Best water over earth of all banks across the floor, by labelling floods with scipy."""
    best = 0.0
    level_of = dem.astype(np.float64)
    for row, turn, depth in itertools.product(
        range(30, SIZE, 2), np.deg2rad(np.arange(-up_to_deg, up_to_deg + 1, 11.25)), depths
    ):
        level = level_of[row, MIDDLE] + depth
        way = np.array([np.sin(turn), np.cos(turn)])
        t = np.arange(-75, 75.01, 0.25)
        places = np.array([row, MIDDLE])[:, None] + way[:, None] * t
        on = ndimage.map_coordinates(level_of, places, order=1, mode="constant", cval=np.nan)
        high = level + over - on
        left = np.flatnonzero(~(high[t <= 0] > 0))
        right = np.flatnonzero(~(high[t >= 0] > 0))
        if not left.size or not right.size:
            continue
        inside = slice(left[-1] + 1, int((t < 0).sum()) + right[0])
        if np.isnan(high[left[-1]]) or np.isnan(high[int((t < 0).sum()) + right[0]]):
            continue
        h = high[inside]
        fill = (rules.top_m * h + rules.batters * h * h / 2).sum() * 0.25
        bank = np.zeros(dem.shape, dtype=bool)
        bank[tuple(np.floor(places[:, inside] + 0.5).astype(int))] = True
        wet, _ = ndimage.label((level_of < level) & ~bank)
        seed = row - 1 if not bank[row - 1, MIDDLE] else row - 2
        if not wet[seed, MIDDLE]:
            continue
        pool = wet == wet[seed, MIDDLE]
        if pool[[0, -1]].any() or pool[:, [0, -1]].any():
            continue
        held = (level - level_of)[pool].sum() + 0.5 * np.maximum(level - level_of[bank], 0).sum()
        best = max(best, held / fill)
    return best


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_search_is_as_good_as_trying_everything(seed):
    rng = np.random.default_rng(seed)
    rough = ndimage.gaussian_filter(rng.normal(size=(SIZE, SIZE)), 9)
    dem = ground(lambda x: 0.12 * x, 0.05) + (1.5 * rough / rough.std() * 0.4).astype(np.float32)
    depths = (1.0, 2.0)
    rules = BankRules(**{**PLAIN, "path_area_m2": 1.0, "depths_m": depths})
    (site,) = found(dem.astype(np.float32), depths_m=depths)
    truth = everything(dem, 67.5, depths, rules.over_m, rules)
    assert site.pays >= 0.93 * truth


def test_places_keep_clear_of_each_other_and_of_closed_ground():
    dem = ground(lambda x: 0.2 * x, 0.05)
    codes, area = down_the_valley()
    closed = np.ones(dem.shape, dtype=bool)
    closed[100:] = False
    rules = BankRules(path_area_m2=1.0, most=5, least_m3=20.0)
    sites = pond_sites(dem, codes, area, GRID, rules, allowed=closed)
    assert len(sites) > 1
    wet = np.zeros(dem.shape, dtype=int)
    for site in sites:
        assert site.wet[0].max() < 100
        wet[site.wet[0], site.wet[1]] += 1
    assert wet.max() == 1
    assert [site.pays for site in sites] == sorted((site.pays for site in sites), reverse=True)


def test_little_rain_makes_small_ponds_pay():
    dem = ground(lambda x: 0.2 * x, 0.05)
    codes, area = down_the_valley()
    rules = BankRules(path_area_m2=1.0, most=1, least_m3=20.0)
    (wet,) = pond_sites(dem, codes, area, GRID, rules, yearly_mm=1e5)
    (dry,) = pond_sites(dem, codes, area, GRID, rules, yearly_mm=2.0)
    assert dry.best.storage_m3 < wet.best.storage_m3


def test_years_that_fill():
    assert fills_pct(100.0, 1000.0, np.array([50.0, 100.0, 150.0, 250.0])) == 75.0


def test_what_lies_around():
    dem = ground(lambda x: 0.2 * x, 0.05)
    codes, area = down_the_valley()
    (site,) = found(dem, depths_m=(2.0,), over_m=0.5)
    house = shapely.Point(GRID.xy(site.cell[0] + 30, MIDDLE + 10)).buffer(3)
    free = np.ones(dem.shape, dtype=bool)
    near = Neighbourhood(dem, codes, area, free, GRID, 1.0, [house])
    around = near.of(site)
    if site.cell[0] < SIZE - 40:
        assert 5 < around.building_m < 35
    lower = dem + 0.005 * np.hypot(*(np.indices(dem.shape) - np.array(site.cell)[:, None, None]))
    assert around.commands_m2 == (lower < dem[site.cell]).sum()


def test_a_place_becomes_a_dam_that_holds_the_same():
    dem = ground(lambda x: 0.1 * x, 0.03)
    (site,) = found(dem, depths_m=(2.0,), over_m=0.5)
    rows, cols = site.wet
    x, y = GRID.xy(rows, cols)
    water = shapely.union_all(shapely.box(x - 0.5, y - 0.5, x + 0.5, y + 0.5))
    best = site.best
    bare = {"top_m": 0.0, "upstream_side": 0.0, "downstream_side": 0.0}
    row = dam_row("p1", site.bank, water, best.level_m, best.crest_m, bare, "left")
    line = shapely.from_wkt(row.shape_wkt)
    pool = flooded(dem, GRID, line, best.level_m, best.crest_m, 0.0, (0.0, 0.0))
    assert row.added
    held = np.maximum(best.level_m - pool.bed_m, 0.0).sum()
    assert held == pytest.approx(best.storage_m3, rel=0.05)
