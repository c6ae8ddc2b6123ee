"""What the map page carries: layers, pictures and the surface, small enough for one file.

The page draws in the run's own projection: coordinates are centimetres east and north of the middle
of the grid, so that lengths, areas and sections are those of the layers, with no reprojection
between. Longitude and latitude are given at a few nodes and interpolated between them.
"""

from __future__ import annotations

import base64
import itertools
import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from brimline.layers import CATALOGUE, FLAGS, Layer, Raster, Table
from brimline.layers.themes import PROPOSALS, THEMES, theme_of
from brimline.report import backdrop, quantities
from brimline.report.attention import codes_of, row_name
from brimline.report.map_surface import packed, quantised
from brimline.report.offers import OFFERS
from brimline.report.palette import STYLES, rule_numbers, style
from brimline.report.plates.classes import class_titles
from brimline.report.ramps import RAMPS, Ramp
from brimline.report.seasons import of_days
from brimline.report.storm import busy_until_h
from brimline.report.tables import head_of
from brimline.units import shown

if TYPE_CHECKING:
    from collections.abc import Callable

    from geopandas import GeoDataFrame
    from numpy.typing import NDArray
    from pandas import DataFrame

    from brimline.report.palette import Ink, Rule
    from brimline.report.results import Results

MOST_VERTICES: Final = 400_000
_PIXELS: Final = 1400
_OVERLAY_PIXELS: Final = 1000
_NODES: Final = 9
_OFF: Final = frozenset({
    "stakes", "soils", "longest_paths", "cultivation_lines", "surfaces", "subcatchments",
    "valley_lines", "ridge_lines", "springs", "obstructions", "proof_paths", "bank_hazards",
})  # fmt: skip  # evidence that would lie over the design
_OVERLAYS: Final = (
    "slope_pct",
    "contributing_area_m2",
    "wetness",
    "catchment_chance",
    "flood_depth_m",
    "flood_speed_m_s",
    *(f"sun_h, {day}" for day in ("shortest day", "growing season", "longest day")),
    *("sun_mj_m2, mean day", "aspect_deg", "shelter_deg", "soil_wetness", "soil_loss_t_ha"),
    *("deposit_t_ha", "soil_depth_m"),
)
_SHOWN: Final = ("length", "level", "area", "small area", "slope", "volume")


def part_names() -> tuple[str, ...]:
    """Return the names of the page's large parts, in the order in which they are drawn."""
    named = [item.name for item in CATALOGUE.values() if isinstance(item, Layer) and item.published]
    order = list(STYLES)  # what is drawn first lies lowest
    named.sort(key=lambda name: order.index(name) if name in STYLES else len(order))
    return (
        *("surface", "ground", "storms"),
        *(f"overlays {name}" for name in _OVERLAYS),
        *(f"offers {name}" for name in OFFERS),
        *(f"layers {name}" for name in named),
    )


def part(results: Results, name: str) -> Any:  # noqa: ANN401 - what JSON can hold
    """Return one part by its name, as plain values; None where the run has nothing for it."""
    kind, _, which = name.partition(" ")
    match kind:
        case "surface":
            dem = results.raster("elevation")
            surface = None if dem is None else quantised(dem, results.grid)
            return None if surface is None else packed(surface, _origin(results))
        case "ground":
            return _ground(results)
        case "storms":
            return _storms(results)
        case "overlays":
            return _overlay(results, which)
        case "offers":
            return _offer(results, which)
    item, frame = CATALOGUE[which], results.layer(which)
    if frame is None or not isinstance(item, Layer):
        return None
    read = results.table("zone_reading")
    declared = CATALOGUE["zone_reading"]
    if (
        which == "zones" and read is not None and isinstance(declared, Table)
    ):  # a click on a zone tells what it offers
        item, frame = _with_columns(item, frame, declared, read)
    return _layer(results, item, frame, _origin(results))


def _with_columns(
    item: Layer,
    frame: GeoDataFrame,
    table: Table,
    rows: DataFrame,
) -> tuple[Layer, GeoDataFrame]:
    """Put the columns of a table beside those of a layer that has the same first column."""
    key = table.columns[0].name
    more = [column for column in table.columns if column.name not in frame.columns]
    both = frame.merge(rows[[key, *(column.name for column in more)]], on=key, how="left")
    return replace(item, columns=(*item.columns, *more)), both


