"""Where lines end, and why."""

import numpy as np
import pytest
import shapely

from brimline.errors import GridError
from brimline.grid import Grid
from brimline.lines.limits import Cut, Limits, Stop, cut, cut_at_folds, limits, near_lines

GRID = Grid(60, 100, 1.0, north_m=60.0)
FLAT = np.zeros(GRID.shape, dtype=np.float32)
LINE = shapely.LineString([(2.0, 30.2), (98.0, 30.2)])


def pieces(where, lines=(LINE,), **options):
    found = cut(list(lines), where, GRID, **options)
    return [
        (line, Stop(int(start)), Stop(int(end)))
        for line, start, end in zip(found.lines, found.start, found.end, strict=True)
    ]


def test_a_keep_out_is_cut_exactly_and_named():
    where = limits(FLAT, GRID, keep_out=[shapely.box(40.3, 20, 55.7, 40)])
    (left, *left_ends), (right, *right_ends) = pieces(where)
    assert left.coords[-1][0] == pytest.approx(40.3, abs=0.02)
    assert right.coords[0][0] == pytest.approx(55.7, abs=0.02)
    assert left_ends == [Stop.NONE, Stop.KEEP_OUT]
    assert right_ends == [Stop.KEEP_OUT, Stop.NONE]
    assert not left.intersects(shapely.box(40.3, 20, 55.7, 40))
    assert Stop.KEEP_OUT.flag == "at-keep-out"


def test_a_keep_out_narrower_than_a_cell_is_not_slipped_past():
    pipe = shapely.LineString([(47.4, 0), (47.6, 60)]).buffer(0.1)
    assert len(pieces(limits(FLAT, GRID, keep_out=[pipe]))) == 2


def test_the_boundary_is_kept_by_its_setback():
    where = limits(FLAT, GRID, boundary=shapely.box(10, 10, 90, 50), boundary_setback_m=5.0)
    ((line, start, end),) = pieces(where)
    assert line.bounds[0] == pytest.approx(15.0, abs=0.02)
    assert line.bounds[2] == pytest.approx(85.0, abs=0.02)
    assert (start, end) == (Stop.BOUNDARY, Stop.BOUNDARY)


def test_lines_stop_at_the_clearance_of_a_flow_path():
    area = np.ones(GRID.shape)
    area[:, 50] = 9000.0  # a path down column 50, cell centres at x = 50.5
    where = limits(FLAT, GRID, area_m2=area, path_area_m2=5000.0, path_clearance_m=3.0)
    (left, _, why), (right, why_too, _) = pieces(where)
    # cells whose centre lies within 3 m are closed: 47.0 to 54.0, told to a quarter of a cell
    assert left.coords[-1][0] == pytest.approx(47.0, abs=0.26)
    assert right.coords[0][0] == pytest.approx(54.0, abs=0.26)
    assert why is why_too is Stop.FLOW_PATH


def test_short_steep_gaps_are_bridged_and_long_ones_are_not():
    blocked = np.zeros(GRID.shape, dtype=np.uint8)
    blocked[:, 30:32] = Stop.STEEP
    blocked[:, 60:70] = Stop.STEEP
    found = pieces(Limits(blocked), join_m=4.0)
    assert len(found) == 2
    assert found[0][0].length == pytest.approx(58.0, abs=0.3)
    assert found[0][2] is found[1][1] is Stop.STEEP


def test_a_gap_at_a_flow_path_is_never_bridged():
    blocked = np.zeros(GRID.shape, dtype=np.uint8)
    blocked[:, 30] = Stop.FLOW_PATH
    assert len(pieces(Limits(blocked), join_m=50.0)) == 2


