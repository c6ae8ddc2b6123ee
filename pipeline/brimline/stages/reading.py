"""Reading the site: cold air, and what cells and zones offer, in classes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy import ndimage

from brimline.config import ColdAir, Growing, PlantingPlan, Terrain
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.inputs.planting import zone_shapes
from brimline.layers.reading import PERIODS
from brimline.planting import WETNESS
from brimline.stages._frames import held, table_of
from brimline.stages._planting import wetness_of
from brimline.sun.cold_air import cold_pools, looked_m
from brimline.sun.path import season
from brimline.terrain.slope import gradient
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.engine.stage import Given, Made, Reporter

_POINTS: Final = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
_SUN: Final = ("shade", "part", "full")
_WIND: Final = ("exposed", "part", "sheltered")
_DEPTHS: Final = ("thin", "medium", "deep")
_SLOPES: Final = ("gentle", "moderate", "steep", "very steep")
_LEVEL_PCT: Final = 1.0  # ground gentler faces no way


def _run(given: Given, report: Reporter) -> Made:
    grid, dem = given.grid, given.raster("elevation")
    calm = smoothed(
        dem, cell_m=grid.cell_m, sigma_m=given.params("terrain", Terrain).curvature_smooth_m
    )
    rises = gradient(calm, cell_m=grid.cell_m)
    report.advanced(0.3, "cold air")
    cold = given.params("cold_air", ColdAir)
    around = 2 * round(cold.radius_m / grid.cell_m)  # so that no cut survey seems too narrow
    pools = cold_pools(
        *(given.raster(each, around=around) for each in ("elevation", "curvature", "slope_pct")),
        cell_m=grid.cell_m, radius_m=cold.radius_m, lowest_share=cold.lowest_share,
        least_relief_m=cold.least_relief_m,
    )[given.block().inside(given.block(around))]  # fmt: skip
    shape = given.block(around).shape
    wide_m = looked_m(shape, cell_m=grid.cell_m, radius_m=cold.radius_m)
    if wide_m < cold.radius_m:
        message = (
            f"the elevation is too narrow to look {cold.radius_m:g} m around for cold air: places"
            f" are ranked within {wide_m:.0f} m; slopes above and the valley below are not seen"
        )
        mend = "hand over elevation of the ground around, or go there at dawn after a clear night"
        report.problem(Problem(Severity.NOTICE, message, mend, "elevation"))
    sun_h = given.raster("sun_h")
    in_season = sun_h[list(season(given.facts("sun").get("latitude_deg", 0.0)))].mean(axis=0)
    wet = wetness_of(given, given.params("planting", PlantingPlan))
    layers = {
        "season": in_season,
        "winter": sun_h[PERIODS.index("shortest day")],
        "shelter": given.raster("shelter_deg"),
        "depth": given.raster("soil_depth_m"),
        "dug": given.raster("soil_dug"),
        "slope": 100 * np.hypot(*rises),  # of the smoothed ground: a clod is no slope
        "wet": wet,
        "pools": pools,
        "loss": given.raster("soil_loss_t_ha"),
    }
    springs = given.frame("springs").geometry
    steep = layers["slope"] > given.params("growing", Growing).machine_pct
    layers["machine"] = _machine(steep, np.isfinite(dem), given)
    rows = [
        _zone(name, shape, layers, rises, given) | {"springs": int(springs.intersects(shape).sum())}
        for name, shape in zone_shapes(given.frame("planting_zones")).items()
    ]
    return {
        "cold_air": pools,
        "aspect_deg": held("aspect_deg", _aspect(*rises)),
        "machine_ground": layers["machine"],
        "growing": _codes(layers, given.params("growing", Growing), np.isfinite(dem)),
        "zone_reading": table_of([row for row in rows if "zone_id" in row], "zone_reading"),
    }


def _aspect(east: NDArray[Any], north: NDArray[Any]) -> NDArray[np.floating]:
    """Bearing that ground falls to [°]; NaN where it is all but level."""
    level = 100 * np.hypot(east, north) < _LEVEL_PCT
    return np.where(level, np.nan, np.degrees(np.arctan2(-east, -north)) % 360)


def _machine(steep: NDArray[np.bool_], known: NDArray[np.bool_], given: Given) -> NDArray[np.uint8]:
    """1 where a machine has its width on ground that is not too steep, 255 unknown."""
    half = given.params("growing", Growing).machine_width_m / 2 / given.grid.cell_m
    free = known & ~steep
    if half >= 1:
        # ground of a strip of its width: far enough from what is steep, or beside such a place
        inner = ndimage.distance_transform_edt(np.pad(free, 1, mode="edge"))[1:-1, 1:-1] > half
        free &= ndimage.distance_transform_edt(~inner) <= half + 0.5
    return np.where(known, free, 255).astype(np.uint8)


def _codes(
    layers: dict[str, NDArray[Any]], limits: Growing, known: NDArray[np.bool_]
) -> NDArray[np.int32]:
    """Classes of each cell from 1, a digit each; 0 is not known."""
    wet, pools = layers["wet"], layers["pools"]
    digits = [
        _digits(layers[name], each)
        for name, each in (
            ("season", limits.sun_h), ("shelter", limits.shelter_deg), ("depth", limits.depth_m),
            ("slope", limits.slope_pct),
        )
    ]  # fmt: skip
    digits += [np.where(wet < len(WETNESS), wet + 1, 0), np.where(pools <= 1, pools + 1, 0)]
    code = np.zeros(known.shape, dtype=np.int32)
    for digit in digits:
        code = 10 * code + digit.astype(np.int32)
    return np.where(known, code, 0).astype(np.int32)


def _digits(values: NDArray[Any], limits: tuple[float, ...]) -> NDArray[np.int64]:
    classes: NDArray[np.int64] = np.searchsorted(limits, np.nan_to_num(values), "right") + 1
    return np.where(np.isfinite(values), classes, 0)


def _mean(values: NDArray[Any]) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else None


def _zone(
    name: str,
    shape: Any,  # noqa: ANN401 - a geometry
    layers: dict[str, NDArray[Any]],
    rises: tuple[NDArray[Any], NDArray[Any]],
    given: Given,
) -> dict[str, Any]:
    """Return what a zone offers; nothing where it lies off the data."""
    limits, slope_pct = given.params("growing", Growing), layers["slope"]
    inside = cells_inside([shape], given.grid) & np.isfinite(slope_pct)
    if not inside.any():  # smaller than a cell
        inside = cells_inside([shape], given.grid, all_touched=True) & np.isfinite(slope_pct)
    if not inside.any():
        return {}
    sun_h = _mean(layers["season"][inside])
    slope = float(slope_pct[inside].mean())
    shelter, depth = _mean(layers["shelter"][inside]), _mean(layers["depth"][inside])
    pools = layers["pools"][inside]
    cold = float((pools[pools <= 1] == 1).mean()) if (pools <= 1).any() else None
    east, north = (_mean(each[inside]) or 0.0 for each in rises)
    turn = int(np.rint(np.degrees(np.arctan2(-east, -north)) / 45)) % 8
    return {
        "zone_id": name,
        "area_m2": float(inside.sum()) * given.grid.cell_area_m2,
        "sun_season_h": sun_h,
        "sun_winter_h": _mean(layers["winter"][inside]),
        "sun_class": None if sun_h is None else _SUN[_class(sun_h, limits.sun_h)],
        "cold_share": cold,
        "cold_class": None if cold is None else _cold(cold, limits.cold_share),
        "shelter_deg": shelter,
        "wind_class": None if shelter is None else _WIND[_class(shelter, limits.shelter_deg)],
        "depth_m": depth,
        "depth_class": None if depth is None else _DEPTHS[_class(depth, limits.depth_m)],
        "dug_share": float((layers["dug"][inside] == 1).mean()),
        "wet_share": float((layers["wet"][inside] == WETNESS.index("wet")).mean()),
        "dry_share": float((layers["wet"][inside] == WETNESS.index("dry")).mean()),
        "slope_pct": slope,
        "slope_class": _SLOPES[_class(slope, limits.slope_pct)],
        "faces": "level" if 100 * np.hypot(east, north) < _LEVEL_PCT else _POINTS[turn],
        "machine_share": float((layers["machine"][inside] == 1).mean()),
        "soil_loss_t_ha": _mean(layers["loss"][inside]),
    }


def _cold(share: float, limits: tuple[float, float]) -> str:
    free, hollow = limits
    return "free" if share <= free else "frost hollow" if share >= hollow else "mixed"


def _class(value: float, limits: tuple[float, ...]) -> int:
    return int(np.searchsorted(limits, value, "right"))


STAGE = Stage(
    name="reading",
    version=3,
    title="cold air, and what cells and zones offer",
    needs=(
        "grid", "near", "elevation", "slope_pct", "curvature", "soil_wetness", "boundary", "sun_h",
        "sun", "shelter_deg", "soil_depth_m", "soil_dug", "soil_loss_t_ha", "springs",
        "planting_zones",
    ),
    makes=("cold_air", "aspect_deg", "machine_ground", "growing", "zone_reading"),
    run=_run,
    tables=("cold_air", "growing", "planting", "terrain"),
    near=True,
)  # fmt: skip
