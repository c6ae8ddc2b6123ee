"""Zones, soils, soakage and overflow as the year's stage makes them from what was drawn."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from brimline.balance.cases import YearSite
from brimline.balance.collectors import (
    Collector,
    daily_inflow_m3,
    fed_zones,
    less_flush_mm,
    over_beds,
    rings_told,
    spill_targets,
    under_stores,
    usual_order,
)
from brimline.balance.planted import ZoneRow, planted_zones
from brimline.balance.planting import PLANTINGS
from brimline.balance.rules import DailyUse, YearRules
from brimline.balance.simulate import STORE_COLUMNS, columns, simulate
from brimline.balance.sizing import curves_of
from brimline.balance.system import SHAPE_POINTS, System, WaterStore, Zone
from brimline.config import OwnPlanting
from brimline.grid import Grid
from brimline.rainfall import MixedGround
from brimline.rainfall.daily import DailyWeather

CRS = "EPSG:32626"


def element(name, **changes):
    flat = (0.0,) * SHAPE_POINTS
    usual = {
        "element_id": name, "kind": "swale", "covered": False, "capacity_m3": 5.0,
        "start_share": 0.0, "area_m2": flat, "soak_area_m2": flat, "soak_mm_per_h": 5.0,
        "spill_level_m": 10.0, "roof_coefficient": 0.95, "first_flush_mm": 0.5,
    }  # fmt: skip
    return Collector(**usual | changes)


def zones(rows, soils=(), stores=("Tank",), **rules):
    drawn = [ZoneRow(**{"name": f"zone {n}", "place": f"row {n}"} | row)
             for n, row in enumerate(rows, start=1)]  # fmt: skip
    return planted_zones(
        drawn, [(soil["shape"], soil["texture"]) for soil in soils], stores, YearRules(**rules)
    )


def errors(found):
    return [f"{p.place}: {p.message}" for p in found.problems if p.severity == "error"]


def test_soils_under_a_zone_share_it_by_area():
    # 10 × 10 m: 60 m² of loam, 30 of sand, 10 without a soil, which is taken as clay
    square = shapely.box(0, 0, 10, 10)
    found = zones(
        [{"name": "a", "planting": "berries", "shape": square}],
        [
            {"texture": "Loam", "shape": shapely.box(0, 0, 6, 10)},
            {"texture": "sand", "shape": shapely.box(5, 0, 9, 10)},  # the first one keeps the seam
        ],
        usual_texture="clay",
    )
    assert errors(found) == []
    zone = found.zones[0]
    assert zone.textures == pytest.approx({"loam": 0.6, "sand": 0.3, "clay": 0.1})
    assert zone.texture_text == "loam, sand, clay"
    assert zone.assumed == ["soil taken as clay on 10 %"]
    # FAO-56, table 19 (from memory): loam 0.13 to 0.18, sand 0.05 to 0.11, clay 0.12 to 0.20;
    # berries root 0.9 m deep
    by_hand = 900 * (0.6 * 0.155 + 0.3 * 0.08 + 0.1 * 0.16)
    assert zone.available_mm() == pytest.approx(by_hand)
    assert zone.available_mm("low") < by_hand < zone.available_mm("high")


def test_a_zone_in_two_parts_is_one_and_names_are_given_by_row():
    beds = {"name": "beds", "planting": "tomatoes", "texture": "loam"}
    parts = [
        beds | {"shape": shapely.box(0, 0, 2, 2)},
        beds | {"shape": shapely.box(5, 0, 7, 2)},
        {"texture": "loam", "shape": shapely.box(9, 0, 10, 1)},
    ]
    found = zones(parts)
    assert [zone.zone_id for zone in found.zones] == ["beds", "zone 3"]
    assert found.zones[0].shape.area == 8
    assert found.zones[1].planting is PLANTINGS["orchard, grassed floor"]
    assert found.zones[1].assumed == ["planting taken as orchard, grassed floor"]


def test_measured_soil_stands_before_its_texture():
    row = {"name": "a", "planting": "berries", "available_pct": 14.0,
           "shape": shapely.box(0, 0, 4, 4)}  # fmt: skip
    zone = zones([row]).zones[0]
    assert zone.available_mm() == zone.available_mm("low") == pytest.approx(126)  # 0.9 m
    assert (zone.texture_text, zone.assumed) == ("measured", [])
    for column in ("available_pct", "root_depth_m"):
        assert f"a: {column} must be above 0, got 0" in errors(zones([row | {column: 0.0}]))[0]


def inputs(rows, days=365, **rules):
    """What the year's stage would make of zones and dry, still days."""
    weather = DailyWeather(
        np.datetime64("2001-01-01"), np.zeros(days), np.full(days, 22.0), np.full(days, 11.0)
    )
    found = zones(rows, **rules).zones
    grounds = {zone.zone_id: MixedGround((60.0,), (1.0,)) for zone in found}
    return YearSite(found, grounds, [], {}, {}, weather, np.full(days, 3.0), False,
                      YearRules(**rules))  # fmt: skip


