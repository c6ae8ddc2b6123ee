"""Make the second demo site, Fernhollow Yard: an invented school garden of 0.15 ha.

Nothing here is a real place, person or record. There is no map: everything lies in a grid of the
site's own, and levels count from a benchmark. Everything follows from one seed:

    python sample_data/make_fernhollow_yard.py            # writes sample_data/fernhollow_yard/

Ground: a lawn that falls 4 % to the south-west, with a shallow hollow; in the north-east a paved
yard behind a kerb of 12 cm, with a classroom on it. Survey: spot levels by laser level, about 3 m
apart and denser at the kerb, whose top and toe were taken as lines.
"""

from __future__ import annotations

import argparse
import csv
from pathlib import Path

import contourpy
import geopandas as gpd
import numpy as np
import shapely
from make_quillback_hill import write_layers, write_rainfall, write_weather

CRS = (
    'ENGCRS["Local grid",EDATUM["Origin of the site"],CS[Cartesian,2],'
    'AXIS["easting",east,ORDER[1],LENGTHUNIT["metre",1]],'
    'AXIS["northing",north,ORDER[2],LENGTHUNIT["metre",1]]]'
)
WEST, SOUTH, EAST, NORTH = 100.0, 50.0, 148.0, 82.0
SEED = 7_041
KERB_X, KERB_Y, KERB_M, KERB_WIDE_M = 124.0, 66.0, 0.12, 0.04
ROOF = shapely.box(131, 71, 144, 78)
YARD = shapely.box(KERB_X, KERB_Y, EAST, NORTH) - ROOF
HOLLOW = (112.0, 57.5)
LEVEL_ERROR_M = 0.005


