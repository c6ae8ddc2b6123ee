"""The loops behind swale rows on tiny grids, against plain second ways of doing the same."""

import contourpy
import numpy as np
import pytest
import shapely
from scipy import ndimage

from brimline.drainage.flow import flow_directions
from brimline.grid import D_COL, D_ROW, Grid
from brimline.lines.rows import _kernels as rows
from brimline.lines.rows.net import _kernels as net
from brimline.lines.rows.net import net_of
from brimline.lines.strips import _kernels as strips
from brimline.lines.strips import cells_of_lines, sheds_to, strip_areas_m2, strips_of
from brimline.lines.tracing import traced
from brimline.terrain.slope import slope_pct


def bumps(shape=(14, 17), seed=3):
    rng = np.random.default_rng(seed)
    return ndimage.gaussian_filter(rng.normal(0, 10, shape), 1.5).astype(np.float32)


@pytest.mark.interpreted
def test_pieces_are_the_connected_free_cells_of_each_band():
    band = np.random.default_rng(5).integers(0, 3, (11, 13)).astype(np.int16)
    free = np.random.default_rng(6).random((11, 13)) > 0.2
    ours, count = rows.pieces(band, free)
    expected = 0
    for number in range(3):
        labels, found = ndimage.label((band == number) & free, structure=np.ones((3, 3)))
        expected += found
        for label in range(1, found + 1):
            inside = ours[labels == label]
            assert len(set(inside.tolist())) == 1
            assert (ours == inside[0]).sum() == (labels == label).sum()
    assert count == expected
    assert (ours[~free] == 0).all()


def laid_out(dem, blocked, drawn, band_m=0.7):
    """The net of a surface, each kept cell's number, and what else goes into it."""
    directions = flow_directions(dem)
    slope = slope_pct(dem, cell_m=1.0)
    closes = np.array([False, True, False])  # codes: free, closed, steep
    kind = net.kinds(dem, blocked, drawn, closes)
    band = rows.bands(dem, float(np.nanmax(dem)), band_m)
    piece, _ = rows.pieces(band, (kind & net.FREE) > 0)
    slot, start = net.slots(band, kind, int(band.max()) + 1)
    made = net_of(dem, slope, directions, kind, piece, slot.copy(), start, 1.0)
    return made, slot, kind, band, piece, directions, slope


def limits_of(shape, seed=6):
    rng = np.random.default_rng(seed)
    blocked = rng.choice([0, 1, 2], shape, p=[0.35, 0.05, 0.6]).astype(np.uint8)
    blocked[2:9, 4:13] = 2  # so wide that ways lead over cells that are not kept
    drawn = np.zeros(shape, dtype=np.bool_)
    drawn[6, 5:8] = True
    return blocked, drawn


def around(shape, row, col):
    return [
        (k, row + D_ROW[k], col + D_COL[k])
        for k in range(8)
        if 0 <= row + D_ROW[k] < shape[0] and 0 <= col + D_COL[k] < shape[1]
    ]


@pytest.mark.interpreted
def test_free_cells_and_those_beside_them_come_band_by_band_from_the_top():
    dem = bumps()
    dem[0, 0] = np.nan
    blocked, drawn = limits_of(dem.shape)
    made, slot, kind, band, piece, _, slope = laid_out(dem, blocked, drawn)
    free = (blocked == 0) & (drawn == 0) & ~np.isnan(dem)
    kept = ndimage.binary_dilation(free, np.ones((3, 3))) & ~np.isnan(dem)
    np.testing.assert_array_equal((kind & net.FREE) > 0, free)
    np.testing.assert_array_equal((kind & net.KEPT) > 0, kept)
    assert (~kept).sum() > 20
    cells = np.flatnonzero(kept)
    assert sorted(slot.ravel()[cells].tolist()) == list(range(len(made.node)))
    order = cells[np.argsort(slot.ravel()[cells])]
    for k in range(len(made.start) - 1):
        here = order[made.start[k] : made.start[k + 1]]
        assert (band.ravel()[here] == k).all()
        assert (np.diff(here) > 0).all()
    value = made.node.view(np.float32)
    np.testing.assert_array_equal(value[:, net.Z], dem.ravel()[order])
    np.testing.assert_allclose(value[:, net.STEEP], slope.ravel()[order] / 100.0, rtol=1e-6)
    np.testing.assert_array_equal(np.maximum(made.node[:, net.PIECE], 0), piece.ravel()[order])


