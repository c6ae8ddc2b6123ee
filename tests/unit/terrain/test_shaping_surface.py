"""How shapes meet, how far they reach, and what comes back to the run's grid."""

import numpy as np
import pytest
import shapely

from brimline.errors import GridError
from brimline.grid import Grid
from brimline.terrain.earthwork import earth_by_label
from brimline.terrain.shaping import Bank, Bowl, Channel, LevelAlong, Pad, design, notch
from brimline.terrain.shaping.refine import finer_ground

FLAT = LevelAlong.flat
GRID = Grid(40, 60, 1.0, 0.0, 40.0)
EAST = shapely.LineString([(10, 20), (50, 20)])
NORTH = shapely.LineString([(30, 5), (30, 35)])


def plane(slope=0.0):
    """Ground that rises northwards, at level 0 on the line y = 20."""
    _, y = GRID.xy(*np.indices(GRID.shape))
    return ((y - 20) * slope).astype(np.float32)


def levels(shapes, points, *, slope=0.0, built=False):
    x, y = (np.array(values, dtype=float) for values in zip(*points, strict=True))
    return design(plane(slope), GRID, shapes).at(x, y, (y - 20) * slope, built=built)


def swale(element_id="s", level=0.0):
    """Ditch to the left of the line, mound to its right."""
    return [
        Channel(element_id, EAST, FLAT(level - 0.5), offset_m=1.3, bottom_m=0.6),
        Bank(element_id, EAST, FLAT(level + 0.4), offset_m=-1.0, top_m=0.4, settlement=0.1),
    ]


def test_a_swale_on_a_slope_has_lip_ditch_and_mound_in_their_places():
    found = levels(swale(), [(30, 20.0), (30, 20.5), (30, 21.3), (30, 19.5), (30, 19.0)], slope=0.1)
    np.testing.assert_allclose(found.level_m, [0.0, -0.25, -0.5, 0.25, 0.4], atol=1e-9)
    assert found.heaped_by.tolist() == [0, 0, 0, 1, 1]
    assert found.dug_by.tolist() == [0, 1, 1, 0, 0]


def test_a_mound_stands_though_its_own_ditchs_batter_passes_below_it():
    # A flat batter of the ditch, prolonged over the lip, passes below the steep mound.
    shapes = [
        Channel("s", EAST, FLAT(-0.5), offset_m=3.0, left=6.0, right=6.0),
        Bank("s", EAST, FLAT(0.6), offset_m=-1.0, top_m=0.4, left=1.0, right=2.0),
    ]
    assert levels(shapes, [(30, 19.0)]).level_m[0] == pytest.approx(0.6)


def test_a_ditch_goes_through_another_elements_mound():
    other = Channel("drain", NORTH, FLAT(-0.3), bottom_m=1.0)
    for shapes in ([*swale(), other], [other, *swale()]):
        found = levels(shapes, [(30, 19.0), (30, 18.9), (35, 19.0)])
        np.testing.assert_allclose(found.level_m, [-0.3, -0.3, 0.4], atol=1e-9)


def test_a_sill_goes_through_its_own_mound_down_to_its_level():
    sill = notch("s", EAST, 20.0, 0.1, 2.0, left_m=0.5, right_m=4.0)
    points = [(30, 19.0), (30.9, 19.0), (31.2, 19.0), (31.8, 19.0)]
    found = levels([*swale(), sill], points, slope=0.1)
    np.testing.assert_allclose(found.level_m, [0.1, 0.1, 0.2, 0.4], atol=1e-9)


def test_what_is_built_on_a_pad_stands_on_the_pad():
    pad = Pad("yard", shapely.box(5, 5, 55, 35), -2.0)
    shapes = [*swale(level=-2.0), pad]
    found = levels(shapes, [(30, 19.0), (30, 21.3), (30, 30.0)])
    np.testing.assert_allclose(found.level_m, [-1.6, -2.5, -2.0], atol=1e-9)
    assert found.heaped_by.tolist() == [0, 0, 0]
    assert levels(shapes, [(30, 19.0)], built=True).level_m[0] == pytest.approx(-1.56)