def test_dual_coefficients_make_a_surface_of_what_was_drawn():
    # FAO-56, table 19 (from memory): of loam 8 to 10 mm evaporate readily and 16 to 22 at all, of
    # sand 2 to 7 and 6 to 12; half of each. Mulch on 0.4 of the ground leaves 0.8.
    square = shapely.box(0, 0, 10, 10)
    rows = [{"name": "a", "planting": "tomatoes", "mulch_share": 0.4, "shape": square}]
    assert inputs(rows, usual_texture="loam").system().zones[0].surface is None
    soils = [{"texture": "sand", "shape": shapely.box(0, 0, 5, 10)}]
    dual = YearRules(coefficients="dual", wetted_share=0.35, usual_texture="loam")
    zone = zones(rows, soils, coefficients="dual", usual_texture="loam").zones[0]
    assert zone.evaporable_mm() == pytest.approx(((9 + 4.5) / 2, (19 + 9) / 2))
    assert zone.evaporable_mm("low") == pytest.approx(((8 + 2) / 2, (16 + 6) / 2))
    made = replace(inputs(rows, usual_texture="loam"), zones=[zone], rules=dual)
    simulated = made.system().zones[0]
    assert simulated.surface.readily_mm == pytest.approx(6.75)
    assert simulated.surface.wetted_share == 0.35
    assert simulated.surface.unmulched == pytest.approx(0.8)
    # basal coefficients take the place of the single ones, and mulch is not taken off twice
    assert simulated.kc.max() == pytest.approx(
        1.10 + 0.004 * (45 - 100 * vapour(11.0) / vapour(22.0)) * (0.6 / 3) ** 0.3
    )
    assert simulated.kc.min() == 0.15
    # measured soil still needs a texture for its surface
    measured = [dict(rows[0], available_pct=14.0)]
    assert zones(measured, coefficients="dual").zones[0].textures == {"loam": 1.0}


def vapour(temperature_c):
    return 0.6108 * np.exp(17.27 * temperature_c / (temperature_c + 237.3))  # FAO-56, equation 11


def test_a_use_may_not_bear_the_name_of_a_zone():
    row = {"name": "a", "planting": "berries", "texture": "loam", "shape": shapely.box(0, 0, 4, 4)}
    found = zones([row], uses=(DailyUse("a", 1.0),))
    assert errors(found) == ["year.uses: a is the name of two zones or uses"]


def test_zones_that_share_ground_are_told_once():
    rows = [
        {"name": "a", "planting": "berries", "texture": "loam", "shape": shapely.box(0, 0, 4, 4)},
        {"name": "b", "planting": "berries", "texture": "loam", "shape": shapely.box(2, 0, 6, 4)},
        {"name": "c", "planting": "berries", "texture": "loam", "shape": shapely.box(6, 0, 9, 4)},
    ]
    told = [p.message for p in zones(rows).problems]
    assert told == ["a and b share 8 m², which is counted in both"]


