"""What a garden is made of, against closed forms and hand-worked examples."""

import math

import numpy as np
import pytest
import shapely

from brimline.elements import FILLS, Basin, FillLayer, Pipe, Pit, Pond, RaisedBed, Soak, Tank
from brimline.elements.building import (
    Trench,
    bed_stakes,
    fitting_quantities,
    pit_of,
    pit_stakes,
    usual_width_m,
)
from brimline.elements.downpipe import carries_m3_s, diameter_for_mm

SQUARE = shapely.box(0, 0, 10, 10)
INCH_M, FOOT_M = 0.0254, 0.3048


def amounts(element):
    return {(one.item, one.note): one.amount for one in fitting_quantities(element)}


def flat(level_m):
    return lambda x, y: level_m + 0 * np.add(x, y)


# --- fill ---------------------------------------------------------------------------------------


def test_a_filled_basin_holds_the_pores_of_its_fill():
    # 100 m² with upright sides, 0.4 m of gravel: 100 x 0.4 x 0.35 = 14 m³, worked by hand
    fill = (FillLayer(0.4, FILLS["gravel"].void),)
    basin = Basin("B", SQUARE, 10.0, Soak(10.0), depth_m=0.4, side=0.0, fill=fill)
    assert basin.element().storage_m3 == pytest.approx(14.0)
    assert basin.fill_m3 == pytest.approx(40.0)


def test_pores_lie_within_what_was_measured():
    # gravel: porosity 0.25 to 0.40 (Freeze & Cherry 1979, table 2.4; value from memory)
    assert 0.25 <= FILLS["gravel"].void <= 0.40
    # woodchips when saturated: 0.66 to 0.78 (Christianson et al. 2010, Appl. Eng. Agric. 26,
    # 849-854); what drains once they have settled must be less
    assert FILLS["woodchips"].void < 0.66


def test_chips_are_placed_higher_by_what_they_settle():
    # they lose a quarter of their depth: 0.30 m settled are 0.40 m placed, 100 m² x 0.40 = 40 m³
    fill = (FillLayer(0.3, 0.4, settles=0.25),)
    element = Basin("B", SQUARE, 10.0, Soak(10.0), 0.5, 0.0, fill).element()
    assert amounts(element) == {("gravel", "infiltration basin"): pytest.approx(40.0)}
    # pores of 0.3 m of chips, and 0.2 m of open water above: 100 x (0.3 x 0.4 + 0.2) = 32 m³
    assert element.storage_m3 == pytest.approx(32.0)
    assert "0.40 m deep" in next(one.text for one in element.cautions if one.flag == "settles")


def test_fill_of_a_basin_with_sloping_sides_is_the_frustum_it_fills():
    # floor 10 - 2 x 2 x 0.4 = 8.4 m wide, at 0.2 m of fill 9.2 m: frustum on squares
    basin = Basin("B", SQUARE, 10.0, Soak(10.0), 0.4, 2.0, (FillLayer(0.2, 0.35),))
    frustum = 0.2 / 3 * (8.4**2 + 8.4 * 9.2 + 9.2**2)
    assert basin.fill_m3 == pytest.approx(frustum, rel=1e-3)


# --- buried tanks and pipes ----------------------------------------------------------------------


def tank(**pit):
    return Tank(
        "T", 8.5, 4.0, 1.0, pit=Pit(**{"depth_m": 1.9, "bedding_m": 0.1, "side": 1.0} | pit)
    )


def test_the_pit_of_a_tank_is_a_frustum():
    # plan 4 m² -> 2 m square, 0.3 m of room each side: bottom 2.6 m; sides 1:1 over 1.9 m: top 6.4
    dig = pit_of(tank())
    assert dig.dug_m3 == pytest.approx(1.9 / 3 * (2.6**2 + 2.6 * 6.4 + 6.4**2))
    assert dig.bedding_m3 == pytest.approx(0.1 / 3 * (2.6**2 + 2.6 * 2.8 + 2.8**2))
    assert dig.buried_m3 == pytest.approx(4.0 * 1.3)  # to the rim, 0.3 m over the overflow
    upright = pit_of(tank(side=0.0))
    assert upright.dug_m3 == pytest.approx(2.6**2 * 1.9)


def test_what_is_dug_goes_back_or_away():
    found = amounts(tank().element())
    dug = found["trench", "pit"]
    assert found["backfill", "pit"] + found["trench_spoil", "pit"] == pytest.approx(dug)
    assert found["trench_spoil", "pit"] == pytest.approx(found["bedding", "pit"] + 5.2)
    assert not fitting_quantities(Tank("T", 8.5, 4.0).element())