def test_the_water_face_of_a_pond_is_cut_clean_however_high_its_bank_is_built():
    bowl = Bowl("p", shapely.Point(30, 20).buffer(8), 0.0, 1.0, 2.0, crest_m=0.5, settlement=0.2)
    dry = levels([bowl], [(30, 11.8), (30, 10.9)])
    new = levels([bowl], [(30, 11.8), (30, 10.9)], built=True)
    assert new.level_m[0] == pytest.approx(dry.level_m[0], abs=1e-3)
    assert new.level_m[1] == pytest.approx(0.5 * 1.1, abs=0.01)  # the face goes on at 2 to 1


def test_ground_beyond_the_daylight_line_is_left_alone():
    # A batter of 2 meets the ground 1 m out; a hill farther on pokes through its prolongation.
    ground = plane()
    ground[:8, :] = 30.0
    done = design(ground, GRID, [Channel("d", EAST, FLAT(-0.5), bottom_m=1.0)]).surface()
    assert (done.change_m[:8] == 0).all()
    assert done.change_m.min() < -0.4


def test_a_batter_that_meets_no_ground_is_told():
    steep = Bank("b", EAST, FLAT(1.0), left=2.0, right=2.0)
    assert design(plane(0.2), GRID, [steep], limit_m=15.0).open_ended == ()
    assert design(plane(0.6), GRID, [steep], limit_m=15.0).open_ended == ("b",)


@pytest.mark.parametrize("factor", [1, 3, 4])
def test_cells_hold_the_mean_change_and_untouched_ground_stays_bit_for_bit(factor):
    ground = plane(0.07)
    ground[3, 4] = ground[20, 30] = np.nan
    done = design(ground, GRID, swale()).surface(factor=factor)
    fine = sum(float(np.nansum(p.design_m - p.ground_m)) for p in done.pieces) / factor**2
    assert float(np.nansum(done.change_m)) == pytest.approx(fine, rel=1e-9)
    np.testing.assert_array_equal(np.isnan(done.design_m), np.isnan(ground))
    far = np.abs(np.indices(GRID.shape)[0] - 20) > 8
    np.testing.assert_array_equal(done.design_m[far], ground[far])
    np.testing.assert_allclose(done.design_m, ground + done.change_m, atol=1e-6)


def test_each_element_has_its_own_cut_and_fill():
    shapes = [*swale(), Pad("yard", shapely.box(20, 30, 30, 36), 1.0)]
    done = design(plane(), GRID, shapes).surface()
    assert done.elements == ("s", "yard")
    tally = [
        earth_by_label(p.ground_m, p.design_m, p.grid.cell_area_m2, p.dug_by, p.heaped_by, 2)
        for p in done.pieces
    ]
    ditch, yard = (sum(part[1:], part[0]) for part in zip(*tally, strict=True))
    assert ditch.cut_m3 == pytest.approx(40 * 0.8, rel=0.06)  # (0.6 + 2 × 0.5) 0.5 a metre
    assert yard.cut_m3 == 0
    assert yard.fill_m3 == pytest.approx(60 + 32 + np.pi * 4 / 3, rel=0.01)
    assert set(np.unique(done.heaped_by)) == {0, 1, 2}
    assert set(np.unique(done.dug_by)) == {0, 1}


def test_a_finer_ground_is_bilinear_and_keeps_nodata():
    dem = np.array([[0, 1, 2], [2, 3, 4], [4, 5, np.nan]], dtype=np.float32)
    fine = finer_ground(dem, 0, 0, 3, 3, 2)
    np.testing.assert_allclose(fine[1:3, 1:3], [[0.75, 1.25], [1.75, 2.25]])
    np.testing.assert_allclose(fine[0, 0], 0)  # past the outermost centres
    assert np.isnan(fine[4:, 4:]).all()
    np.testing.assert_allclose(fine[3, 3], 3)  # beside nodata: the cell's own level
    np.testing.assert_array_equal(fine[2:4, 2:4], finer_ground(dem, 1, 1, 1, 1, 2))


def test_unusable_requests_are_refused():
    with pytest.raises(GridError, match="does not lie on the grid"):
        design(plane()[:5], GRID, [])
    with pytest.raises(GridError, match="factor must be 1 or more"):
        design(plane(), GRID, []).surface(factor=0)