def test_own_plantings_stand_before_the_table():
    own = OwnPlanting(
        name="Berries", kc_initial=0.4, kc_middle=0.8, kc_end=0.6, stage_days=(20, 30, 90, 20),
        first_day=250, root_depth_m=0.5,
    )  # fmt: skip
    row = {"name": "a", "planting": "Berries", "texture": "loam", "shape": shapely.box(0, 0, 4, 4)}
    found = zones([row], plantings=(own.planting(),))
    zone = found.zones[0]
    assert zone.own_season
    assert zone.planting.kc == (0.4, 0.8, 0.6)
    assert zone.root_depth_m == 0.5
    with pytest.raises(ValueError, match="stages must add up"):
        OwnPlanting(**own.model_dump() | {"stage_days": (100, 100, 100, 100)})


def test_unknown_names_in_the_configuration_are_errors():
    row = {"name": "a", "planting": "berries", "shape": shapely.box(0, 0, 4, 4)}
    found = zones(
        [row],
        draw_order=("Tnak",),
        usual_texture="gravel",
        uses=(DailyUse("house", 1.0, draws_on=("Pond",)),),
    )
    told = errors(found)
    assert told[:2] == ["year: there is no store Tnak", "year: there is no store Pond"]
    assert len(told) == 3
    assert told[2].startswith("year.usual_texture: no soil texture is named 'gravel'; known: sand")
    assert "did you mean Tank?" in found.problems[0].mend


def test_runoff_of_ground_and_roof_by_hand():
    # TR-55 (NRCS 1986), table 2-1: curve number 80 and 4.0 in of rain give 2.04 in; 1000 m² of it
    # are 51.8 m³. A roof of 100 m²: (101.6 × 0.95 - 0.5) mm are 9.602 m³; 0.4 mm are led away.
    one = element("a", ground=MixedGround((80.0,), (1000.0,)), roof_m2=100.0)
    rain = np.array([4.0 * 25.4, 0.0, 0.4])
    found = daily_inflow_m3(one, rain, np.zeros(3), None)
    np.testing.assert_allclose(found, [2.04 * 25.4 + 9.602, 0, 0], atol=0.15)
    assert found[2] == 0


def test_the_first_flush_is_taken_once_from_each_event():
    # 2 mm by hand: 1.5 and 0.5 of the first run, 2 of 3 after a dry day, all of a drizzle
    runoff = np.array([1.5, 4.0, 10.0, 0.0, 3.0, 0.0, 0.7])
    assert less_flush_mm(runoff, 2.0) == pytest.approx([0, 3.5, 10, 0, 1, 0, 0])
    assert less_flush_mm(runoff, 0.0) == pytest.approx(runoff)
    assert less_flush_mm(np.array([5.0, 5.0]), 2.0) == pytest.approx([3, 5])  # from the first day


def bed_case(shape, rain_mm, days=6, **zone):
    """Full soil of 2 m² that nothing leaves but by draining, over a reservoir of 0.3 m³."""
    rain = np.zeros(days)
    rain[0] = rain_mm
    over = over_beds([element("bed", kind="tank", own_use=True), element("tank", kind="tank")],
                     {"bed": shapely.box(0, 0, 2, 1), "tank": shapely.Point(1, 0.5)},
                     {"beans": shape})  # fmt: skip
    beans = Zone("beans", shape.area, 50.0, 0.5, np.zeros(days), np.zeros(days),
                 drains_to=over.get("beans", {}), **zone)  # fmt: skip
    store = WaterStore("bed", 0.3, np.zeros(days))
    return System(rain, np.zeros(days), (beans,), (store,))


