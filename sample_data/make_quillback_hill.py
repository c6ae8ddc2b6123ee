"""Make the demo site, Quillback Hill: an invented hillside teaching orchard of 40 ha.

Nothing here is a real place, person or record. The grid lies in the open Atlantic so that nobody
can take it for one. Everything follows from one seed, so the files need not be kept in git:

    python sample_data/make_quillback_hill.py            # writes sample_data/quillback_hill/

Ground: a south-facing hill between a ridge in the north and a stream in the south, with two
primary valleys that turn from steep to gentle halfway down; a lane on a bank that dams the western
valley but for a culvert; an old farm pond in the eastern one; a levelled yard with two sheds.
Survey: bare-earth LiDAR at 1 m with roughness, patchy brush that was not quite filtered out, and
two gaps.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import contourpy
import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
import shapely.affinity
from rasterio.transform import from_origin
from scipy import ndimage

CRS = "EPSG:32626"
WEST_M, NORTH_M = 352_000.0, 5_211_900.0  # open ocean
SIZE = 900  # cells of 1 m each way
SEED = 20_240_229

LANE = np.array(
    [
        (0, 232),
        (120, 238),
        (250, 226),
        (330, 231),
        (430, 252),
        (520, 262),
        (620, 246),
        (760, 262),
        (900, 258),
    ],
    dtype=float,
)
POND_CENTRE = (652.0, 318.0)
YARD = shapely.box(452, 286, 502, 322)
SHEDS = (shapely.box(458, 298, 476, 316), shapely.box(484, 292, 496, 314))
BOUNDARY = [
    (118, 92), (300, 80), (520, 96), (702, 88), (806, 120), (812, 330), (796, 520),
    (770, 690), (610, 726), (420, 716), (262, 722), (140, 660), (108, 430), (124, 260),
]  # fmt: skip


@dataclass(frozen=True)
class Valley:
    """A primary valley: where its floor runs, and how deep and wide it is on the way down."""

    x: float
    sway: float
    key_y: float
    depth: float
    width: float

    def floor_x(self, y: np.ndarray) -> np.ndarray:
        return self.x + self.sway * np.sin(y / 95.0)

    def cut(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """How far the valley lies below the open hillside."""
        down = np.arange(SIZE + 1.0)
        above = np.clip((down - self.key_y) / 260.0, 0, 1)
        below = np.clip((self.key_y - down) / 360.0, 0, 1)
        depth = self.depth * (1 - above) ** 1.6 * (1 - 0.72 * below)
        rounded = np.interp(y, down, ndimage.gaussian_filter1d(depth, 16, mode="nearest"))
        across = (x - self.floor_x(y)) / (self.width * (0.75 + 0.5 * np.interp(y, down, below)))
        return rounded * np.exp(-0.5 * across**2)


VALLEYS = (Valley(292, 16, 470, 9.5, 52), Valley(655, 13, 455, 8.0, 58))


def local(points: list[tuple[float, float]] | np.ndarray) -> np.ndarray:
    """Site coordinates (metres from the south-west corner) to map coordinates."""
    array = np.asarray(points, dtype=float)
    return array + np.array([WEST_M, NORTH_M - SIZE])


def on_map(shape: shapely.Geometry) -> shapely.Geometry:
    """Move a shape from site to map coordinates."""
    return shapely.transform(shape, local)


def stream_y(x: np.ndarray) -> np.ndarray:
    """Where the stream runs, south of the site's slope."""
    return 62 + 9 * np.sin(x / 70.0) + 4 * np.sin(x / 27.0)