@pytest.mark.interpreted
def test_water_over_cells_between_is_followed_to_the_cell_kept_next():
    dem = bumps()
    blocked, drawn = limits_of(dem.shape)
    made, slot, kind, _, _, directions, _ = laid_out(dem, blocked, drawn)
    between = np.zeros(len(made.node), dtype=int)
    donors = {i: set() for i in range(len(made.node))}
    followed = 0
    for r, c in np.ndindex(dem.shape):
        i, j = r, c
        while directions[i, j] < 8:
            if drawn[i, j] and not kind[i, j] & net.KEPT:
                break  # a drawn row holds back all
            k = directions[i, j]
            i, j = i + D_ROW[k], j + D_COL[k]
            if kind[i, j] & net.KEPT:
                if kind[r, c] & net.KEPT:
                    donors[slot[i, j]].add(int(slot[r, c]))
                else:
                    between[slot[i, j]] += 1
                    followed += 1
                break
    assert followed > 5
    piece = made.node[:, net.PIECE]
    np.testing.assert_array_equal(np.maximum(-piece, 0), between)
    for cell, expected in donors.items():
        found, donor = set(), int(made.node[cell, net.DONOR])
        while donor >= 0:
            found.add(donor)
            donor = int(made.node[donor, net.BESIDE])
        assert found == expected


@pytest.mark.interpreted
def test_ways_up_lead_to_the_cell_kept_next_or_say_how_they_end():
    dem = bumps()
    blocked, drawn = limits_of(dem.shape)
    made, slot, kind, _, _, directions, slope = laid_out(dem, blocked, drawn)
    far = made.node.view(np.float32)[:, net.FAR]
    over, ends = 0, set()
    for (r, c), mine in np.ndenumerate(kind):
        if not mine & net.KEPT or mine & net.CLOSED:
            continue
        cell, to, distance, end = slot[r, c], net.NOWHERE, 0.0, 0
        i, j = r, c
        while not drawn[r, c]:
            rise = {
                k: (dem[a, b] - dem[i, j]) / np.hypot(a - i, b - j)
                for k, a, b in around(dem.shape, i, j)
            }
            k = max(rise, key=rise.__getitem__)
            if rise[k] <= 0:
                break
            a, b = i + D_ROW[k], j + D_COL[k]
            if kind[a, b] & net.CLOSED:
                end = net.LOST
                break
            steep = (slope[a, b] + slope[i, j]) / 200.0
            distance += min((dem[a, b] - dem[i, j]) / steep, np.hypot(a - i, b - j))
            turn = abs(int(directions[a, b]) - (k ^ 4))
            other = directions[a, b] < 8 and min(turn, 8 - turn) >= 2
            end = net.ENDS if drawn[a, b] or other else 0
            i, j = a, b
            if kind[i, j] & net.KEPT:
                to = slot[i, j]
                break
            if end:
                break
        way = int(made.node[cell, net.WAY])
        if way < net.NOWHERE:
            over += 1
            assert made.over_rise_m[net.NOWHERE - 1 - way] == pytest.approx(
                dem[i, j] - dem[r, c], abs=1e-5
            )
            way = int(made.over_to[net.NOWHERE - 1 - way])
        assert way == to
        assert far[cell] == pytest.approx(distance, abs=1e-5)
        assert made.flag[cell] == (net.HOLDS if drawn[r, c] else end)
        ends.add(int(made.flag[cell]))
    assert over > 0
    assert ends >= {0, int(net.ENDS), int(net.LOST)}