def test_rain_that_the_soil_of_a_bed_does_not_hold_fills_its_reservoir_on_the_next_day():
    # 40 mm on full soil of 2 m²: 80 litres
    system = bed_case(shapely.box(0, 0, 2, 1), 40.0)
    stores = columns(simulate(system).stores, STORE_COLUMNS)
    assert stores["runoff_in_m3"][:, 0] == pytest.approx([0, 0.08, 0, 0, 0, 0])
    assert stores["held_m3"][-1, 0] == pytest.approx(0.08)
    # half of the zone lies over the bed; 400 mm are 0.4 m³ there, of which it holds 0.3
    half = bed_case(shapely.box(0, 0, 4, 1), 400.0)
    assert half.zones[0].drains_to == {"bed": 0.5}
    stores = columns(simulate(half).stores, STORE_COLUMNS)
    assert stores["spilled_m3"][:, 0] == pytest.approx([0, 0.5, 0, 0, 0, 0])
    # soil that has room keeps it
    dry = bed_case(shapely.box(0, 0, 2, 1), 40.0, start_full=0.0)
    assert columns(simulate(dry).stores, STORE_COLUMNS)["held_m3"].max() == 0
    assert system.without_stores().zones[0].drains_to == {}


def test_a_zone_beside_a_bed_does_not_drain_into_it():
    assert bed_case(shapely.box(2, 0, 4, 1), 40.0).zones[0].drains_to == {}
    system = bed_case(shapely.box(0, 0, 2, 1), 0.0)
    twice = replace(system.zones[0], drains_to={"bed": 1.2})
    with pytest.raises(ValueError, match="shares of the drainage"):
        replace(system, zones=(twice,))


def test_the_wall_of_a_bed_keeps_its_rain():
    row = {"name": "beds", "planting": "berries", "texture": "loam",
           "shape": shapely.box(0, 0, 10, 10)}  # fmt: skip
    rain = np.where(np.arange(365) % 5 == 0, 60.0, 0.0)
    made = inputs([row])
    open_ground = replace(made, weather=replace(made.weather, precipitation_mm=rain))
    store = element("bed", kind="tank", own_use=True)
    bed = replace(open_ground, elements=[store], over_beds={"beds": {"bed": 0.75}})
    np.testing.assert_allclose(
        bed.system().zones[0].runoff_mm, 0.25 * open_ground.system().zones[0].runoff_mm
    )
    assert bed.system().zones[0].drains_to == {"bed": 0.75}


def test_overflow_in_a_ring_is_cut_where_it_would_close():
    chain = [element("a", spills_to="b"), element("b", spills_to="c"),
             element("c", spills_to="a"), element("d", spills_to="a"),
             element("e", spills_to="brook"), element("f", spills_to="f")]  # fmt: skip
    assert spill_targets(chain) == {"a": "b", "b": "c", "c": "", "d": "a", "e": "", "f": ""}
    assert [p.message.split()[2] for p in rings_told(chain)] == ["c", "f"]


def test_stores_are_asked_tanks_first_unless_the_person_says():
    every = [element("pond", kind="pond"), element("swale"), element("tank", kind="tank")]
    assert usual_order(every, YearRules()) == ("tank", "pond")
    assert usual_order(every, YearRules(draw_order=("swale", "pond"))) == ("swale", "pond")


@pytest.fixture
def slope():
    """A plane that falls southwards by 1 in 10, cells of 1 m, 40 rows and columns."""
    grid = Grid(40, 40, 1.0, 0.0, 40.0, CRS)
    levels = np.repeat(14.0 - 0.1 * (np.arange(40) + 0.5), 40).reshape(40, 40)
    return grid, levels.astype(np.float32)