def hillside(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Open hillside without valleys: gentle foot, steeper middle, rounded crest."""
    knots = np.array([0, 60, 160, 300, 450, 600, 720, 820, 900])
    levels = np.array([121.5, 122.0, 127.5, 137.0, 151.0, 168.0, 178.5, 183.0, 184.0])
    smooth = ndimage.gaussian_filter1d(
        np.interp(np.arange(SIZE + 1), knots, levels), 35, mode="nearest"
    )
    return np.interp(y + 14 * np.sin(x / 140.0), np.arange(SIZE + 1), smooth) - 0.006 * x


def fractal(
    rng: np.random.Generator, wavelengths: tuple[float, ...], heights: tuple[float, ...]
) -> np.ndarray:
    """Sum of smooth random fields: one standard deviation in metres for each wavelength."""
    total = np.zeros((SIZE, SIZE))
    for wavelength, height in zip(wavelengths, heights, strict=True):
        field = ndimage.gaussian_filter(
            rng.standard_normal((SIZE, SIZE)), wavelength / 4, mode="reflect"
        )
        total += field * (height / field.std())
    return total


def ground(rng: np.random.Generator) -> np.ndarray:
    """Bare ground, row 0 in the north, before the survey adds its noise."""
    y, x = np.meshgrid(SIZE - 0.5 - np.arange(SIZE), np.arange(SIZE) + 0.5, indexing="ij")
    z = hillside(x, y)
    for valley in VALLEYS:
        z -= valley.cut(x, y)
    z += fractal(rng, (160, 45, 14), (0.55, 0.14, 0.035))
    z = _with_stream(z, x, y)
    z = _with_yard(z, x, y)
    z = _with_lane(z, x, y)
    return _with_pond(z, x, y)


def _with_stream(z: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Cut the stream's bed, falling eastwards, with banks."""
    bed = 120.2 - 0.008 * x
    off = np.abs(y - stream_y(x))
    bank = bed + np.clip(off - 1.6, 0, None) * 0.7
    return np.minimum(z, np.maximum(bank, bed))


def _distance(shape: shapely.Geometry, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.asarray(shapely.distance(shapely.points(x, y), shape))


def _with_yard(z: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Level the yard with a slight fall to the south and batters of 1 in 2."""
    window = (np.abs(x - 477) < 60) & (np.abs(y - 304) < 50)
    off = np.full_like(z, 99.0)
    off[window] = _distance(YARD, x[window], y[window])
    level = 136.6 + 0.015 * (y - 304)
    reach = off / 2.0
    return np.clip(z, level - reach, level + reach)


def _with_lane(z: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Lay the lane as a smooth bank or cutting, 4 m wide, with batters of 1 in 1.5."""
    line = shapely.LineString(LANE)
    near = (y > 190) & (y < 300)
    off = np.full_like(z, 99.0)
    off[near] = _distance(line, x[near], y[near])
    along = np.linspace(0, line.length, 1200)
    stations = shapely.get_coordinates(shapely.line_interpolate_point(line, along))
    natural = z[
        (SIZE - 1 - stations[:, 1].astype(int)).clip(0, SIZE - 1),
        stations[:, 0].astype(int).clip(0, SIZE - 1),
    ]
    formation = ndimage.gaussian_filter1d(natural, 55, mode="nearest")
    ford = np.exp(-0.5 * ((stations[:, 0] - VALLEYS[1].floor_x(np.array(250.0))) / 45) ** 2)
    formation = (
        formation * (1 - ford) + ndimage.gaussian_filter1d(natural, 6, mode="nearest") * ford
    )
    chainage = np.zeros_like(z)
    chainage[near] = shapely.line_locate_point(line, shapely.points(x[near], y[near]))
    level = np.interp(chainage, along, formation)
    reach = np.clip(off - 2.0, 0, None) / 1.5
    laid = np.clip(z, level - reach, level + reach)
    return np.where(off < 18, laid, z)


def _with_pond(z: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Dig the old pond; lidar sees its water surface, flat, below a dam with a low place."""
    cx, cy = POND_CENTRE
    ring = np.hypot((x - cx) / 17.0, (y - cy) / 12.0)
    toe = z[(np.hypot(x - cx, y - cy + 12) < 3)].mean()
    water = toe + 0.35
    bowl = water + np.clip((ring - 1.0) * 12.0, 0, None) / 2.5
    z = np.where(ring < 1.5, np.minimum(z, bowl), z)
    dam = shapely.LineString(
        [(cx - 26, cy - 9), (cx - 12, cy - 17), (cx + 12, cy - 17), (cx + 26, cy - 9)]
    )
    window = np.hypot(x - cx, y - cy) < 60
    off = np.full_like(z, 99.0)
    off[window] = _distance(dam, x[window], y[window])
    crest = water + 0.75 - 0.35 * np.exp(-0.5 * ((x - cx - 19) / 2.5) ** 2)
    bank = crest - np.clip(off - 1.5, 0, None) / 2.0
    z = np.where((window) & (off < 8), np.maximum(z, bank), z)
    return np.where(ring < 1.0, water, z)


def survey(rng: np.random.Generator, bare: np.ndarray) -> np.ndarray:
    """Add what the flight saw: roughness everywhere, brush in patches, two gaps."""
    rough = fractal(rng, (3,), (0.018,)) + rng.normal(0, 0.012, bare.shape)
    brush = np.clip(fractal(rng, (70,), (1.0,)) - 0.9, 0, 1)
    tussock = np.abs(fractal(rng, (2.5,), (0.10,)))
    seen = bare + rough + brush * tussock
    y, x = np.meshgrid(SIZE - 0.5 - np.arange(SIZE), np.arange(SIZE) + 0.5, indexing="ij")
    water = np.hypot((x - POND_CENTRE[0]) / 17.0, (y - POND_CENTRE[1]) / 12.0) < 1.0
    seen[water] = bare[water] + rng.normal(0, 0.004, int(water.sum()))
    gaps = (np.hypot(x - 233, y - 588) < 3.2) | (np.hypot((x - 548) / 4.5, y - 402) < 1.4)
    seen[gaps] = np.nan
    return seen.astype(np.float32)


def write_terrain(folder: Path, dem: np.ndarray) -> None:
    """Write the survey as a GeoTIFF in centimetre steps, which is finer than it is exact."""
    profile = {
        "driver": "GTiff", "height": SIZE, "width": SIZE, "count": 1, "dtype": "float32",
        "crs": CRS, "transform": from_origin(WEST_M, NORTH_M, 1, 1), "nodata": -9999.0,
        "compress": "deflate", "predictor": 3, "tiled": True,
    }  # fmt: skip
    steps = np.round(np.where(np.isnan(dem), -9999, dem), 2).astype(np.float32)
    with rasterio.open(folder / "terrain.tif", "w", **profile) as target:
        target.write(steps, 1)
        target.set_band_description(1, "bare-earth elevation of an invented site [m]")


def frame(rows: list[dict[str, object]]) -> gpd.GeoDataFrame:
    """Rows with a `shape` in site coordinates as a layer on the map."""
    shapes = [on_map(row["shape"]) for row in rows]
    attributes = [{key: value for key, value in row.items() if key != "shape"} for row in rows]
    return gpd.GeoDataFrame(attributes, geometry=shapes, crs=CRS)


def site_layers() -> dict[str, gpd.GeoDataFrame]:
    """Draw the inputs that a person would bring: boundary, intakes, surfaces, soils, keep-outs."""
    point, line, polygon, box = shapely.Point, shapely.LineString, shapely.Polygon, shapely.box
    outline = polygon(BOUNDARY)
    west_floor = VALLEYS[0].floor_x(np.array(221.0)).item()
    lane = line(LANE).buffer(2.0, cap_style="flat")
    foot = polygon(
        [(100, 70), (830, 70), (830, 230), (620, 215), (430, 240), (250, 205), (100, 225)]
    )
    wood = polygon([(108, 560), (330, 600), (430, 716), (262, 722), (140, 660)])
    orchard = polygon([(330, 330), (600, 345), (605, 560), (350, 575)])
    built = shapely.union_all([YARD, lane])
    pasture = outline.difference(shapely.union_all([wood, orchard, built]))
    roofs = shapely.union_all(list(SHEDS))
    return {
        "boundary": frame([{"name": "Quillback Hill", "shape": outline}]),
        "intakes": frame([
            {"name": "Lane culvert outfall", "snap": True, "shape": point(west_floor + 4, 214)},
            {"name": "Old pond inlet", "snap": True, "shape": point(POND_CENTRE[0] - 3, 338)},
            {"name": "West keypoint", "snap": True, "shape": point(VALLEYS[0].floor_x(np.array(468.0)).item() + 1, 468)},
            {"name": "East valley head", "snap": True, "shape": point(VALLEYS[1].floor_x(np.array(520.0)).item() - 4, 520)},
            {"name": "Yard drain", "snap": False, "shape": point(477, 284)},
            {"name": "Stream at the east fence", "snap": True, "shape": point(806, stream_y(np.array(806.0)).item())},
        ]),
        "surfaces": frame([
            {"name": "North shed", "cover": "roof", "height_m": 6.0, "shape": SHEDS[0]},
            {"name": "South shed", "cover": "roof", "height_m": 5.0, "shape": SHEDS[1]},
            {"name": "Yard", "cover": "gravel", "shape": YARD.difference(roofs)},
            {"name": "Lane", "cover": "gravel", "shape": lane.difference(YARD)},
            {"name": "Orchard", "cover": "orchard", "shape": orchard.difference(built)},
            {"name": "Ridge wood", "cover": "woods", "height_m": 14.0, "shape": wood.difference(built)},
            {"name": "Pasture", "cover": "pasture", "shape": pasture},
        ]),
        "soils": frame([
            {"name": "Hill loam", "group": "B", "texture": "loam", "soak_mm_per_h": 18.0,
             "shape": box(0, 0, 900, 900).difference(foot)},
            {"name": "Foot clay loam", "group": "C", "texture": "clay loam", "soak_mm_per_h": 4.0, "depth_m": 0.9,
             "shape": foot},
        ]),
        "culverts": frame([
            {"name": "Lane culvert", "diameter_m": 0.45, "shape": line([(west_floor + 2, 245), (west_floor, 210)])},
        ]),
        "keep_out": frame([
            {"name": "North shed", "kind": "building", "setback_m": 6.0, "shape": SHEDS[0]},
            {"name": "South shed", "kind": "building", "setback_m": 6.0, "shape": SHEDS[1]},
            {"name": "Washroom soak field", "kind": "septic", "setback_m": 15.0, "shape": shapely.box(512, 268, 530, 282)},
            {"name": "Bore", "kind": "well", "setback_m": 30.0, "shape": point(420, 344).buffer(0.5)},
            {"name": "Old walnut", "kind": "tree", "setback_m": 9.0, "shape": point(540, 470).buffer(0.5)},
            {"name": "Buried cable", "kind": "utility", "setback_m": 2.0,
             "shape": line([(502, 310), (560, 380), (560, 540), (585, 725)]).buffer(0.2)},
        ]),
    }  # fmt: skip


def level_line(
    smooth: np.ndarray, level: float, west: float, east: float, south: float
) -> shapely.LineString:
    """Trace the contour of a level between two eastings, north of a line, from west to east."""
    lines = contourpy.contour_generator(z=smooth[::-1]).lines(level)
    best: list[tuple[float, float]] = []
    for line in lines:
        x, y = line[:, 0] + 0.5, line[:, 1] + 0.5
        inside = [
            (a, b) for a, b in zip(x, y, strict=True) if west <= a <= east and south <= b <= 215
        ]
        best = max(best, inside, key=len)
    if best[0][0] > best[-1][0]:
        best.reverse()
    return shapely.LineString(best).simplify(0.4)


def plan_layers(bare: np.ndarray) -> dict[str, gpd.GeoDataFrame]:
    """Draw what a designer would: a chain from the lane's outfall to the stream, and one from the roofs."""
    smooth = ndimage.gaussian_filter(bare, 3)
    drain = level_line(smooth, 124.6, 334, 400, 140)
    drain = shapely.LineString([(311, 206), *drain.coords])
    pond = shapely.Point(418, 152).buffer(1.0)
    pond = shapely.affinity.rotate(shapely.affinity.scale(pond, 19, 10), -8)
    rows = ((123.2, 500), (122.5, 500), (121.8, 562))
    swales = [level_line(smooth, level, 392, east, 60) for level, east in rows]
    garden = shapely.box(498, 243, 512, 250)
    return {
        "drawn_drains": frame([
            {"name": "Lane drain", "spills_to": "Hill pond", "lining": "short-grass", "fall_pct": 0.3, "shape": drain},
        ]),
        "drawn_ponds": frame([
            {"name": "Hill pond", "spills_to": "Orchard swale 1", "depth_m": 1.4, "seepage_mm_per_h": 0.05, "shape": pond},
        ]),
        "drawn_swales": frame([
            {"name": f"Orchard swale {number}",
             "spills_to": f"Orchard swale {number + 1}" if number < 3 else None,
             "depth_m": 0.3, "soak_mm_per_h": 16.0, "shape": line}
            for number, line in enumerate(swales, start=1)
        ]),
        "drawn_tanks": frame([
            {"name": "Yard tank", "spills_to": "Rain garden", "volume_m3": 20.0, "height_m": 2.2,
             "roofs": "North shed;South shed", "overflow_mm": 150.0, "start_share": 0.6, "shape": shapely.Point(449, 295)},
        ]),
        "drawn_basins": frame([
            {"name": "Rain garden", "form": "rain garden", "shape": garden},
        ]),
        "drawn_pipes": frame([
            {"name": "Pond low outlet", "from_id": "Hill pond", "to_id": "Orchard swale 1", "diameter_mm": 110.0,
             "from_level_m": 123.45, "to_level_m": 123.32,
             "shape": shapely.LineString([(424, 143), (428, 136)])},
        ]),
        "inflow_points": frame([
            {"name": "Lane gutters", "into": "Lane drain", "peak_m3_s": 0.03, "volume_m3": 60.0, "start_h": 2.5,
             "shape": shapely.Point(311, 207)},
        ]),
        "discharge_points": frame([
            {"name": "Stream outlet", "level_m": 117.0, "shape": shapely.Point(628, stream_y(np.array(628.0)).item())},
        ]),
        "drawn_tracks": frame([
            {"name": "Track to the ridge", "shape": shapely.LineString([(505, 318), (470, 640)])},
        ]),
        "plant_rows": frame([
            {"name": "Willow hedge", "plants": "Willow", "spacing_m": 1.0,
             "shape": shapely.LineString([(520, 250), (560, 246), (600, 240)])},
        ]),
        "drawn_plants": frame([
            {"name": "Yard lemon", "plants": "Lemon", "shape": shapely.Point(450, 320)},
            {"name": "Shed pear", "plants": "Pear", "shape": shapely.Point(478, 318.5)},
        ]),
        "stockpiles": frame([
            {"name": "Heap by the lane", "shape": shapely.Point(372, 170)},
        ]),
        "planting_zones": frame([
            {"name": "Old orchard", "planting": "orchard, grassed floor", "irrigated": False,
             "shape": shapely.box(340, 350, 595, 555)},
            {"name": "Young orchard", "planting": "orchard, grassed floor", "irrigated": True,
             "draws_on": "Hill pond", "plants": "Apple guild; Pear", "spacing_m": 5.0, "fill": "square",
             "edge_m": 1.0, "shape": shapely.box(395, 84, 500, 104)},
            {"name": "Kitchen beds", "planting": "small vegetables", "irrigated": True,
             "draws_on": "Yard tank", "shape": shapely.box(432, 280, 446, 292)},
        ]),
    }  # fmt: skip


PLANTS = """name,kind,layer,spacing_m,height_m,crown_m,mature_y,sun,water,frost_limit_c,kc,kc_dormant,root_depth_m,price_each,size,plant_months,care
Apple,apple on a medium rootstock,canopy,5,4.5,4.5,10,full,moist,-28,0.95,0.3,1.2,24,bare root,11-3,prune @ 1-2 @ 20 | pick @ 9-10 @ 40
Pear,pear on quince,canopy,5,5,4,12,full,moist,-25,0.95,0.3,1.2,26,bare root,11-3,prune @ 1-2 @ 20 | pick @ 9 @ 35
Hazel,hazel,understorey,4,4,3.5,8,full;part,moist,-25,0.9,0.3,1,14,bare root,11-3,cut out oldest stems @ 2 @ 15 | gather @ 9-10 @ 30
Currant,black currant,shrub,1.5,1.4,1.4,4,full;part,moist;wet,-30,0.9,0.3,0.6,6,2 L pot,10-3,cut out a third @ 2 @ 6 | pick @ 7 @ 20
Comfrey,comfrey,herb,0.9,0.9,0.9,2,full;part;shade,moist;wet,-30,0.8,0.1,0.9,2.5,root cutting,3-5,cut for mulch @ 6;8 @ 3
Chives,chives,groundcover,0.3,0.3,0.3,1,full;part,moist,-30,0.8,0.2,0.3,1.5,9 cm pot,3-5,
Lavender,lavender,shrub,0.8,0.6,0.7,3,full,dry;moist,-15,0.5,0.3,0.6,4,1 L pot,4-5,clip @ 8 @ 4
Willow,basket willow,shrub,1,3,1.2,3,full;part,wet;moist,-35,1.0,0.3,1,1.2,cutting,2-3,cut rods @ 2 @ 5
Lemon,lemon,canopy,4,3.5,3,8,full,moist,-2,0.7,0.65,1.2,35,10 L pot,4-5,
"""
GUILDS = """guild,plant,count,radius_m
Apple guild,Apple,1,0
Apple guild,Currant,2,1.8
Apple guild,Comfrey,4,1.3
Apple guild,Chives,6,0.7
"""


def write_layers(path: Path, layers: dict[str, gpd.GeoDataFrame]) -> None:
    """Write layers into one GeoPackage, replacing it."""
    path.unlink(missing_ok=True)
    for name, layer in layers.items():
        layer.to_file(path, layer=name, driver="GPKG", engine="pyogrio")


def write_rainfall(path: Path) -> None:
    """Depth-duration-frequency table by a power law in duration and a Gumbel law in return period."""
    durations_h = (0.25, 0.5, 1, 2, 3, 6, 12, 24)
    periods_y = (2, 5, 10, 25, 50, 100)
    with path.open("w", newline="", encoding="utf-8") as target:
        writer = csv.writer(target)
        writer.writerow(["duration_h", *(f"depth_mm_{period}y" for period in periods_y)])
        for hours in durations_h:
            reduced = [-np.log(-np.log(1 - 1 / period)) for period in periods_y]
            depths = [(17.5 + 5.6 * value) * hours**0.33 for value in reduced]
            writer.writerow([hours, *(f"{depth:.1f}" for depth in depths)])


def write_weather(path: Path, rng: np.random.Generator, first: int = 2004, years: int = 16) -> None:
    """Daily weather with wet winters and dry summers: a two-state chain with gamma depths."""
    days = pd.date_range(f"{first}-01-01", f"{first + years - 1}-12-31")
    season = np.cos(2 * np.pi * (days.day_of_year.to_numpy() - 20) / 365.25)  # 1 in midwinter
    year_mood = rng.normal(0, 0.18, years)[days.year.to_numpy() - first]
    after_wet, after_dry = (
        0.58 + 0.14 * season + year_mood / 3,
        0.24 + 0.13 * season + year_mood / 3,
    )
    wet = np.zeros(len(days), dtype=bool)
    for day in range(1, len(days)):
        wet[day] = rng.random() < (after_wet if wet[day - 1] else after_dry)[day]
    rain = np.where(wet, rng.gamma(0.75, 7.6, len(days)), 0).round(1)
    warmth = ndimage.gaussian_filter1d(rng.normal(0, 6, len(days)), 2)
    mean = 12.0 - 6.8 * season + warmth
    spread = 8.5 - 2.6 * season - 2.2 * wet + rng.normal(0, 0.9, len(days))
    spread = np.clip(spread, 2, None)
    with path.open("w", newline="", encoding="utf-8") as target:
        writer = csv.writer(target)
        writer.writerow(["date", "precipitation_mm", "temp_max_c", "temp_min_c"])
        for day, depth, middle, width in zip(days, rain, mean, spread, strict=True):
            row = (
                day.date().isoformat(),
                f"{depth:.1f}",
                f"{middle + width / 2:.1f}",
                f"{middle - width / 2:.1f}",
            )
            writer.writerow(row)


def make(folder: Path) -> None:
    """Write every file of the demo site into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    terrain_seed, survey_seed, weather_seed = np.random.SeedSequence(SEED).spawn(3)
    bare = ground(np.random.default_rng(terrain_seed))
    write_terrain(folder, survey(np.random.default_rng(survey_seed), bare))
    write_layers(folder / "site.gpkg", site_layers())
    write_layers(folder / "plan.gpkg", plan_layers(bare))
    (folder / "plants.csv").write_text("# Invented plants and prices.\n" + PLANTS, encoding="utf-8")
    (folder / "guilds.csv").write_text(GUILDS, encoding="utf-8")
    write_rainfall(folder / "rainfall.csv")
    write_weather(folder / "weather.csv", np.random.default_rng(weather_seed))


def main() -> None:
    """Write the demo site beside this script, or where it is told."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    default = Path(__file__).parent / "quillback_hill"
    parser.add_argument("folder", nargs="?", type=Path, default=default)
    folder = parser.parse_args().folder
    started = dt.datetime.now(tz=dt.UTC)
    make(folder)
    seconds = (dt.datetime.now(tz=dt.UTC) - started).total_seconds()
    print(f"Quillback Hill (an invented site) written to {folder} in {seconds:.1f} s")


if __name__ == "__main__":
    main()
