"""Ponds from outlines, basins with fill, rain gardens."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from brimline.elements import Basin, FillLayer, Pond, Soak, rain_garden
from brimline.elements.basin import filled
from brimline.elements.pond import freeboard_for_m
from brimline.units import CUBIC_YARD_M3, FOOT_M

BOX = shapely.box(0, 0, 30, 20)


def prismoid_m3(top_m2, middle_m2, bottom_m2, depth_m):
    """The rule of the handbook: (A + 4B + C)/6 × D."""
    return (top_m2 + 4 * middle_m2 + bottom_m2) / 6 * depth_m


def test_handbook_example():
    # USDA Agriculture Handbook 590 (1997), excavated ponds: bottom 40 x 100 ft, depth 12 ft,
    # sides 2:1: A 13 024, B 7 936, C 4 000 ft², 97 536 ft³ = 3 612 yd³ (value from memory)
    outline = shapely.box(0, 0, 88 * FOOT_M, 148 * FOOT_M)
    pond = Pond("p", outline, 100.0, 12 * FOOT_M, 2.0)
    areas = [pond.area_at_m2(depth * FOOT_M) / FOOT_M**2 for depth in (0, 6, 12)]
    assert areas == pytest.approx([13_024, 7_936, 4_000])
    assert pond.volume_m3 / CUBIC_YARD_M3 == pytest.approx(3_612, abs=0.5)


def test_round_pond_is_a_cone_frustum():
    # πh(R² + Rr + r²)/3, on a circle of 1024 corners whose area is known
    circle = shapely.Point(0, 0).buffer(10.0, quad_segs=256)
    share = circle.area / (math.pi * 100)
    pond = Pond("p", circle, 0.0, 2.0, 3.0)
    expected = math.pi * 2 * (100 + 40 + 16) / 3 * share
    assert pond.volume_m3 == pytest.approx(expected, rel=1e-4)


def test_vertical_walls_hold_area_times_depth():
    assert Pond("p", BOX, 5.0, 1.5, 0.0).volume_m3 == pytest.approx(600 * 1.5)


def test_edge_shelf_by_hand():
    # 0.3 m down at 2:1, then a shelf of 1 m falling 0.1 m, then on at 2:1
    pond = Pond("p", BOX, 10.0, 1.4, 2.0, shelf_width_m=1.0, shelf_depth_m=0.3)
    assert pond.offset_m(0.3) == pytest.approx(0.6)
    assert pond.offset_m(0.4) == pytest.approx(1.6)
    assert pond.offset_m(1.4) == pytest.approx(3.6)
    parts = [(0.0, 0.0, 0.3, 0.6), (0.3, 0.6, 0.4, 1.6), (0.4, 1.6, 1.4, 3.6)]

    def area(offset):
        return (30 - 2 * offset) * (20 - 2 * offset)

    expected = sum(
        prismoid_m3(area(o0), area((o0 + o1) / 2), area(o1), d1 - d0) for d0, o0, d1, o1 in parts
    )
    assert pond.volume_m3 == pytest.approx(expected, rel=1e-9)


def test_a_pond_is_tabled_at_32_equal_steps_and_at_its_marks():
    pond = Pond("p", BOX, 10.0, 1.4, 2.0, shelf_width_m=1.0, shelf_depth_m=0.3)
    levels = pond.stages.level_m
    top_m = pond.crest_level_m + 0.25
    steps = np.linspace(8.6, top_m, 33)
    marks = [8.6, 9.6, 9.7, 10.0, pond.crest_level_m, top_m]  # the shelf lies between 9.6 and 9.7
    for level in (*steps, *marks):
        assert np.abs(levels - level).min() < 2e-6
    assert len(levels) <= len(steps) + len(marks)
    assert (np.diff(levels) > 1e-6).all()


def test_sides_that_meet_early_are_said():
    pond = Pond("p", BOX, 10.0, 5.0, 3.0)
    assert pond.dug_depth_m == pytest.approx(20 / 2 / 3, abs=1e-3)
    (caution,) = pond.element().cautions
    assert caution.flag == "shape-limit"
    assert "3.33 m, short of the asked 5.00 m" in caution.text


def test_embankment_height_from_ground_levels():
    pond = Pond("p", BOX, 10.0, 2.0, freeboard_m=0.3, ground_levels_m=(10.1, 9.4, 8.9))
    assert pond.crest_level_m == pytest.approx(10.6)
    assert pond.embankment_height_m == pytest.approx(1.7)
    element = pond.element()
    held = element.stages.storage_at(10.6) - element.stages.storage_at(8.9)
    assert element.held_above_ground_m3 == pytest.approx(held)
    assert Pond("p", BOX, 10.0, 2.0).embankment_height_m == 0.0


def test_freeboard_by_length():
    # USDA Agriculture Handbook 590: 1, 1.5 and 2 ft by length (value from memory)
    lengths = [600 * FOOT_M, 700 * FOOT_M, 1400 * FOOT_M]
    assert [freeboard_for_m(x) / FOOT_M for x in lengths] == pytest.approx([1.0, 1.5, 2.0])


def test_dry_season_lowers_the_level():
    pond = Pond("p", BOX, 10.0, 2.0)
    after = pond.level_after_m(100, evaporation_mm_per_day=5.0, seepage_mm_per_day=2.0)
    assert after == pytest.approx(10.0 - 0.7)
    empty = pond.level_after_m(1000, evaporation_mm_per_day=5.0, seepage_mm_per_day=2.0)
    assert empty == pytest.approx(8.0)


def test_ponds_hold_water_and_start_full():
    element = Pond("p", BOX, 10.0, 2.0).element()
    assert element.start_level_m == 10.0
    assert not element.empties


@pytest.mark.parametrize(
    "outline",
    [shapely.LineString([(0, 0), (1, 1)]), shapely.Polygon([(0, 0), (1, 1), (0, 1), (1, 0)])],
)
def test_outlines_that_are_no_area_are_refused(outline):
    with pytest.raises(ValueError, match="outline"):
        Pond("p", outline, 1.0)


def test_filled_basin_holds_its_voids():
    open_basin = Basin("b", BOX, 10.0, Soak(20.0), depth_m=0.5, side=0.0)
    mulched = replace(open_basin, fill=(FillLayer(0.5, 0.4),))
    assert open_basin.element().storage_m3 == pytest.approx(300.0)
    assert mulched.element().storage_m3 == pytest.approx(120.0)


def test_layers_add_up_and_open_water_stands_over_them():
    basin = Basin(
        "b",
        BOX,
        10.0,
        Soak(20.0),
        depth_m=0.8,
        side=0.0,
        fill=(FillLayer(0.3, 0.35), FillLayer(0.2, 0.4)),
    )
    element = basin.element()
    assert element.storage_m3 == pytest.approx(600 * (0.3 * 0.35 + 0.2 * 0.4 + 0.3))
    assert element.stages.storage_at(9.5) == pytest.approx(600 * 0.3 * 0.35)
    assert element.stages.soak_area_at(9.5) == pytest.approx(600.0)


def test_no_fill_changes_nothing():
    stages = Pond("p", BOX, 10.0, 1.0).stages
    assert filled(stages, ()) is stages


def test_rain_garden_says_that_its_voids_are_assumed():
    element = rain_garden("g", shapely.box(0, 0, 5, 4), 10.0, Soak(20.0)).element()
    assert element.form == "rain garden"
    assert [caution.flag for caution in element.cautions] == ["assumed"]
    assert element.floor_m == pytest.approx(9.4)


def test_basin_that_nothing_soaks_from_cannot_be_computed():
    cautions = Basin("b", BOX, 10.0, Soak(0.0)).element().cautions
    assert [caution.flag for caution in cautions] == ["not-computable"]


def test_storage_never_falls_with_level():
    ragged = shapely.Polygon([(0, 0), (20, 1), (25, 12), (12, 9), (4, 16)])
    stages = Pond("p", ragged, 10.0, 2.5, 2.0).stages
    assert (np.diff(stages.storage_m3) > 0).all()
    assert (np.diff(stages.area_m2) >= 0).all()


@pytest.mark.parametrize(("thickness_m", "void"), [(0.0, 0.4), (0.3, 0.0), (0.3, 1.01)])
def test_a_fill_that_cannot_be_is_refused(thickness_m, void):
    with pytest.raises(ValueError, match="voids above 0 to 1"):
        FillLayer(thickness_m, void)
    assert FillLayer(0.3, 1.0).void == 1.0


def test_a_banked_basin_is_named_and_holds_as_much_above_ground_as_a_pond_of_its_shape():
    ground = (10.1, 9.4, 8.9)
    basin = Basin(
        "b", BOX, 10.0, Soak(20.0), depth_m=2.0, side=2.0, freeboard_m=0.3,
        crest_over_spill_m=0.6, ground_levels_m=ground,
    ).element()  # fmt: skip
    pond = Pond("p", BOX, 10.0, 2.0, 2.0, freeboard_m=0.3, ground_levels_m=ground).element()
    assert basin.element_id == "b"
    assert basin.embankment_height_m == pytest.approx(10.6 - 8.9)
    assert basin.held_above_ground_m3 == pytest.approx(pond.held_above_ground_m3)
    assert basin.held_above_ground_m3 > 0


@pytest.mark.parametrize(("share", "held"), [(0.5, 0.5), (0.0, 0.0), (-1.0, 0.0)])
def test_a_pond_starts_as_full_as_is_said(share, held):
    pond = Pond("p", BOX, 10.0, 2.0, start_share=share)
    element = pond.element()
    start_m3 = element.stages.storage_at(element.start_level_m)
    assert start_m3 == pytest.approx(held * pond.volume_m3, abs=1e-6)


@pytest.mark.parametrize("settles", [-0.1, 1.0, 1.5])
def test_a_fill_that_settles_to_nothing_is_refused(settles):
    with pytest.raises(ValueError, match="settling"):
        FillLayer(0.5, 0.4, settles=settles)