def part_json(results: Results, name: str) -> str | None:
    """Return one part as JSON text."""
    made = part(results, name)
    return None if made is None else _json(made)


def map_json(results: Results, text: Callable[[str], str | None] | None = None) -> str:
    """Return everything that the map page shows as JSON.

    Parameters
    ----------
    text : returns a part as JSON by its name; None makes the parts.
    """
    lists: dict[str, list[str]] = {"overlays": [], "offers": [], "layers": []}
    told = _json(_head(results))[:-1]
    for name in part_names():
        made = part_json(results, name) if text is None else text(name)
        kind, _, which = name.partition(" ")
        if not which:
            told += f',"{kind}":{made or "null"}'
        elif made is not None:
            lists[kind].append(made)
    return told + "".join(f',"{kind}":[{",".join(held)}]' for kind, held in lists.items()) + "}"


def map_data(results: Results) -> dict[str, Any]:
    """Return everything that the map page shows, as plain values."""
    held: dict[str, Any] = json.loads(map_json(results))
    return held


def _json(value: Any) -> str:  # noqa: ANN401 - what JSON can hold
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _origin(results: Results) -> tuple[float, float]:
    west, south, east, north = results.grid.bounds
    return (west + east) / 2, (south + north) / 2


def _head(results: Results) -> dict[str, Any]:
    west, south, east, north = results.grid.bounds
    origin = _origin(results)
    return {
        "site": results.site_name,
        "date": results.date,
        "crs": results.crs_text,
        "origin": origin,
        "bounds": _local(np.array([[west, south], [east, north]]), origin),
        "start": _start(results, origin),
        "design": _design(results, origin),
        "themes": list(THEMES),
        "proposals": PROPOSALS,
        "lonlat": _lonlat(results),
        "shown": {name: _unit(shown(name, results.units)) for name in _SHOWN},
        "metric": results.units == "metric",
        "flags": {code: [flag.meaning, flag.mend, flag.severity] for code, flag in FLAGS.items()},
        "cautions": results.cautions,
    }


def _local(points: NDArray[np.float64], origin: tuple[float, float]) -> list[list[float]]:
    shifted: list[list[float]] = np.round(points - origin, 2).tolist()
    return shifted


def _start(results: Results, origin: tuple[float, float]) -> list[list[float]]:
    layer = results.layer("boundary")
    bounds = results.grid.bounds if layer is None else tuple(layer.total_bounds)
    return _local(np.array(bounds, dtype=np.float64).reshape(2, 2), origin)


def _design(results: Results, origin: tuple[float, float]) -> list[list[float]] | None:
    """Return the ground of the design, on which the page opens; None where nothing is designed."""
    elements = results.layer("elements")
    if elements is None:
        return None
    return _local(np.array(elements.total_bounds).reshape(2, 2), origin)


def _lonlat(results: Results) -> list[list[list[float]]] | None:
    """Return (longitude, latitude) at nodes from south-west, rows northwards; None where local."""
    if not results.grid.crs or CRS.from_user_input(results.grid.crs).is_engineering:
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
    name, _, day = name.partition(", ")
    values, ramp, item = results.raster(name), RAMPS.get(name), CATALOGUE.get(name)
    if values is None or ramp is None or not isinstance(item, Raster):
        return None
    if day:
        values = of_days(results, values, day)
        if values is None or not np.isfinite(values).any():
            return None
    classes = backdrop.classes_of(values, ramp, _OVERLAY_PIXELS)
    return {
        "name": f"{name}, {day}" if day else name,
        "title": f"{item.title}, {day}" if day else item.title,
        "meaning": item.meaning,
        "legend": class_titles(results, ramp),
        "image": _uri("image/png", backdrop.palette_png(classes, ramp)),
    }


def _offer(results: Results, name: str) -> dict[str, Any] | None:
    """Kind of ground as a picture that others are laid over; None where there is none of it."""
    told, fill = OFFERS[name]
    found = told(results)
    if found is None or not found[1].any():
        return None
    words, where = found
    ramp = Ramp(name, (0.5,), (fill.ink.light,), "")
    classes = backdrop.classes_of(where, ramp, _OVERLAY_PIXELS)
    return {
        "name": name,
        "title": words,
        "colour": fill.ink.light,
        "image": _uri("image/png", backdrop.palette_png(classes, ramp)),
    }