def test_a_cut_ring_is_joined_over_its_seam():
    ring = shapely.Point(50, 30).buffer(20).exterior
    ring = shapely.LineString(ring.coords)  # its seam lies at (70, 30)
    blocked = np.zeros(GRID.shape, dtype=np.uint8)
    blocked[:, 28:34] = Stop.STEEP
    ((line, start, end),) = pieces(Limits(blocked), lines=[ring])
    assert not line.is_ring
    assert (start, end) == (Stop.STEEP, Stop.STEEP)
    assert line.is_simple
    by_shape = limits(FLAT, GRID, keep_out=[shapely.box(28, 0, 34, 60)])
    ((line, start, end),) = pieces(by_shape, lines=[ring])
    assert (start, end) == (Stop.KEEP_OUT, Stop.KEEP_OUT)
    assert line.is_simple


def test_steepness_blocks_and_missing_data_ends_a_line():
    dem = np.zeros(GRID.shape, dtype=np.float32)
    dem[:, 50:] = 0.5 * np.arange(50)
    dem[:, 80:] = np.nan
    where = limits(dem, GRID, max_slope_pct=30.0)
    ((line, _, end),) = pieces(where)
    assert end is Stop.STEEP
    assert line.coords[-1][0] == pytest.approx(50.0, abs=1.3)
    ((_, _, end),) = pieces(limits(dem, GRID))
    assert end is Stop.DATA_EDGE


def test_ground_near_a_drawn_row_is_closed_to_others_without_a_flag():
    where = limits(FLAT, GRID)
    near = near_lines([shapely.LineString([(50, 0), (50, 60)])], GRID, 5.0)
    beside = where.beside(near)
    (left, _, why), _ = pieces(beside)
    assert why is Stop.ROW
    assert why.flag == ""
    assert left.length == pytest.approx(43.0, abs=0.3)
    assert not where.blocked.any()  # the argument was not written to


def folded(*corners):
    line = np.array([shapely.LineString(corners)], dtype=object)
    none = np.zeros(1, dtype=np.uint8)
    return cut_at_folds(Cut(line, np.arange(1), none, none), 1.0)


@pytest.mark.interpreted
def test_a_line_that_turns_back_is_cut_at_its_bend():
    # out 30 m, across 3 m and back: 180 degrees within 3 m, as a level line round a track's bank
    found = folded((0, 0), (30, 0), (30, 3), (0, 3))
    assert len(found.lines) == 2
    for line, length in zip(found.lines, (30, 30), strict=True):
        assert length - 5 < line.length <= length
        assert line.bounds[2] < 30
    assert found.start.tolist() == [Stop.NONE, Stop.FOLD]
    assert found.end.tolist() == [Stop.FOLD, Stop.NONE]
    assert Stop.FOLD.flag == "at-fold"


@pytest.mark.parametrize("radius_m", [6.0, 30.0])
def test_a_spur_that_a_machine_can_go_round_is_no_fold(radius_m):
    # 10 m along an arc of 6 m are 95 degrees, and less from the mean of one third to the other's
    angle = np.linspace(0, np.pi, 60)
    arc = radius_m * np.column_stack((np.sin(angle), 1 - np.cos(angle)))
    found = folded((-40, 0), *arc, (-40, 2 * radius_m))
    assert len(found.lines) == 1
    assert found.end.tolist() == [Stop.NONE]


def test_every_reason_is_in_the_flag_catalogue():
    from brimline.layers.flags import FLAGS

    codes = {flag.code for flag in FLAGS}
    assert {stop.flag for stop in Stop} - {""} <= codes


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"boundary_setback_m": -1.0}, "boundary_setback_m must not be negative"),
        ({"path_clearance_m": -1.0}, "path_clearance_m must not be negative"),
        ({"max_slope_pct": 0.0}, "max_slope_pct must be above 0"),
    ],
)
def test_bad_limits_are_refused(options, message):
    with pytest.raises(ValueError, match=message):
        limits(FLAT, GRID, **options)


def test_arrays_of_another_shape_are_refused():
    with pytest.raises(GridError, match="does not lie on the grid"):
        limits(np.zeros((3, 3), dtype=np.float32), GRID)
    with pytest.raises(GridError, match="do not lie on the grid"):
        cut([LINE], Limits(np.zeros((3, 3), dtype=np.uint8)), GRID)
