"""Unsafe and safe plans for the flags of where elements lie, their earth, and their water."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import shapely
from tests.drawn_rows import drawn

from brimline.cascade.proof import Proved
from brimline.choose.ponds.around import Surroundings
from brimline.choose.ponds.place import PondPlace
from brimline.config import Access, Drainage, Works
from brimline.design import (
    CoverArea,
    KeptClear,
    PlacedElement,
    Plan,
    StandingWall,
    SurveyedGround,
    at_walls,
    buried_findings,
    designed,
    designed_ground,
    dug,
    extents_of,
    misplaced,
    off_level,
    out_of_order,
    placed_elements,
    sized_downpipes,
    standing_ground,
    too_steep,
)
from brimline.design.plan import (
    DrawnBasin,
    DrawnDischarge,
    DrawnDownpipe,
    DrawnOverflow,
    DrawnPipe,
    DrawnPond,
    DrawnSwale,
)
from brimline.design.proving import followed_way
from brimline.drainage.flow import accumulate, flow_directions
from brimline.elements import Pond
from brimline.elements.building import Building
from brimline.grid import Grid
from brimline.inputs.rules import design_rules
from brimline.layers.flags import joined
from brimline.rainfall import RunStorms, Storm, uniform
from brimline.stages import tracks
from brimline.terrain.earthwork import Soil, Stockpile

GRID = Grid(80, 60, 1.0, 0.0, 80.0, "EPSG:32633")
SITE = shapely.box(0, 0, 60, 80)
TOLERANCE_M = 0.10


def storm(rain_mm):
    return Storm("10-year", 300.0, uniform(rain_mm, 6.0, step_s=300.0), 10.0)


@lru_cache(maxsize=8)
def ground(fall=0.08):
    """100 m high at the northern edge, with a gentle valley in the middle."""
    x, y = GRID.xy(*np.indices(GRID.shape))
    dem = (100 - fall * (80 - y) + 0.0005 * (x - 30) ** 2).astype(np.float32)
    directions = flow_directions(dem)
    steep = np.full(GRID.shape, 100 * fall, dtype=np.float32)
    return SimpleNamespace(
        dem=dem,
        standing=standing_ground(dem, steep, GRID, ()),
        survey=SurveyedGround(GRID, dem, directions, accumulate(directions) * GRID.cell_area_m2),
    )


POND = drawn(DrawnPond, "Pond", shapely.Point(30, 40).buffer(5), depth_m=0.6, freeboard_m=0.3)
BASIN = drawn(DrawnBasin, "Basin", shapely.Point(12, 20).buffer(3), depth_m=0.4)
CREEK = DrawnDischarge("Creek", shapely.Point(30, 4))
SOUTH = shapely.LineString([(30, 36), (30, 6)])
ASIDE = shapely.LineString([(27, 37), (13, 22)])
ROOF = CoverArea(shapely.box(20, 60, 40, 70), "roof", 0.9, "House")  # 200 m²


def made(covers=(), rain_mm=60.0, fall=0.08, **rows):
    here = ground(fall)
    survey = replace(here.survey, covers=covers)
    plan = Plan(**({"ponds": (POND,), "basins": (BASIN,), "discharges": (CREEK,)} | rows))
    rules = design_rules(Works(), 0.05)
    return designed(plan, here.standing, survey, [storm(rain_mm)], rules).design


def earth_of(design, fall=0.08, limit_m=5.0):
    return designed_ground(design, (), ground(fall).dem, GRID, Building(), limit_m)


def by_flag(findings):
    return {one.flag: one.text for one in findings}


def codes(flag, text=""):
    return dict.fromkeys(filter(None, (flag or "").split(";")), text or "")


# --- where elements lie


def pond_at(x, y=50.0, kept=(), slope_pct=8.0):
    shape = shapely.box(x - 5, y - 5, x + 5, y + 5)
    one = PlacedElement(Pond("pond", shape, 10.0, 1.0, 2.0).element(), shape)
    return by_flag(misplaced([one], list(kept), shapely.box(0, 0, 100, 100), 6.0))


def kept_clear(kind, shape, setback_m):
    return (KeptClear(shape, shape.buffer(max(setback_m, 0.5)), kind, setback_m),)


def slope_of(fall):
    here = ground(fall)
    steep = standing_ground(here.dem, np.full(GRID.shape, 100 * fall, np.float32), GRID, ())
    placed = made(fall=fall).placed
    return by_flag(too_steep(extents_of(placed, steep, Building()), 20.0))


def swale(*corners):
    here = ground()
    line = shapely.LineString(corners)
    row = DrawnSwale("Fence", line, "trapezoid", 0.4, 0.6, 2.5, 2.0, 0.15)
    placed = placed_elements([row], here.standing, design_rules(Works(), 0.05).water)[0]
    return by_flag(off_level(placed, here.standing.levels, GRID, TOLERANCE_M))


def level_corners():
    x = np.linspace(10, 50, 41)
    return np.column_stack([x, 40 - 0.0005 * (x - 30) ** 2 / 0.08])


# --- ways out, pipes and roofs


def over(name, line, **said):
    return drawn(DrawnOverflow, name, line, sill_width_m=0.5, **said)


def two_ways(first_m, second_m):
    level = made().network.element("Pond").spill_level_m
    ways = (
        over("first", SOUTH, preference=1.0, crest_level_m=level + first_m),
        over("second", ASIDE, preference=2.0, crest_level_m=level + second_m),
    )
    return by_flag(out_of_order(made(overflows=ways)))


def buried(*, dip_m=None, pipe_m=None):
    """A dip in a path over or under its sill, or a pipe so deep in the ground."""
    level = made().network.element("Pond").spill_level_m
    rows = {}
    if dip_m is not None:
        rows["overflows"] = (over("first", SOUTH, path_m=2.0, dip_level_m=level + dip_m),)
    if pipe_m is not None:
        rows["pipes"] = (
            drawn(DrawnPipe, "Pipe", SOUTH, from_level_m=level, to_level_m=level - 2.0),
        )
    design = made(**rows)
    falls = 2.0 / SOUTH.length

    def cover(x, y):
        """Ground that lies so much over the pipe, wherever."""
        return level - falls * (36 - np.asarray(y)) + (pipe_m or 0.0) + 0 * np.asarray(x)

    return by_flag(buried_findings(design, cover))


def downpipe(diameter_mm):
    row = drawn(DrawnDownpipe, "Down", shapely.LineString([(25, 60), (12, 22)]),
                diameter_mm=diameter_mm)  # fmt: skip
    [one] = sized_downpipes(made((ROOF,), downpipes=(row,)).arrivals.led, storm(60.0))
    return codes(joined(one.flags), f"{one.carries_m3_s:.4f} of {one.peak_m3_s:.4f} m³/s")


def doubted(rain_mm):
    design = made(rain_mm=rain_mm)
    return by_flag(design.arrivals.doubts(storm(rain_mm)))


# --- earth


def beside_wall(y, **kinds):
    wall = StandingWall("the yard wall", shapely.LineString([(10, y), (50, y)]), 0.5)
    plan = {"ponds": (), "basins": (), "discharges": ()} | kinds
    return by_flag(at_walls(earth_of(made(**plan)), (wall,)))


SUNKEN = drawn(DrawnBasin, "Basin", shapely.box(26, 38, 34, 42), depth_m=0.5, side=3.0)
STEEP = replace(SUNKEN, depth_m=1.0, side=0.1)
BANKED = drawn(DrawnPond, "Pond", shapely.Point(30, 40).buffer(5), depth_m=0.8, freeboard_m=0.3,
               edge="bank")  # fmt: skip
DUG = replace(BANKED, edge="sunken", freeboard_m=float("nan"))


def earth_flags(pond=BANKED, *, fall=0.08, stockpiles=(), limit_m=30.0):
    """What the earthworks tell of a pond."""
    design = made(ponds=(pond,), basins=(), fall=fall)
    site = earth_of(design, fall, limit_m)
    found = dug(site, Soil(), stockpiles, refine=1, interval_m=5.0, error_m=0.1, correlation_m=10.0)
    told = found.told()
    return codes(joined(found.flags_of("Pond")), told[0].message if told else "")


# --- water on the designed surface


def proved(*, over_m=0.0, reached="Creek", at_building=False, outside_m=0.0,
           arrives_m=50.0):  # fmt: skip
    """What is told of water that leaves the pond so much over or beside its sill."""
    design = made(overflows=(over("first", SOUTH),), basins=())
    site = earth_of(design)
    label, names = site.label_of("Pond"), {site.label_of("Pond"): "Pond", 2: "Creek", 3: "Barn"}
    sill = site.sills["Pond"][0].place
    middle = shapely.get_coordinates(shapely.Point(sill.centroid))[0]
    row, col = GRID.cell(*middle)
    way = np.array([int(row), int(row) + 20]), np.array([int(col), int(col)])
    number = next((n for n, word in names.items() if word == reached), 0)
    water = Proved(
        label, site.level_of("Pond") + over_m, 20.0, number, *way, 0, at_building, outside_m
    )
    arrivals = {label: [(3, shapely.Point(middle[0] + arrives_m, middle[1]))]}
    way = followed_way(water, site, names, {}, 0.05, GRID, arrivals)
    return codes(joined(way.flags), way.notes)


# --- places for ponds, tracks


def place(*, spill_side="left", building_m=np.nan, yearly_mm=200.0):
    stage = SimpleNamespace(
        depth_m=1.0, level_m=11.0, crest_m=11.5, storage_m3=500.0, water_m2=400.0, fill_m3=100.0,
        length_m=20.0, height_m=1.5, storage_per_earth=5.0,
    )  # fmt: skip
    site = SimpleNamespace(
        kind="valley", best=stage, stages=(stage,), catchment_m2=10_000.0, pays=1.0
    )
    around = Surroundings(spill_side, building_m, 0.0)
    years = np.full(10, yearly_mm)
    limits = Works().engineer_height_m, Works().engineer_volume_m3
    return codes(joined(PondPlace("p1", site, around, years, "", *limits).flags))


def track(*, wall=False, area_m2=100.0, hardest=3.0):
    """A track across a slope, over a stream or against a wall of ground to keep clear."""
    here = ground()
    area = np.full(GRID.shape, area_m2)
    kept = [shapely.box(28, -9, 32, 99)] if wall else []
    frames = {
        "drawn_tracks": {"geometry": [shapely.LineString([(8, 40), (52, 40)])], "name": ["Track"]},
        "keep_out": {"geometry": kept},
        "boundary": {"geometry": [SITE.buffer(5)]},
        "elements": {"geometry": []},
        "surfaces": {"geometry": [], "cover": []},
        "flow_paths": {"geometry": [shapely.LineString([(30, 80), (30, 0)])]},
    }
    depth = np.full(36, 1.0)
    depth[10] = hardest
    given = SimpleNamespace(
        grid=GRID,
        frame=lambda name: gpd.GeoDataFrame(frames[name], crs=GRID.crs, geometry="geometry"),
        params=lambda name, _: {"access": Access(cell_m=2.0), "drainage": Drainage()}[name],
        raster=lambda name: here.dem if name == "elevation" else area,
        value=lambda *_: RunStorms(Storm("design", 600.0, depth)),
    )
    found = tracks._run(given, SimpleNamespace(advanced=lambda *_: None))
    flags = [*found["tracks"]["flag"], *found["track_crossings"]["flag"]]
    return codes(";".join(filter(None, flags)))


HOUSE = shapely.box(61, 40, 90, 60)
EXAMPLES = {
    "near-building": (
        lambda: pond_at(50, kept=kept_clear("building", HOUSE.buffer(3), 0.0)),
        lambda: pond_at(50, kept=kept_clear("building", shapely.box(70, 40, 90, 60), 0.0)),
    ),
    "in-setback": (
        lambda: pond_at(50, kept=kept_clear("septic", HOUSE, 8.0)),
        lambda: pond_at(50, kept=kept_clear("septic", HOUSE, 4.0)),
    ),
    "outside-boundary": (lambda: pond_at(98), lambda: pond_at(50)),
    "steep-ground": (lambda: slope_of(0.25), lambda: slope_of(0.08)),
    "off-level": (lambda: swale((12, 40), (30, 36), (48, 40)), lambda: swale(*level_corners())),
    "out-of-order": (lambda: two_ways(0.1, 0.0), lambda: two_ways(0.0, 0.1)),
    "dam-in-path": (lambda: buried(dip_m=0.05), lambda: buried(dip_m=-0.05)),
    "shallow-pipe": (lambda: buried(pipe_m=0.2), lambda: buried(pipe_m=0.8)),
    "small-downpipe": (lambda: downpipe(20.0), lambda: downpipe(100.0)),
    "outside-method": (lambda: doubted(10.0), lambda: doubted(200.0)),
    "cuts-wall": (
        lambda: beside_wall(40.5, basins=(SUNKEN,)), lambda: beside_wall(60.5, basins=(SUNKEN,)),
    ),
    "undermines-wall": (
        lambda: beside_wall(42.9, basins=(STEEP,)), lambda: beside_wall(45.5, basins=(STEEP,)),
    ),
    "loads-wall": (
        lambda: beside_wall(32.5, ponds=(BANKED,)),
        lambda: beside_wall(
            32.5, ponds=(replace(BANKED, shape=shapely.Point(30, 60).buffer(5)),)
        ),
    ),
    "open-batter": (lambda: earth_flags(fall=0.6, limit_m=6.0), lambda: earth_flags(fall=0.08)),
    "spoil-no-place": (
        lambda: earth_flags(DUG),
        lambda: earth_flags(DUG, stockpiles=(Stockpile("Heap", (50.0, 70.0)),)),
    ),
    "leaks": (lambda: proved(over_m=-0.2), proved),
    "sill-shut": (lambda: proved(over_m=0.2), proved),
    "short-circuit": (lambda: proved(arrives_m=1.0), proved),
    "reaches-other": (lambda: proved(reached="Barn"), proved),
    "at-building": (lambda: proved(at_building=True), proved),
    "over-boundary": (lambda: proved(outside_m=40.0), proved),
    "no-spill-way": (lambda: place(spill_side=""), place),
    "building-below": (lambda: place(building_m=80.0), place),
    "fills-seldom": (lambda: place(yearly_mm=20.0), place),
    "no-track": (lambda: track(wall=True), track),
    "needs-ford": (lambda: track(area_m2=4_000_000.0), track),
    "mean-rain": (lambda: track(hardest=1.0), track),
}  # fmt: skip
