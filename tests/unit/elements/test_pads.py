"""Planes of pads, by hand on tilted ground, and where their stakes stand."""

import numpy as np
import pytest
import shapely

from brimline.elements.building import Plane, StakeSpacing, pad_of, set_out
from brimline.grid import Grid
from brimline.terrain.shaping import design

GRID = Grid(60, 80, 1.0, 0.0, 60.0)
OUTLINE = shapely.box(30, 20, 50, 40)


def ground(x, y):
    """Ground that rises at 3 % eastwards and 4 % northwards, 100 m at (40, 30)."""
    return 100 + 0.03 * (np.asarray(x) - 40) + 0.04 * (np.asarray(y) - 30)


def test_an_empty_row_is_level_at_the_mean_of_the_ground():
    pad, plane = pad_of("p", OUTLINE, ground)
    assert plane == pytest.approx((100.0, 0.0, 0.0), abs=1e-9)
    assert (pad.digs, pad.heaps, pad.cut, pad.fill) == (True, True, 2.0, 2.0)


def test_a_fall_alone_follows_the_ground():
    _, plane = pad_of("p", OUTLINE, ground, fall_pct=2.0)
    # the ground rises along (3, 4), a 3-4-5 triangle; the pad falls the other way at 2 %
    assert (plane.east, plane.north) == pytest.approx((0.012, 0.016))
    assert plane.fall_pct == pytest.approx(2.0)
    assert plane.falls_to_deg == pytest.approx(180 + np.degrees(np.arctan2(3, 4)))


@pytest.mark.parametrize(
    ("bearing", "east", "north"), [(0, 0, -0.02), (90, -0.02, 0), (180, 0, 0.02), (270, 0.02, 0)]
)
def test_bearings_are_those_of_a_compass(bearing, east, north):
    _, plane = pad_of("p", OUTLINE, ground, level_m=101.0, fall_pct=2.0, falls_to_deg=bearing)
    assert plane == pytest.approx((101.0, east, north), abs=1e-12)
    assert plane.falls_to_deg % 360 == pytest.approx(bearing, abs=1e-9)


def test_a_level_plane_falls_nowhere():
    assert (Plane(1.0, 0.0, 0.0).fall_pct, Plane(1.0, 0.0, 0.0).falls_to_deg) == (0, 0)


def test_only_digging_leaves_lower_ground():
    pad, _ = pad_of("p", OUTLINE, ground, only="dig", side=1.5)
    assert (pad.digs, pad.heaps, pad.cut) == (True, False, 1.5)


def test_unusable_rows_are_refused():
    with pytest.raises(ValueError, match="not known"):
        pad_of("p", OUTLINE, lambda x, _: np.full(np.shape(x), np.nan))
    with pytest.raises(ValueError, match="only must be"):
        pad_of("p", OUTLINE, ground, only="both")
    with pytest.raises(ValueError, match="must be 0 or more"):
        pad_of("p", OUTLINE, ground, side=-1.0)


def test_stakes_stand_round_a_pad_and_on_a_grid_inside_it():
    x, y = GRID.xy(*np.indices(GRID.shape))
    pad, plane = pad_of("p", OUTLINE, ground, fall_pct=2.0, falls_to_deg=90)
    ready = design(ground(x, y).astype(np.float32), GRID, [pad])
    stakes = set_out(ready, 1, ground, None, StakeSpacing(5.0))
    edge = [s for s in stakes if s.role == "edge" and not s.side]
    inner = [s for s in stakes if s.role == "plane"]
    assert len(edge) == 16
    assert len(inner) == 16
    for stake in edge + inner:
        assert stake.design_m == pytest.approx(plane.level_m - 0.02 * (stake.x - 40), abs=1e-3)
        # no water hangs on a pad: what building must keep decides
        assert stake.tolerance_m == {"edge": 0.10, "plane": 0.03}[stake.role]
    assert all(OUTLINE.contains(shapely.Point(s.x, s.y)) for s in inner)
    assert {s.side for s in stakes} == {"", "left"}