def lawn(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Level of the ground without the yard [m]."""
    fall = 10.0 + 0.040 * (y - SOUTH) + 0.008 * (x - WEST)
    waves = 0.04 * np.sin(x / 6.5) * np.cos(y / 5.5)
    hollow = 0.34 * np.exp(-((x - HOLLOW[0]) ** 2 + (y - HOLLOW[1]) ** 2) / (2 * 2.2**2))
    return fall + waves - hollow


def ground(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Level of the ground [m]."""
    paved = (x >= KERB_X) & (y >= KERB_Y)
    return lawn(x, y) + np.where(paved, KERB_M, 0.0)


def levels(rng: np.random.Generator) -> np.ndarray:
    """Spot levels as read: easting, northing, level [m]."""
    across, up = np.meshgrid(
        np.arange(WEST - 1, EAST + 2, 3.0), np.arange(SOUTH - 1, NORTH + 2, 3.0)
    )
    x = across.ravel() + rng.uniform(-0.8, 0.8, across.size)
    y = up.ravel() + rng.uniform(-0.8, 0.8, up.size)
    off_kerb = np.minimum(
        np.abs(x - KERB_X) + 9 * (y < KERB_Y), np.abs(y - KERB_Y) + 9 * (x < KERB_X)
    )
    keep = ~shapely.contains_xy(ROOF.buffer(0.2), x, y) & (off_kerb > 0.15)
    x, y = x[keep], y[keep]
    return np.column_stack([x, y, ground(x, y) + rng.normal(0, LEVEL_ERROR_M, x.size)])


def kerb() -> gpd.GeoDataFrame:
    """Top and toe of the kerb, with their levels."""
    rows = []
    for name, off in (("top of kerb", 0.0), ("toe of kerb", -KERB_WIDE_M)):
        corner = np.array([KERB_X + off, KERB_Y + off])
        west = [(corner[0], y) for y in np.arange(NORTH, corner[1], -2.0)]
        south = [(x, corner[1]) for x in np.arange(corner[0], EAST + 0.1, 2.0)]
        places = np.array([*west, *south])
        level = lawn(places[:, 0], places[:, 1]) + (KERB_M if off == 0 else 0.0)
        rows.append(
            {"name": name, "geometry": shapely.LineString(np.column_stack([places, level]))}
        )
    return gpd.GeoDataFrame(rows, crs=CRS)


def on_contour(level_m: float, west: float, east: float) -> shapely.LineString:
    """Draw a line at a level across the lawn, from west to east."""
    x, y = np.arange(WEST, EAST, 0.25), np.arange(SOUTH, NORTH, 0.25)
    lines = contourpy.contour_generator(x, y, lawn(*np.meshgrid(x, y))).lines(level_m)
    strip = shapely.box(west, SOUTH, east, NORTH)
    parts = [part for line in lines for part in shapely.get_parts(shapely.LineString(line) & strip)]
    longest = max(parts, key=shapely.length)
    line = longest.simplify(0.02)
    return line if line.coords[0][0] < line.coords[-1][0] else line.reverse()


def frame(rows: list[dict[str, object]]) -> gpd.GeoDataFrame:
    """Return rows with a ``shape`` each as a layer."""
    shapes = [row.pop("shape") for row in rows]
    return gpd.GeoDataFrame(rows, geometry=shapes, crs=CRS)


def site_layers() -> dict[str, gpd.GeoDataFrame]:
    """Boundary, surfaces, soil, what to keep clear of, and the kerb."""
    return {
        "boundary": frame([{"name": "Fernhollow Yard", "shape": shapely.box(WEST, SOUTH, EAST, NORTH)}]),
        "surfaces": frame([
            {"name": "Classroom roof", "cover": "roof", "shape": ROOF},
            {"name": "Yard", "cover": "paving", "shape": YARD},
        ]),
        "soils": frame([
            {"group": "B", "texture": "loam", "soak_mm_per_h": 20.0,
             "shape": shapely.box(WEST - 5, SOUTH - 5, EAST + 5, NORTH + 5)},
        ]),
        "keep_out": frame([{"kind": "building", "name": "Classroom", "shape": ROOF}]),
        "breaklines": kerb(),
    }  # fmt: skip


def plan_layers() -> dict[str, gpd.GeoDataFrame]:
    """Draw one of everything that a small site is made of."""
    basin = shapely.Point(HOLLOW).buffer(1.9, 8)
    swale = on_contour(10.62, 104.5, 119.0)
    lip = swale.interpolate(swale.project(shapely.Point(HOLLOW[0], NORTH)))
    over = shapely.LineString([lip, (HOLLOW[0], HOLLOW[1] + 1.5)])
    return {
        "drawn_swales": frame([
            {"name": "Lawn swale", "spills_to": "Fern basin", "depth_m": 0.15, "bottom_m": 0.3,
             "shape": swale},
        ]),
        "drawn_overflows": frame([
            {"from_id": "Lawn swale", "to_id": "Fern basin", "shape": over},
            # to the ditch first, over the lawn path in a dip; when that is full, to the chip bed
            {"name": "Over the path", "from_id": "Fern basin", "to_id": "Ditch", "preference": 1.0,
             "path_m": 1.2, "sill_width_m": 0.5,
             "shape": shapely.LineString([(111.4, 55.9), (108.8, 50.2)])},
            {"name": "To the chips", "from_id": "Fern basin", "to_id": "Chip bed", "preference": 2.0,
             "path_m": None, "sill_width_m": 0.5,
             "shape": shapely.LineString([(110.4, 56.5), (105.6, 53.0)])},
        ]),
        "drawn_basins": frame([
            {"name": "Fern basin", "form": "rain garden", "depth_m": 0.20, "shape": basin},
            {"name": "Chip bed", "form": "mulch basin", "fill": "woodchips", "depth_m": 0.35,
             "spills_to": "Ditch", "shape": shapely.box(103.6, 51.6, 106.0, 53.4)},
        ]),
        "drawn_ponds": frame([
            {"name": "Frog pond", "spills_to": "Lawn swale", "depth_m": 0.6, "side": 1.5,
             "shelf_width_m": 0.5, "shelf_depth_m": 0.15, "lining": "sheet",
             "shape": shapely.Point(119.5, 78.5).buffer(1.8, 8)},
        ]),
        "drawn_tanks": frame([
            {"name": "Roof tank", "spills_to": "Lawn swale", "volume_m3": 2.0, "height_m": 1.5,
             "start_share": 0.5, "shape": shapely.Point(129.5, 70.5)},
            {"name": "Cellar", "spills_to": "Lawn swale", "volume_m3": 3.0, "height_m": 1.0,
             "cover_m": 0.2, "start_share": 0.5, "shape": shapely.Point(125.8, 77.5)},
        ]),
        "drawn_beds": frame([
            {"name": "Bean bed", "spills_to": "Lawn swale", "reservoir_m": 0.25, "void": 0.40,
             "start_share": 0.5, "shape": shapely.box(119.0, 72.5, 121.4, 73.7)},
        ]),
        "drawn_downpipes": frame([
            {"name": "West downpipe", "roof": "Classroom roof", "to_id": "Cellar", "share": 0.5,
             "form": "pipe", "shape": shapely.LineString([(131.0, 76.0), (125.8, 77.5)])},
            {"name": "South downpipe", "roof": "Classroom roof", "to_id": "Roof tank", "share": 0.3,
             "form": "pipe", "shape": shapely.LineString([(131.0, 71.2), (129.5, 70.5)])},
            {"name": "Trough", "roof": "Classroom roof", "to_id": "Frog pond", "share": 0.2,
             "form": "trough", "shape": shapely.LineString([(131.0, 77.8), (121.0, 78.4)])},
        ]),
        "drawn_pipes": frame([
            {"name": "Cellar drain", "from_id": "Cellar", "to_id": "Lawn swale",
             "to_level_m": 10.58, "diameter_mm": 75.0, "cover_m": 0.15,
             "shape": shapely.LineString([(125.8, 77.5), (119.2, 68.0), (118.8, 66.2)])},
        ]),
        "drawn_feeds": frame([
            {"name": "Hand pump", "from_id": "Cellar", "to_id": "Bean bed", "most_m3_d": 0.05,
             "below_share": 0.6, "shape": shapely.LineString([(125.8, 77.5), (121.0, 73.1)])},
            {"name": "Garden tap", "to_id": "Frog pond", "most_m3_d": 0.2, "below_share": 0.4,
             "shape": shapely.LineString([(131.0, 74.0), (121.0, 78.0)])},
        ]),
        "inflow_points": frame([
            {"name": "Lane corner", "into": "Fern basin", "area_m2": 120.0, "runoff_share": 0.7,
             "from_mm": 8.0, "shape": shapely.Point(113.5, 59.0)},
        ]),
        "stockpiles": frame([{"name": "Compost corner", "shape": shapely.Point(140, 56)}]),
        "discharge_points": frame([{"name": "Ditch", "level_m": 9.6, "shape": shapely.Point(108.8, 50.2)}]),
        "planting_zones": frame([
            {"name": "School beds", "planting": "small vegetables", "irrigated": True,
             "draws_on": "Roof tank", "shape": shapely.box(112, 66, 121, 71)},
            {"name": "Beans", "planting": "small vegetables", "irrigated": True,
             "draws_on": "Bean bed", "shape": shapely.box(119.0, 72.5, 121.4, 73.7)},
            {"name": "Fern bank", "planting": "orchard, grassed floor", "irrigated": False,
             "shape": shapely.box(103, 66, 110, 72)},
        ]),
    }  # fmt: skip


def make(folder: Path) -> None:
    """Write every file of the demo site into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    level_seed, weather_seed = np.random.SeedSequence(SEED).spawn(2)
    with (folder / "levels.csv").open("w", newline="", encoding="utf-8") as target:
        writer = csv.writer(target)
        writer.writerow(["point", "easting_m", "northing_m", "level_m", "code"])
        for number, (x, y, z) in enumerate(
            levels(np.random.default_rng(level_seed)).tolist(), start=1
        ):
            code = "yard" if x >= KERB_X and y >= KERB_Y else "lawn"
            writer.writerow([number, f"{x:.2f}", f"{y:.2f}", f"{z:.3f}", code])
    write_layers(folder / "site.gpkg", site_layers())
    write_layers(folder / "plan.gpkg", plan_layers())
    write_rainfall(folder / "rainfall.csv")
    write_weather(folder / "weather.csv", np.random.default_rng(weather_seed), first=2014, years=6)


def main() -> None:
    """Write the demo site beside this script, or where it is told."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    default = Path(__file__).parent / "fernhollow_yard"
    parser.add_argument("folder", nargs="?", type=Path, default=default)
    folder = parser.parse_args().folder
    make(folder)
    print(f"Fernhollow Yard (an invented site) written to {folder}")


if __name__ == "__main__":
    main()