def test_a_deep_pit_and_a_light_tank_are_told():
    told = {one.flag: one.text for one in tank().element().cautions}
    assert "1.90 m deep" in told["deep-dig"]
    # 1.8 m under ground less 1.3 m of tank: 0.5 m of cover at 1.6 t/m³ float at 0.8 m of water
    assert "0.80 m over its floor" in told["floats"]
    assert {one.flag for one in tank(depth_m=1.1).element().cautions} == {"floats"}
    with pytest.raises(ValueError, match="below the ground"):
        tank(depth_m=0.1)


def test_the_corners_of_a_pit_are_staked_at_its_bottom():
    stakes = pit_stakes(tank(), shapely.Point(50, 50), flat(10.3))
    assert len(stakes) == 5
    assert {round(one.design_m, 6) for one in stakes} == {8.4}
    assert {round(one.cut_m, 6) for one in stakes} == {1.9}
    corners = {(round(one.x, 3), round(one.y, 3)) for one in stakes}
    assert corners == {(48.7, 48.7), (48.7, 51.3), (51.3, 48.7), (51.3, 51.3), (50.0, 50.0)}


def trench(fall=0.0, width=0.5, cover=0.3, crest=9.4):
    line = shapely.LineString([(0, 0), (20, 0)])
    pipe = Pipe(crest, crest - fall * 20, 0.1, 20.0)
    return Trench("A", "P", line, pipe, 0.1, width, cover)


def test_a_trench_on_level_ground_is_a_box_or_a_wedge():
    # invert 0.6 m down, 5 mm of wall and 0.1 m of bed: 0.705 m x 0.5 m x 20 m
    assert trench().measured(flat(10.0)).dug_m3 == pytest.approx(0.705 * 0.5 * 20)
    # falling 1 in 100: 0.705 m at one end, 0.905 m at the other
    wedge = trench(fall=0.01).measured(flat(10.0))
    assert wedge.dug_m3 == pytest.approx((0.705 + 0.905) / 2 * 0.5 * 20)
    assert wedge.bedding_m3 == pytest.approx(0.1 * 0.5 * 20)
    assert wedge.buried_m3 == pytest.approx(math.pi / 4 * 0.11**2 * 20)
    assert wedge.deepest_m == pytest.approx(0.905, abs=1e-3)


def test_a_pipe_above_the_ground_needs_no_trench_and_a_shallow_one_is_told():
    hung = trench(crest=10.2)
    assert hung.measured(flat(10.0)).dug_m3 == 0.0
    assert hung.measured(flat(10.0)).above_m == pytest.approx(20.0)
    assert hung.stakes("trench", 5.0, 15.0, flat(10.0)) == []
    assert len(trench().stakes("trench", 5.0, 15.0, flat(10.0))) == 5
    assert trench().measured(flat(10.0)).above_m == 0.0
    dig = trench(crest=9.7).measured(flat(10.0))  # 0.195 m over it
    assert dig.shallow_m == pytest.approx(20.0)
    assert trench().measured(flat(10.0)).shallow_m == 0.0


def test_a_trench_is_as_wide_as_the_practice_of_plastic_pipes_has_it():
    # ASTM D2321 as a maker's guide gives it: OD + 16 in, or 1.25 OD + 12 in, whichever is more
    assert usual_width_m(4 * INCH_M) == pytest.approx(20 * INCH_M, rel=2e-3)
    assert usual_width_m(24 * INCH_M) == pytest.approx(42 * INCH_M, rel=2e-3)


def test_the_bottom_of_a_trench_is_staked():
    stakes = trench(fall=0.01).stakes("trench", 5.0, 15.0, flat(10.0))
    assert [round(one.cut_m, 3) for one in stakes] == [0.705, 0.755, 0.805, 0.855, 0.905]
    assert stakes[0].stake_id == "A-T01"


# --- ponds ---------------------------------------------------------------------------------------


def pond(**more):
    return Pond(
        "P", SQUARE, 10.0, **{"depth_m": 1.0, "side": 2.0, "crest_over_spill_m": 0.0} | more
    )


def test_a_lining_covers_floor_and_slopes():
    # floor 6 x 6; the sides cover 100 - 36 m² in plan at 1 in 2: x √1.25
    assert pond().lined_m2 == pytest.approx(36 + 64 * math.sqrt(1.25))
    # 0.2 m higher the crest is 10.8 m wide
    raised = pond(crest_over_spill_m=0.2)
    assert raised.lined_m2 == pytest.approx(36 + (10.8**2 - 36) * math.sqrt(1.25))
    # upright: floor and four walls
    assert pond(side=0.0).lined_m2 == pytest.approx(100 + 40)