def test_soakage_reaches_lower_ground_within_reach_only(slope):
    grid, levels = slope
    swale = shapely.LineString([(5, 20.5), (35, 20.5)])  # row 19, at 12.05 m
    labels = np.zeros(grid.shape, dtype=np.int32)
    labels[10:19] = 1  # above
    labels[20:23] = 2  # the three rows below
    labels[30:] = 3  # further down than it reaches
    one = element("swale", spill_level_m=12.05)
    reach = YearRules(soak_reach_m=5.0, soak_share=0.5)
    found = fed_zones([one], {"swale": swale}, labels, ["up", "down", "far"], levels, grid, reach)
    # of its own row and five rows below it, three lie under the zone: about half of the cells
    # (the ends reach a little further), and half of that stays with the roots
    assert set(found["swale"]) == {"down"}
    assert found["swale"]["down"] == pytest.approx(0.5 * 3 / 6, abs=0.03)
    none = fed_zones(
        [element("swale", soak_mm_per_h=0.0), element("pond", kind="pond")],
        {"swale": swale, "pond": swale.buffer(3)}, labels, ["up", "down", "far"], levels, grid,
        reach,
    )  # fmt: skip
    assert none == {}


def test_shares_of_soakage_never_exceed_the_share_that_stays(slope):
    """However zones lie, what they are fed together is at most `soak_share` of the soakage."""
    grid, levels = slope
    rng = np.random.default_rng(2)
    swale = shapely.LineString([(5, 20.5), (35, 20.5)])
    for _ in range(20):
        labels = rng.integers(0, 4, grid.shape).astype(np.int32)
        rules = YearRules(soak_reach_m=float(rng.uniform(0, 12)), soak_share=float(rng.random()))
        found = fed_zones([element("swale", spill_level_m=12.5)], {"swale": swale}, labels,
                          ["a", "b", "c"], levels, grid, rules)  # fmt: skip
        assert sum(found.get("swale", {}).values()) <= rules.soak_share + 1e-12


def test_rain_on_a_store_within_a_zone_is_the_stores():
    # a basin of 20 m², half of it in a zone of 100 m², and a swale of 30 m² whose line lies in the
    # zone for a third of its length: 10 and 10 m², a fifth of the zone; a tank takes no rain
    zone = shapely.box(0, 0, 10, 10)
    elements = [
        element("basin", kind="basin", open_m2=20.0), element("swale", open_m2=30.0),
        element("tank", kind="tank", open_m2=0.0), element("elsewhere", open_m2=9.0),
    ]  # fmt: skip
    shapes = {"basin": shapely.box(8, 0, 12, 5), "swale": shapely.LineString([(1, 5), (1, 20)]),
              "tank": shapely.Point(5, 5), "elsewhere": shapely.box(50, 50, 53, 53)}  # fmt: skip
    far = shapely.box(30, 30, 40, 40)
    found = under_stores(elements, shapes, {"beds": zone, "far": far})
    assert found == pytest.approx({"beds": 0.2})
    made = inputs([{"name": "beds", "planting": "berries", "texture": "loam", "shape": zone}])
    rain = np.where(np.arange(365) % 5 == 0, 20.0, 0.0)
    wet = replace(made, weather=replace(made.weather, precipitation_mm=rain))
    whole = rain - wet.system().zones[0].runoff_mm
    rest = rain - replace(wet, under_stores=found).system().zones[0].runoff_mm
    np.testing.assert_allclose(rest, 0.8 * whole)


def test_curves_go_further_where_near_sizes_do_not_show_the_end():
    days = 730
    rain = np.where(np.arange(days) % 365 < 120, 8.0, 0.0)  # a rainy and a dry season
    tank = WaterStore("tank", 5.0, rain * 0.2)
    zone = Zone("beds", 100.0, 60.0, 0.4, np.full(days, 0.9), np.zeros(days), ("tank",))
    system = System(rain, np.full(days, 4.0), (zone,), (tank,))
    elements = [element("tank", kind="tank", capacity_m3=5.0)]
    near = curves_of(system, elements, YearRules(goal_share=0.3, tank_worth_m3_per_y=20.0))
    far = curves_of(system, elements, YearRules(goal_share=0.95))
    assert near[0].capacity_m3[-1] == 15.0
    assert far[0].capacity_m3[-1] == 60.0
    assert 5.0 in far[0].capacity_m3  # the size as drawn is always among them
    assert curves_of(system, [element("tank", kind="swale")], YearRules()) == []
