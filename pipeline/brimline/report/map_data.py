"""What the map page carries: layers, pictures and the surface, small enough for one file.

The page draws in the run's own projection: coordinates are centimetres east and north of the middle
of the grid, so that lengths, areas and sections are those of the layers, with no reprojection
between. Longitude and latitude are given at a few nodes and interpolated between them.
"""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import shapely

from brimline.layers import CATALOGUE, FLAGS, Layer, Raster
from brimline.report import backdrop, quantities
from brimline.report.attention import codes_of, row_name
from brimline.report.map_surface import packed, quantised
from brimline.report.palette import STYLES, style
from brimline.report.plates.classes import class_titles
from brimline.report.ramps import RAMPS
from brimline.report.storm import busy_until_h
from brimline.report.tables import words
from brimline.units import shown

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from numpy.typing import NDArray

    from brimline.grid import Grid
    from brimline.report.palette import Ink, Rule
    from brimline.report.results import Results

MOST_VERTICES: Final = 400_000
_PIXELS: Final = 1400
_OVERLAY_PIXELS: Final = 1000
_NODES: Final = 9
_OFF: Final = frozenset({"stakes", "soils", "longest_paths", "cultivation_lines", "surfaces"})
_OVERLAYS: Final = (
    "slope_pct",
    "contributing_area_m2",
    "wetness",
    "catchment_chance",
    "flood_depth_m",
    "flood_speed_m_s",
)
_GROUPS: Final = {
    "Site": ("boundary", "surfaces", "soils", "keep_out", "culverts", "contours"),
    "Water": ("subcatchments", "hollows", "flow_paths", "longest_paths", "intakes"),
    "Lines": (
        "valley_lines", "ridge_lines", "cultivation_lines", "keylines", "keypoints", "swale_lines",
        "drain_lines",
    ),
}  # fmt: skip
_SHOWN: Final = ("length", "level", "area", "small area", "slope", "volume")


def map_data(results: Results) -> dict[str, Any]:
    """Return everything that the map page shows, as plain values that JSON can hold."""
    grid = results.grid
    west, south, east, north = grid.bounds
    origin = ((west + east) / 2, (south + north) / 2)
    data: dict[str, Any] = {
        "site": results.site_name,
        "date": results.date,
        "crs": results.crs_text,
        "origin": origin,
        "bounds": _local(np.array([[west, south], [east, north]]), origin),
        "start": _start(results, origin),
        "lonlat": _lonlat(results),
        "shown": {name: _unit(shown(name, results.units)) for name in _SHOWN},
        "metric": results.units == "metric",
        "flags": {code: [flag.meaning, flag.mend, flag.severity] for code, flag in FLAGS.items()},
        "ground": _ground(results),
        "overlays": [o for name in _OVERLAYS if (o := _overlay(results, name))],
        "layers": _layers(results, origin),
        "surface": None,
        "storms": _storms(results),
        "cautions": results.cautions,
    }
    dem = results.raster("elevation")
    if dem is not None:
        data["surface"] = packed(quantised(dem, grid), origin)
    return data


def _local(points: NDArray[np.float64], origin: tuple[float, float]) -> list[list[float]]:
    shifted: list[list[float]] = np.round(points - origin, 2).tolist()
    return shifted


def _start(results: Results, origin: tuple[float, float]) -> list[list[float]]:
    layer = results.layer("boundary")
    bounds = results.grid.bounds if layer is None else tuple(layer.total_bounds)
    return _local(np.array(bounds, dtype=np.float64).reshape(2, 2), origin)


def _lonlat(results: Results) -> list[list[list[float]]] | None:
    """Return (longitude, latitude) at nodes from south-west, rows northwards; None without CRS."""
    if not results.grid.crs:
        return None
    west, south, east, north = results.grid.bounds
    x, y = np.meshgrid(np.linspace(west, east, _NODES), np.linspace(south, north, _NODES))
    nodes = gpd.GeoSeries(shapely.points(x.ravel(), y.ravel()), crs=results.grid.crs)
    there = shapely.get_coordinates(nodes.to_crs(4326).to_numpy()).reshape(_NODES, _NODES, 2)
    rounded: list[list[list[float]]] = np.round(there, 9).tolist()
    return rounded


def _unit(unit: Any) -> list[Any]:  # noqa: ANN401 - a Shown
    return [unit.symbol, unit.per_si, unit.digits]


def _ground(results: Results) -> str | None:
    shade = results.raster("hillshade")
    if shade is None:
        return None
    return _uri("image/jpeg", backdrop.jpeg(backdrop.relief(shade, _PIXELS)))


def _overlay(results: Results, name: str) -> dict[str, Any] | None:
    values, ramp = results.raster(name), RAMPS.get(name)
    item = CATALOGUE.get(name)
    if values is None or ramp is None or not isinstance(item, Raster):
        return None
    classes = backdrop.classes_of(values, ramp, _OVERLAY_PIXELS)
    return {
        "name": name,
        "title": item.title,
        "meaning": item.meaning,
        "legend": class_titles(results, ramp),
        "image": _uri("image/png", backdrop.palette_png(classes, ramp)),
    }