@pytest.mark.interpreted
def test_tracing_a_whole_surface_as_one_piece_equals_the_library():
    dem = bumps()
    grid = Grid(*dem.shape, 2.0, north_m=100.0)
    for level in (-0.8, 0.1, 1.3):
        lines, owner = traced(
            dem, np.ones(dem.shape, dtype=np.int32), np.array([np.nan, level]), grid
        )
        theirs = contourpy.contour_generator(z=dem, name="serial").lines(level)
        peer = shapely.MultiLineString([np.column_stack(grid.xy(p[:, 1], p[:, 0])) for p in theirs])
        ours = shapely.MultiLineString(list(lines))
        assert (owner == 1).all()
        assert ours.length == pytest.approx(peer.length, abs=1e-6)
        assert shapely.hausdorff_distance(ours, peer) < 1e-6
        assert len(lines) == len(theirs)


@pytest.mark.interpreted
def test_a_saddle_is_traced_as_the_library_does():
    for middle in (0.0, 4.0):
        dem = np.array([[5, 0, 5], [0, middle, 0], [5, 0, 5]], dtype=np.float32)[:2, :2]
        grid = Grid(2, 2, 1.0, north_m=2.0)
        lines, _ = traced(
            dem, np.ones(dem.shape, dtype=np.int32), np.array([np.nan, 1.0 + middle / 4]), grid
        )
        theirs = contourpy.contour_generator(z=dem, name="serial").lines(1.0 + middle / 4)
        peer = shapely.MultiLineString([np.column_stack(grid.xy(p[:, 1], p[:, 0])) for p in theirs])
        assert shapely.hausdorff_distance(shapely.MultiLineString(list(lines)), peer) < 1e-9


@pytest.mark.interpreted
def test_each_piece_is_traced_at_its_own_level_and_nowhere_else():
    grid = Grid(8, 12, 1.0, north_m=8.0)
    dem = np.tile(np.arange(8, 0, -1, dtype=np.float32)[:, None], (1, 12))
    piece = np.zeros(dem.shape, dtype=np.int32)
    piece[2:6, :4], piece[2:6, 8:] = 1, 2
    lines, owner = traced(dem, piece, np.array([np.nan, 5.5, 3.5]), grid)
    found = dict(zip(owner.tolist(), lines.tolist(), strict=True))
    assert set(found) == {1, 2}
    x, y = found[1].coords.xy
    assert set(y) == {grid.xy(2.5, 0)[1].item()}  # 8 - row = 5.5
    assert max(x) == pytest.approx(3.5)  # the centre of its last cell
    assert set(found[2].coords.xy[1]) == {grid.xy(4.5, 0)[1].item()}


@pytest.mark.interpreted
def test_no_diagonal_step_slips_past_a_marked_line():
    grid = Grid(9, 9, 1.0, north_m=9.0)
    line = shapely.LineString([(-1.0, 0.2), (3.1, 4.0), (10.0, 8.7)])
    marked = cells_of_lines([line], grid)
    assert set(np.unique(marked)) == {0, 1}
    for (r, c), mark in np.ndenumerate(marked):  # every marked cell is touched, and all touched are
        west, north = grid.xy(r, c)
        cell = shapely.box(west - 0.5, north - 0.5, west + 0.5, north + 0.5)
        assert bool(mark) == (cell.intersection(line).length > 0)
    sides, count = ndimage.label(marked == 0, structure=np.ones((3, 3)))
    assert count == 2
    assert sides[0, 0] != sides[-1, -1]


