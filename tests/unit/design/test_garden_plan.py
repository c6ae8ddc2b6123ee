"""Ways out in an order, dips in paths, roofs shared out, water from outside, stores filled."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from tests.drawn_rows import drawn

from brimline.balance.collectors import Collector, daily_inflow_m3, usual_order
from brimline.balance.simulate import STORE_COLUMNS, USE_COLUMNS, columns, simulate
from brimline.balance.system import SHAPE_POINTS, Feed, System, Use, WaterStore
from brimline.cascade import Finding
from brimline.config import Year
from brimline.design import (
    CoverArea,
    Plan,
    buried_findings,
    collectors_of,
    designed,
    designed_ground,
    out_of_order,
    sized_downpipes,
)
from brimline.design.plan import (
    DrawnBasin,
    DrawnBed,
    DrawnDischarge,
    DrawnDownpipe,
    DrawnFeed,
    DrawnInflow,
    DrawnOverflow,
    DrawnPond,
    DrawnTank,
)
from brimline.elements.building import Building, StakeSpacing, set_out
from brimline.io.values import value_bytes, value_of
from brimline.rainfall import OutsideGround, runoff_depth_mm

POND = drawn(DrawnPond, "Pond", shapely.Point(30, 40).buffer(5), depth_m=0.6, freeboard_m=0.3)
BASIN = drawn(DrawnBasin, "Basin", shapely.Point(12, 20).buffer(3), depth_m=0.4)
CREEK = DrawnDischarge("Creek", shapely.Point(30, 4))
SOUTH = shapely.LineString([(30, 36), (30, 6)])
ASIDE = shapely.LineString([(27, 37), (13, 22)])
PLAN = Plan(ponds=(POND,), basins=(BASIN,), discharges=(CREEK,))


def over(name, line, **said):
    return drawn(DrawnOverflow, name, line, sill_width_m=0.5, **said)


def made(slope, covers=(), **rows):
    survey = replace(slope.survey, covers=covers)
    return designed(replace(PLAN, **rows), slope.standing, survey, slope.storms, slope.rules)


def crests(design, name):
    return {link.to_id: link.outlet.crest_m for link in design.links if link.from_id == name}


def test_ways_out_lie_above_each_other_in_the_order_of_preference(slope):
    ways = (over("second", ASIDE, preference=2.0), over("first", SOUTH, preference=1.0))
    design = made(slope, overflows=ways).design
    spill_m = design.network.element("Pond").spill_level_m
    assert crests(design, "Pond") == {"Creek": spill_m, "Basin": pytest.approx(spill_m + 0.05)}
    assert design.network.spills_to("Pond") == "Creek"
    assert not list(out_of_order(design))
    assert value_bytes(value_of(value_bytes(design))) == value_bytes(design)


def test_levels_that_run_against_the_order_are_told(slope):
    level = made(slope).design.network.element("Pond").spill_level_m
    ways = (
        over("first", SOUTH, preference=1.0, crest_level_m=level + 0.1),
        over("second", ASIDE, preference=2.0, crest_level_m=level),
    )
    found = list(out_of_order(made(slope, overflows=ways).design))
    assert [(one.flag, one.element_id, one.link.to_id) for one in found] == [
        ("out-of-order", "Pond", "Basin")
    ]


def test_a_way_crosses_a_path_in_a_dip_that_is_dug_and_staked(slope):
    way = over("first", SOUTH, path_m=2.0)
    design = made(slope, overflows=(way,)).design
    ground = designed_ground(design, (), slope.dem, slope.grid, Building(), 5.0)
    (dip,) = ground.dips["Pond"]
    sill_m = design.network.element("Pond").spill_level_m
    # half the way is 15 m, its upper edge 14 m from the sill: 0.14 m lower
    assert dip.level_m == pytest.approx(sill_m - 0.14)
    assert dip.width_m == 0.5
    assert dip.line.length == pytest.approx(2.0)
    stakes = set_out(ground.ready, 1, ground.ground, None, StakeSpacing())
    corners = [one for one in stakes if one.role == "dip"]
    assert len(corners) == 4
    assert {round(one.design_m - dip.level_m, 9) for one in corners} == {0.0}
    assert {(round(one.x, 2), round(one.y, 2)) for one in corners} == {
        (29.75, 22.0), (30.25, 22.0), (29.75, 20.0), (30.25, 20.0),
    }  # fmt: skip


def test_a_dip_above_its_sill_is_told(slope):
    level = made(slope).design.network.element("Pond").spill_level_m
    way = over("first", SOUTH, path_m=2.0, dip_level_m=level + 0.05)
    design = made(slope, overflows=(way,)).design
    found = list(buried_findings(design, lambda x, y: 95.0 + 0 * (x + y)))
    assert [(one.flag, one.element_id) for one in found] == [("dam-in-path", "Pond")]
    assert all(isinstance(one, Finding) for one in found)


def test_a_sunken_pond_has_no_bank(slope):
    sunken = replace(POND, edge="sunken", freeboard_m=float("nan"))
    element = made(slope, ponds=(sunken,)).design.network.element("Pond")
    rim_m = float(np.nanmin(slope.standing.level_along(POND.shape.exterior)))
    assert element.spill_level_m == pytest.approx(rim_m - 0.03)
    assert element.embankment_height_m == 0.0
    design = made(slope, ponds=(sunken,), basins=()).design
    ground = designed_ground(design, (), slope.dem, slope.grid, Building(), 5.0)
    shaped = ground.ready.surface(factor=2)
    assert all((piece.design_m <= piece.ground_m + 1e-6).all() for piece in shaped.pieces)


# --- roofs ---------------------------------------------------------------------------------------

ROOF = CoverArea(shapely.box(20, 60, 40, 70), "roof", 0.9, "House")  # 200 m², drains to the pond


def down(name, end, **said):
    return drawn(DrawnDownpipe, name, shapely.LineString([(25, 60), end]), **said)


def test_a_roof_is_shared_out_and_what_is_left_runs_on_the_ground(slope):
    pipes = (down("West", (12, 22), share=0.25),)
    arrivals = made(slope, (ROOF,), downpipes=pipes).design.arrivals
    assert arrivals.roofs["Basin"].area_m2 == pytest.approx(50.0)
    # of the part above the pond, three quarters of the water still reach it over the ground
    whole, left = made(slope, (ROOF,)).design.arrivals.hard["Pond"], arrivals.hard["Pond"]
    assert whole.coefficient == pytest.approx(0.9)
    assert left.area_m2 == whole.area_m2
    assert left.coefficient == pytest.approx(0.75 * 0.9)


def test_what_states_no_share_takes_what_is_left_and_no_more_is_given_than_there_is(slope):
    pipes = (down("A", (12, 22), share=0.5), down("B", (30, 44)), down("C", (30, 44)))
    arrivals = made(slope, (ROOF,), downpipes=pipes).design.arrivals
    assert [one.share for one in arrivals.led] == [0.5, 0.25, 0.25]
    assert "Pond" not in arrivals.hard
    many = (down("A", (12, 22), share=0.9), down("B", (30, 44), share=0.9))
    done = made(slope, (ROOF,), downpipes=many)
    assert sum(one.area_m2 for one in done.design.arrivals.led) == pytest.approx(200.0)
    assert any("1.80 of House" in one.message for one in done.problems)


def test_a_downpipe_is_sized_for_the_peak_of_its_part(slope):
    storm = slope.storms[0]  # 60 mm in 6 h, evenly
    pipes = (down("A", (12, 22), share=0.5), down("B", (30, 44), share=0.5, diameter_mm=20.0))
    led = made(slope, (ROOF,), downpipes=pipes).design.arrivals.led
    one, other = sized_downpipes(led, storm)
    # 100 m² x 0.9 x 10 mm/h
    assert one.peak_m3_s == pytest.approx(100 * 0.9 * 0.010 / 3600)
    assert one.carries_m3_s >= one.peak_m3_s
    assert one.sized
    assert not other.sized
    assert other.diameter_mm == 20.0


def test_a_downpipe_from_nowhere_is_told(slope):
    done = made(slope, downpipes=(down("A", (12, 22)),))
    assert any("A leads nothing" in one.message for one in done.problems)
    assert not done.design.arrivals.led


# --- beds and buried tanks -----------------------------------------------------------------------


def test_a_bed_is_drawn_on_by_those_only_that_name_it(slope):
    bed = drawn(DrawnBed, "Bed", shapely.box(40, 20, 42.4, 21.2), reservoir_m=0.25, void=0.4)
    tank = drawn(DrawnTank, "Tank", shapely.Point(50, 50), cover_m=0.3, volume_m3=2.0, height_m=1.0)
    design = made(slope, beds=(bed,), tanks=(tank,)).design
    by_name = {one.element_id: one for one in collectors_of(design)}
    assert by_name["Bed"].capacity_m3 == pytest.approx(0.288)
    assert by_name["Bed"].covered
    assert by_name["Bed"].open_m2 == 0.0
    # in a storm its soil passes on all rain, as if wet, and none of it runs to the ground below
    arrivals = design.arrivals
    assert arrivals.open_m2["Bed"] == pytest.approx(2.88)
    assert arrivals.open_m2["Tank"] == 0.0
    storm = arrivals.of(slope.storms[0], 60.0)
    assert float(np.sum(storm.mean_m3_s["Bed"]) * 60) == pytest.approx(2.88 * 0.060)
    assert usual_order(tuple(by_name.values()), Year().rules()) == ("Tank", "Pond")
    # under 0.3 m of ground, 0.3 m of rim and 1 m of tank
    element = design.network.element("Tank")
    ground_m = slope.standing.level_at(tank.shape)
    assert element.floor_m == pytest.approx(ground_m - 1.6)
    assert element.shape.pit.depth_m == pytest.approx(1.7)


def test_water_among_chips_is_out_of_the_sun(slope):
    chips = replace(BASIN, form="mulch basin", fill="woodchips")
    (one,) = (c for c in collectors_of(made(slope, basins=(chips,)).design) if c.kind == "basin")
    open_one = next(c for c in collectors_of(made(slope).design) if c.kind == "basin")
    assert set(one.area_m2) == {0.0}
    assert one.capacity_m3 == pytest.approx(0.4 * open_one.capacity_m3, rel=0.01)
    assert max(open_one.area_m2) > 0
    assert one.soak_area_m2[-1] == pytest.approx(open_one.soak_area_m2[-1], rel=0.02)


# --- water from outside --------------------------------------------------------------------------


def test_ground_outside_counts_in_storms_that_send_its_water_so_far(slope):
    street = drawn(
        DrawnInflow, "Street", shapely.Point(30, 40), into="Pond", area_m2=500.0,
        runoff_share=0.8, from_mm=20.0,
    )  # fmt: skip
    dry = made(slope).design.arrivals.of(slope.storms[0], 60.0).volume_m3
    wet = made(slope, inflows=(street,)).design.arrivals.of(slope.storms[0], 60.0).volume_m3
    assert wet - dry == pytest.approx(500 * 0.8 * 0.060)
    never = made(slope, inflows=(replace(street, from_mm=70.0),)).design.arrivals
    assert never.of(slope.storms[0], 60.0).volume_m3 == pytest.approx(dry)
    known = made(slope, inflows=(replace(street, peak_m3_s=0.01, volume_m3=5.0),)).design.arrivals
    assert known.of(slope.storms[0], 60.0).volume_m3 - dry == pytest.approx(5.0, rel=1e-6)


def test_a_neighbour_s_slope_sheds_by_its_cover(slope):
    field = drawn(DrawnInflow, "Field", shapely.Point(30, 40), into="Pond", area_m2=1000.0)
    (one,) = made(slope, inflows=(field,)).design.arrivals.beyond["Pond"]
    assert one.curve_number == 79  # TR-55, table 2-2c: pasture in fair condition on C
    row = made(slope, inflows=(replace(field, cover="carpet"),))
    assert any("Field was left out" in told.message for told in row.problems)


def test_in_the_year_only_rains_that_reach_it_count():
    rain = np.array([5.0, 0.0, 25.0, 40.0])
    bare = Collector("B", "basin", False, 1.0, 0.0, (0.0,), (0.0,), 0.0, 10.0)
    street = replace(bare, outside=(OutsideGround(200.0, share=0.5, from_mm=20.0),))
    found = daily_inflow_m3(street, rain, np.zeros(4), None)
    assert found == pytest.approx([0.0, 0.0, 200 * 0.5 * 0.025, 200 * 0.5 * 0.040])
    slope = replace(bare, outside=(OutsideGround(1000.0, curve_number=79.0),))
    shed = daily_inflow_m3(slope, rain, np.zeros(4), None)
    assert shed == pytest.approx(runoff_depth_mm(rain, 79.0))  # mm on 1000 m² are m³
    assert shed[0] == 0.0


def test_outside_ground_says_how_it_sheds():
    with pytest.raises(ValueError, match="either"):
        OutsideGround(10.0)
    with pytest.raises(ValueError, match="either"):
        OutsideGround(10.0, curve_number=80.0, share=0.5)


# --- stores that are filled ----------------------------------------------------------------------


def test_feeds_are_read_from_the_drawing(slope):
    pump = drawn(DrawnFeed, "Pump", shapely.LineString([(12, 21), (30, 41)]), most_m3_d=0.2)
    tap = drawn(DrawnFeed, "Tap", shapely.LineString([(55, 70), (30, 41)]), below_share=0.3)
    lost = drawn(DrawnFeed, "Lost", shapely.LineString([(55, 70), (56, 71)]))
    short = drawn(DrawnFeed, "Can", shapely.LineString([(30, 48), (30, 44)]))  # 3 m off the pond
    done = made(slope, feeds=(pump, tap, lost, short))
    assert done.design.feeds == (
        Feed("Pump", "Pond", 0.2, 0.5, "Basin"),
        Feed("Tap", "Pond", 0.5, 0.3, ""),
        Feed("Can", "Pond", 0.5, 0.5, ""),
    )
    assert any("Lost fills nothing" in one.message for one in done.problems)


def test_a_storm_finds_a_store_as_full_as_it_is_kept(slope):
    tank = drawn(DrawnTank, "Tank", shapely.Point(50, 50), volume_m3=2.0, height_m=1.0,
                 start_share=0.1)  # fmt: skip
    tap = drawn(DrawnFeed, "Tap", shapely.LineString([(55, 70), (50, 50)]), below_share=0.7,
                most_m3_d=8.64)  # fmt: skip
    plain = made(slope, tanks=(tank,)).design.network.element("Tank")
    design = made(slope, tanks=(tank,), feeds=(tap,)).design
    kept = design.network.element("Tank")
    assert plain.start_level_m == pytest.approx(plain.floor_m + 0.1)
    assert kept.start_level_m == pytest.approx(kept.floor_m + 0.7)
    larger = kept.changed("volume_m3", 4.0)  # the feed keeps it so whatever its size
    assert larger.storage_m3 == pytest.approx(4.0)
    assert larger.start_level_m == pytest.approx(kept.floor_m + 0.7)
    assert design.fed_m3_s == pytest.approx({"Tank": 1e-4})
    fuller = replace(tank, start_share=0.9)  # a store that is fuller anyhow stays so
    full = made(slope, tanks=(fuller,), feeds=(tap,)).design.network.element("Tank")
    assert full.start_level_m == pytest.approx(full.floor_m + 0.9)


def filled(feeds, full=1.0):
    days, none = 4, np.zeros(SHAPE_POINTS)
    stores = tuple(
        WaterStore(name, 10.0, np.zeros(days), none, start_full=start)
        for name, start in (("low", 0.0), ("high", full))
    )
    use = Use("house", np.full(days, 1.0), ("low",))
    system = System(np.zeros(days), np.zeros(days), (), stores, (use,), feeds=feeds)
    series = simulate(system)
    return columns(series.stores, STORE_COLUMNS), columns(series.uses, USE_COLUMNS)


def test_a_pump_fills_a_low_store_and_its_water_is_drawn_from_the_next_day_on():
    # 3 m³ a day while below 5 of 10 m³, and 1 m³ drawn from the second day: held 3, 5, then 4, 6
    stores, uses = filled((Feed("pump", "low", 3.0, 0.5, "high"),))
    assert stores["brought_m3"][:, 0].tolist() == [3, 3, 0, 3]
    assert stores["held_m3"][:, 0].tolist() == [3, 5, 4, 6]
    assert stores["drawn_m3"][:, 1].tolist() == [3, 3, 0, 3]
    assert uses["harvested_m3"][:, 0].tolist() == [0, 1, 1, 1]


def test_water_that_a_tap_brought_is_no_harvest():
    stores, uses = filled((Feed("tap", "low", 3.0, 0.5),))
    assert stores["brought_m3"][:, 0].tolist() == [3, 3, 0, 3]
    assert uses["harvested_m3"][:, 0].tolist() == [0, 0, 0, 0]
    assert uses["mains_m3"][:, 0].tolist() == [1, 1, 1, 1]