def _uri(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"


def _layers(results: Results, origin: tuple[float, float]) -> list[dict[str, Any]]:
    held = [
        (item, frame)
        for item in CATALOGUE.values()
        if isinstance(item, Layer)
        and item.published
        and (frame := results.layer(item.name)) is not None
    ]
    order = list(STYLES)  # what is drawn first lies lowest
    held.sort(key=lambda pair: order.index(pair[0].name) if pair[0].name in STYLES else len(order))
    tolerance_m = _tolerance([frame.geometry.to_numpy() for _, frame in held], results.grid)
    return [_layer(results, item, frame, origin, tolerance_m) for item, frame in held]


def _tolerance(shapes: list[NDArray[Any]], grid: Grid) -> float:
    """Return how far lines may be simplified so that the page stays small [m]."""
    tolerance = 0.05 * grid.cell_m
    for _ in range(6):
        count = sum(
            int(shapely.get_num_coordinates(shapely.simplify(part, tolerance)).sum())
            for part in shapes
        )
        if count <= MOST_VERTICES:
            break
        tolerance *= 2
    return tolerance


def _layer(
    results: Results,
    item: Layer,
    frame: GeoDataFrame,
    origin: tuple[float, float],
    tolerance_m: float,
) -> dict[str, Any]:
    look = style(item.name)
    columns = [column for column in item.columns if column.name in frame.columns]
    units = [quantities.unit_for(column, results.units, frame[column.name]) for column in columns]
    staked = "stake_id" in frame.columns  # an element's stakes are told apart, as a crew does
    rows, shapes = [], shapely.simplify(frame.geometry.to_numpy(), tolerance_m)
    for (_, row), shape in zip(frame.iterrows(), shapes, strict=True):
        texts = [
            quantities.text(row[column.name], unit, column.dtype)
            for column, unit in zip(columns, units, strict=True)
        ]
        rows.append(
            {
                "r": look.rules.index(look.rule(row)),
                "n": str(row["stake_id"]) if staked else row_name(item, row),
                "v": texts,
                "g": _coordinates(shape, origin),
                **({"l": label} if (label := _label(look.label, row, results)) else {}),
                **({"f": list(codes)} if (codes := codes_of(row.get("flag"))) else {}),
            }
        )
    return {
        "name": item.name,
        "title": item.title,
        "single": look.rules[0].title,
        "group": next((group for group, names in _GROUPS.items() if item.name in names), "Works"),
        "meaning": item.meaning,
        "on": item.name not in _OFF,
        "columns": [[words(column.name, column.unit), column.meaning] for column in columns],
        "rules": [_rule(rule) for rule in look.rules],
        "rows": rows,
    }


def _label(column: str, row: Any, results: Results) -> str:  # noqa: ANN401
    value = row.get(column) if column else None
    if column == "level_m" and row.get("index") is not None and not row.get("index"):
        return ""
    if column == "level_m" and value is not None:
        return f"{float(value) * shown('level', results.units).per_si:.4g}"
    return "" if value is None or value != value else str(value)


def _coordinates(shape: Any, origin: tuple[float, float]) -> list[Any]:  # noqa: ANN401
    """Return [kind, parts]: each part a flat list of centimetres, first whole, then steps."""
    kinds = {"Point": 0, "LineString": 1, "Polygon": 2}
    parts = [part for part in shapely.get_parts(shape) if part.geom_type in kinds]
    if not parts:
        return [0, []]
    kind = kinds[parts[0].geom_type]
    if kind == 2:
        rings = [
            [_flat(part.exterior, origin), *(_flat(hole, origin) for hole in part.interiors)]
            for part in parts
        ]
        return [kind, rings]
    return [kind, [_flat(part, origin) for part in parts if part.geom_type == parts[0].geom_type]]


def _flat(line: Any, origin: tuple[float, float]) -> list[int]:  # noqa: ANN401
    points = np.round((shapely.get_coordinates(line) - origin) * 100).astype(np.int64)
    steps = np.diff(points, axis=0, prepend=np.zeros((1, 2), np.int64))
    flat: list[int] = steps.ravel().tolist()
    return flat


def _rule(rule: Rule) -> dict[str, Any]:
    told: dict[str, Any] = {"title": rule.title}
    if rule.line is not None:
        line = rule.line
        told["line"] = [_ink(line.ink), line.width_px, list(line.dash_px), line.arrow]
    if rule.fill is not None:
        told["fill"] = [_ink(rule.fill.ink), rule.fill.opacity, rule.fill.hatch]
    if rule.mark is not None:
        told["mark"] = [_ink(rule.mark.ink), rule.mark.shape, rule.mark.size_px]
    return told


def _ink(ink: Ink) -> list[str]:
    return [ink.light, ink.dark]


def _storms(results: Results) -> list[dict[str, Any]]:
    """Return water levels by time of each storm and element, with the levels that bound them."""
    series, elements = results.table("storm_series"), results.layer("elements")
    if series is None or elements is None:
        return []
    bounds = elements.set_index("element_id")
    found = []
    for storm, rows in series.groupby("storm", sort=False):
        end_h = busy_until_h(rows)
        times = sorted(time for time in rows["time_h"].unique() if time <= end_h)
        parts = []
        for name, own in rows.groupby("element_id", sort=False):
            if name not in bounds.index:
                continue
            levels = own.set_index("time_h")["level_m"].reindex(times)
            parts.append(
                {
                    "id": str(name),
                    "floor": float(bounds.loc[name, "floor_level_m"]),
                    "spill": float(bounds.loc[name, "spill_level_m"]),
                    "crest": float(bounds.loc[name, "crest_level_m"]),
                    "level": [None if v != v else round(float(v), 3) for v in levels],
                }
            )
        found.append(
            {"name": str(storm), "time": [round(float(t), 4) for t in times], "elements": parts}
        )
    return found