@pytest.mark.interpreted
def test_water_is_counted_to_the_first_line_that_it_reaches():
    # A plane that falls south: two lines across it; each sheds what lies between.
    grid = Grid(12, 7, 2.0, north_m=24.0)
    dem = np.tile(np.arange(12, 0, -1, dtype=np.float32)[:, None], (1, 7))
    directions = flow_directions(dem)
    lines = [shapely.LineString([(-1, y), (15, y)]) for y in (grid.xy(3, 0)[1], grid.xy(9, 0)[1])]
    marked = cells_of_lines(lines, grid)
    sheds = sheds_to(marked, directions)
    assert (sheds[:4] == 1).all()
    assert (sheds[4:10] == 2).all()
    assert (sheds[10:] == 0).all()
    # rows 0 to 2 and half of row 3; the other half, rows 4 to 8 and half of row 9
    through_centres = np.array([12.0 - 3, 12.0 - 9])
    np.testing.assert_allclose(
        strip_areas_m2(marked, sheds, directions, through_centres, dem, grid),
        [3.5 * 7 * 4.0, 6.0 * 7 * 4.0],
    )
    # a quarter of a cell lower, a quarter of a cell more
    np.testing.assert_allclose(
        strip_areas_m2(marked, sheds, directions, through_centres - 0.25, dem, grid),
        [3.75 * 7 * 4.0, 6.0 * 7 * 4.0],
    )


@pytest.mark.interpreted
def test_first_reached_agrees_with_walking_every_cell():
    dem = bumps()
    directions = flow_directions(dem)
    marks = np.zeros(dem.shape, dtype=np.int32)
    marks[5, 2:9], marks[10, 6:15] = 1, 2
    found = strips.first_reached(directions, marks)
    for r, c in np.ndindex(dem.shape):
        i, j = r, c
        while marks[i, j] == 0 and directions[i, j] < 8:
            k = directions[i, j]
            i, j = i + D_ROW[k], j + D_COL[k]
        assert found[r, c] == marks[i, j]


@pytest.mark.interpreted
def test_the_way_up_a_plane_is_measured_over_the_ground_to_the_next_row_and_to_the_edge():
    grid = Grid(30, 5, 1.0, north_m=30.0)
    dem = np.tile((3.0 - 0.1 * np.arange(30, dtype=np.float32))[:, None], (1, 5))
    directions = flow_directions(dem)
    y = [float(grid.xy(row, 0)[1]) for row in (8.2, 20.7)]
    lines = [shapely.LineString([(0.6, v), (4.4, v)]) for v in y]
    marked = cells_of_lines(lines, grid)
    sheds = sheds_to(marked, directions)
    points = np.array([8.2, 20.7]), np.array([2.0, 2.0])
    far, _ = strips.ways_up_slope(
        dem,
        *points,
        np.array([1, 2], dtype=np.int32),
        np.array([np.nan, 3.0 - 0.82, 3.0 - 2.07]),
        marked,
        sheds,
        1.0,
    )
    ground = np.hypot(1.0, 0.1)
    assert far[1] == pytest.approx(12.5 * ground, abs=1e-3)
    assert far[0] == pytest.approx(8.0 * ground, abs=1e-3)  # whole cells up to the outermost centre


@pytest.mark.interpreted
def test_strips_after_lines_have_gone_equal_those_of_what_is_left_alone():
    dem = bumps((40, 44), seed=11) + 0.4 * np.arange(40, 0, -1, dtype=np.float32)[:, None]
    grid = Grid(*dem.shape, 1.0, north_m=40.0)
    directions = flow_directions(dem)
    lines = np.empty(5, dtype=object)
    lines[:] = [shapely.LineString([(3, y), (20, y + 1.5), (41, y)]) for y in (35, 28, 22, 15, 6)]
    level = np.array([float(np.median(dem[round(40 - line.centroid.y)])) for line in lines])
    left = np.array([True, False, True, True, True])
    found = strips_of(lines, level, dem, directions, grid, lambda _: left)
    assert found.stays.tolist() == left.tolist()
    alone = strips_of(lines[left], level[left], dem, directions, grid, lambda far_m: far_m > -1.0)
    every = strips_of(lines, level, dem, directions, grid, lambda far_m: far_m > -1.0)
    np.testing.assert_array_equal(found.area_m2[left], alone.area_m2)
    np.testing.assert_array_equal(found.spacing_m[left], alone.spacing_m)
    place = np.append(np.flatnonzero(left), -1)
    np.testing.assert_array_equal(found.to[left], place[alone.to])
    assert (
        alone.area_m2[1] > every.area_m2[2]
    )  # the next line down takes what the one above it held