def test_a_shelf_is_planted_and_lined_along_its_own_slope():
    # at 0.3 m below: 8.8 m wide; a metre of shelf at 1 in 10: 6.8 m at 0.4 m; then 0.6 m of side
    shelved = pond(shelf_width_m=1.0, shelf_depth_m=0.3)
    assert shelved.shelf_m2 == pytest.approx(8.8**2 - 6.8**2)
    floor = 6.8 - 4 * 0.6
    sides = (100 - 8.8**2 + 6.8**2 - floor**2) * math.sqrt(1.25)
    assert shelved.lined_m2 == pytest.approx(floor**2 + sides + (8.8**2 - 6.8**2) * math.sqrt(1.01))
    assert pond().shelf_m2 == 0.0


def test_a_sheet_is_billed_with_its_anchor_and_laps():
    found = amounts(pond(lining="sheet", sheet_m=6.0).element())
    assert found["liner", "floor and sides"] == pytest.approx(36 + 64 * math.sqrt(1.25))
    # 12 in down and 12 in across, all round (NRCS Arizona, specification 521A, 2008)
    assert found["liner", "anchor"] == pytest.approx(40 * 2 * FOOT_M, rel=0.02)
    # across: 10 m, both slopes longer by √(1 + 4) - 2 each, both anchors: 11.67 m, 1 seam
    girth = 10 + 2 * (math.sqrt(5) - 2 + 0.6)
    assert found["liner", "laps"] == pytest.approx(0.15 * girth)
    assert ("liner", "laps") not in amounts(pond(lining="sheet", sheet_m=20.0).element())
    clay = amounts(pond(lining="clay").element())
    assert clay == {("clay", ""): pytest.approx(0.3 * (36 + 64 * math.sqrt(1.25)))}


# --- raised beds ---------------------------------------------------------------------------------


def test_the_reservoir_of_a_bed_holds_the_pores_of_its_gravel():
    # 1.2 m x 2.4 m x 0.25 m x 0.40 = 288 l, worked by hand
    bed = RaisedBed("B", shapely.box(0, 0, 2.4, 1.2), 10.0, 0.25, 0.3, 0.5, 0.40, 0.05)
    element = bed.element()
    assert element.storage_m3 == pytest.approx(0.288)
    assert element.storage_m3 == pytest.approx(bed.volume_m3)
    found = amounts(element)
    assert found["gravel", "reservoir of a bed"] == pytest.approx(0.72)
    assert found["bed_soil", ""] == pytest.approx(0.864)
    assert found["bed_wall", ""] == pytest.approx(7.2 * 0.5)
    assert found["liner", "bed"] == pytest.approx(2.88 + 7.2 * 0.30)
    with pytest.raises(ValueError, match="reservoir"):
        RaisedBed("B", SQUARE, 10.0, 0.0, 0.3, 0.5, 0.4, 0.05)


def test_the_corners_of_a_bed_are_staked_at_its_floor():
    bed = RaisedBed("B", shapely.box(0, 0, 2.4, 1.2), 10.05, 0.25, 0.3, 0.5, 0.40, 0.05)
    stakes = bed_stakes(bed, flat(10.0))
    assert {(one.x, one.y) for one in stakes} == {(0, 0), (2.4, 0), (2.4, 1.2), (0, 1.2)}
    assert {round(one.cut_m, 6) for one in stakes} == {-0.05}


# --- downpipes -----------------------------------------------------------------------------------


def test_an_upright_pipe_a_third_full_carries_what_the_standard_tabulates():
    # EN 12056-3:2000, table 8, filling degree 0.33: 100 mm 10.7 l/s (value from memory)
    assert 1000 * carries_m3_s(100.0, "pipe", 100.0) == pytest.approx(10.7, rel=0.01)


def test_flat_pipes_and_troughs_follow_manning():
    # full 100 mm at 1 in 100, n 0.011: A 7.854e-3 m², R 0.025 m -> 0.777 m/s -> 6.10 l/s
    assert 1000 * carries_m3_s(100.0, "pipe", 1.0) == pytest.approx(6.10, rel=0.01)
    # half round, as wide: half the area, the same R, n 0.013
    assert 1000 * carries_m3_s(100.0, "trough", 1.0) == pytest.approx(6.10 / 2 * 11 / 13, rel=0.01)


def test_the_smallest_size_that_carries_a_peak_is_taken():
    assert diameter_for_mm(0.006, "pipe", 1.0) == 100.0
    assert diameter_for_mm(0.0062, "pipe", 1.0) == 125.0
    with pytest.raises(ValueError, match="fall"):
        carries_m3_s(100.0, "pipe", 0.0)