def _uri(kind: str, content: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"


def _thinned(shapes: NDArray[Any], cell_m: float) -> NDArray[Any]:
    """Simplify a layer's shapes, further where they are too many for the page."""
    tolerance_m = 0.05 * cell_m
    fine: NDArray[Any] = shapely.simplify(shapes, tolerance_m)
    while shapely.get_num_coordinates(fine).sum() > MOST_VERTICES and tolerance_m < cell_m:
        tolerance_m *= 2
        fine = shapely.simplify(shapes, tolerance_m)
    return fine


def _layer(
    results: Results, item: Layer, frame: GeoDataFrame, origin: tuple[float, float]
) -> dict[str, Any]:
    look = style(item.name)
    columns = [column for column in item.columns if column.name in frame.columns]
    units = [quantities.unit_for(column, results.units, frame[column.name]) for column in columns]
    staked = "stake_id" in frame.columns  # an element's stakes are told apart, as a crew does
    rules = rule_numbers(frame, look.rules).tolist()
    texts = [
        [quantities.text(value, unit, column.dtype) for value in frame[column.name].tolist()]
        for column, unit in zip(columns, units, strict=True)
    ]
    records = frame.drop(columns=frame.geometry.name).to_dict("records")
    shapes = _coordinates(_thinned(frame.geometry.to_numpy(), results.grid.cell_m), origin)
    rows = [
        {
            "r": rule,
            "n": str(row["stake_id"]) if staked else row_name(item, row),
            "v": list(values),
            "g": shape,
            **({"l": label} if (label := _label(look.label, row, results)) else {}),
            **({"f": list(codes)} if (codes := codes_of(row.get("flag"))) else {}),
        }
        for rule, row, values, shape in zip(
            rules, records, zip(*texts, strict=True), shapes, strict=True
        )
    ]
    return {
        "name": item.name,
        "title": item.title,
        "single": look.rules[0].title,
        "group": theme_of(item.name),
        "meaning": item.meaning,
        "on": item.name not in _OFF,
        "columns": [[head_of(column), column.meaning] for column in columns],
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


def _coordinates(shapes: NDArray[Any], origin: tuple[float, float]) -> list[list[Any]]:
    """Return [kind, parts] of each: each part a flat list of centimetres, first whole, then steps.

    A polygon's part is a list of its rings. Of a shape of several kinds, those of the first are
    taken.
    """
    parts, owner = shapely.get_parts(shapes, return_index=True)
    kinds = np.clip(shapely.get_type_id(parts), 0, 3)
    kinds[kinds == 3] = 2
    found: list[list[Any]] = [[0, []] for _ in shapes]
    areas, lines = parts.copy(), parts.copy()
    areas[kinds != 2], lines[kinds == 2] = None, None
    rings, of_part = shapely.get_rings(areas, return_index=True)
    flat_rings = _flat(rings, origin)
    held: list[list[Any]] = [[] for _ in parts]
    for place, flat in zip(of_part.tolist(), flat_rings, strict=True):
        held[place].append(flat)
    for place, (shape, kind, flat) in enumerate(
        zip(owner.tolist(), kinds.tolist(), _flat(lines, origin), strict=True)
    ):
        mine = found[shape]
        if not mine[1]:
            mine[0] = kind
        if mine[0] == kind:
            mine[1].append(held[place] if kind == 2 else flat)
    return found


def _flat(lines: NDArray[Any], origin: tuple[float, float]) -> list[list[int]]:
    points = np.round((shapely.get_coordinates(lines) - origin) * 100).astype(np.int64)
    starts = np.cumsum([0, *shapely.get_num_coordinates(lines).tolist()])
    steps = np.diff(points, axis=0, prepend=np.zeros((1, 2), np.int64))
    first = starts[:-1][np.diff(starts) > 0]
    steps[first] = points[first]
    flat: list[int] = steps.ravel().tolist()
    return [flat[2 * one : 2 * end] for one, end in itertools.pairwise(starts.tolist())]


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
