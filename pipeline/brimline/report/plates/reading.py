"""What the site is like: where the sun falls, where cold and wet gather, where soil may go."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import shapely
from scipy import ndimage

from brimline.grid.shapes import outlines
from brimline.report.offers import OFFERS
from brimline.report.palette import (
    BROWN,
    CYAN,
    INK,
    Fill,
    LineStyle,
    Rule,
)
from brimline.report.plates.on_site import draw_around, on_site
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.report.ramps import RAMPS
from brimline.sun.cold_air import looked_m
from brimline.units import counted, shown

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results

_PATCH_M = 2.0  # half the width of the finest patch that is drawn
_MOSTLY = 0.5
_WIND = {
    "exposed": "exposed to wind",
    "part": "partly sheltered from wind",
    "sheltered": "sheltered from wind",
}
_POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


def aspect(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the ways that the ground faces."""
    bearing = results.raster("aspect_deg")
    if bearing is None or not (known := on_site(results, bearing)).size:
        return None
    sheet = Sheet(results, frame, ramp=RAMPS["aspect_deg"], values=bearing)
    draw_around(sheet)
    points = np.bincount(np.rint(known / 45).astype(int) % 8, minlength=8) / known.size
    words = [f"{_POINTS[at]} {100 * points[at]:.0f} %" for at in np.argsort(-points)[:3]]
    return Plate(
        "aspect",
        "Ways that the ground faces",
        sheet.svg("aspect"),
        f"Map of the compass bearing that the ground falls to, mostly {_POINTS[points.argmax()]}.",
        f"Bearings from north, 0°, by east, 90°: most of the site faces {', '.join(words)}. Ground "
        "that is all but level is left without colour.",
    )


def machine_ground(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the ground that the stated machine works."""
    works = results.raster("machine_ground")
    if works is None:
        return None
    steepest = float(results.parameter("growing", "machine_pct") or 0)
    width_m = float(results.parameter("growing", "machine_width_m") or 0)
    width = shown("length", results.units).text(width_m)
    return _marked(
        results, frame, works == 0,
        ("machine-ground", "Ground for machines", "Too steep, or narrow"),
        Fill(BROWN, 0.8, "slash"),
        f"A machine that works to {steepest:g} % and needs {width} reaches the {{rest:.0f}} % of "
        "the site that is not hatched. Wet ground, stones and gates are not seen.",
    )  # fmt: skip


def cold_air(results: Results, frame: MapFrame) -> Plate | None:
    """Draw where cold air pools."""
    pools = results.raster("cold_air")
    if pools is None:
        return None
    radius_m = float(results.parameter("cold_air", "radius_m") or np.inf)
    wide_m = looked_m(pools.shape, cell_m=results.grid.cell_m, radius_m=radius_m)
    told = (
        "On still, clear nights cold air drains downhill and pools on {share:.0f} % of the site: "
        "low among what lies around, not steep, not bulging. It ranks places and gives no degrees; "
        "hedges, walls and banks that dam it are not seen."
    )
    if wide_m < radius_m:
        width = shown("length", results.units).text(wide_m)
        told += (
            f" The survey is narrow: places are ranked within {width}, so slopes above and the"
            " valley below are not seen. Go there at dawn after a clear night."
        )
    known = on_site(results, np.where(pools == 255, np.nan, pools))
    if not known.size:
        told = (
            "The survey shows too little ground to tell where cold air pools: it hardly rises or "
            "falls, and what lies beyond decides. Go there at dawn after a clear night."
        )
    return _marked(
        results, frame, pools == 1, ("cold-air", "Where cold air pools", "Cold air pools"),
        Fill(CYAN, 0.6), told,
    )  # fmt: skip


def _marked(
    results: Results,
    frame: MapFrame,
    where: NDArray[np.bool_],
    named: tuple[str, str, str],
    fill: Fill,
    told: str,
) -> Plate:
    """Draw one kind of ground; `told` has places for its share of the site, and the rest."""
    name, title, words = named
    sheet = Sheet(results, frame)
    shapes = _areas(where, results)
    if shapes:
        rows = gpd.GeoDataFrame(geometry=shapes, crs=results.grid.crs)
        sheet.rule(Rule(words, fill=fill), rows)
    draw_around(sheet)
    known = on_site(results, where.astype(np.float32))
    share = 100 * float(known.mean()) if known.size else 0.0
    told = told.format(share=share, rest=100 - share)
    return Plate(name, title, sheet.svg(name), f"Map: {title.lower()}.", told)


def wetness(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the wetness index with the places where springs are likely."""
    index, springs = results.raster("soil_wetness"), results.frames.get("springs")
    if index is None or springs is None:
        return None
    sheet = Sheet(results, frame, ramp=RAMPS["soil_wetness"], values=index)
    sheet.draw("flow_paths")
    draw_around(sheet)
    sheet.draw("springs")
    where = (
        f"Going down, the wettest ground begins at {counted(len(springs), 'triangle')}: there water"
        " comes out first where soil is alike all over (O'Loughlin 1986)."
        if len(springs)
        else "Nowhere does enough ground lie above to make a spring likely."
    )
    return Plate(
        "wetness",
        "Wet ground and likely springs",
        sheet.svg("wetness"),
        f"Map of the wetness index and {counted(len(springs), 'place')} where springs are likely.",
        "Darker ground has more land above it and less fall to drain it (topographic wetness index,"
        f" Beven and Kirkby 1979). {where} Rock, clay and old drains may lead water elsewhere: walk"
        " the site after a wet spell before anything is built or planted.",
    )


def soil_loss(results: Results, frame: MapFrame) -> Plate | None:
    """Draw what rain may take in a year."""
    loss = results.raster("soil_loss_t_ha")
    if loss is None or not (known := on_site(results, loss)).size:
        return None
    sheet = _over_soil(results, frame, "soil_loss_t_ha", loss)
    limit = float(results.parameter("soil_loss", "tolerable_t_ha") or 0)
    share, mean = 100 * float((known > limit).mean()), float(known.mean())
    return Plate(
        "soil-loss",
        "Soil that rain may take",
        sheet.svg("soil-loss"),
        f"Map of the soil that sheet and rill may take in a year, {mean:.1f} t/ha on average.",
        f"By the revised universal soil loss equation: {np.median(known):.1f} t/ha a year on half "
        f"of the site or less, {mean:.1f} on average, above {limit:g} t/ha, which soil is taken to "
        f"make good, on {share:.0f} %. It is made for comparing places and covers, not for tonnes; "
        "gullies and flow paths are not in it.",
    )


def deposits(results: Results, frame: MapFrame) -> Plate | None:
    """Draw where soil from above settles."""
    settles = results.raster("deposit_t_ha")
    if settles is None or not (known := on_site(results, settles)).size:
        return None
    sheet = _over_soil(results, frame, "deposit_t_ha", _spread(settles, results.grid.cell_m))
    share = 100 * float((known >= RAMPS["deposit_t_ha"].breaks[0]).mean())
    return Plate(
        "deposits",
        "Where soil settles",
        sheet.svg("deposits"),
        f"Map of where soil from above comes to lie, on {share:.0f} % of the site.",
        f"Where water slows it carries less, and soil from above comes to lie: on {share:.0f} % of "
        "the site more than 1 t/ha a year. Read it for where, not for how much: swale floors, "
        "basins and ponds below such places fill first, and soil is deepest there. What reaches a "
        "flow path is taken to go on.",
    )


def soil_depth(results: Results, frame: MapFrame) -> Plate | None:
    """Draw how deep the soil is, as dug or as guessed."""
    depth = results.raster("soil_depth_m")
    if depth is None or not on_site(results, depth).size:
        return None
    sheet = Sheet(results, frame, ramp=RAMPS["soil_depth_m"], values=depth)
    draw_around(sheet)
    soils = results.layer("soils")
    dug = None if soils is None else soils[soils["depth_m"].notna()]
    if dug is not None and len(dug):
        sheet.rule(Rule("Depth as dug", line=LineStyle(INK, 1.4, (2.0, 2.0))), dug)
    least, most = results.parameter("growing", "usual_depth_m") or (0.3, 1.2)
    length = shown("length", results.units)
    where = (
        "Within the dotted line somebody dug; elsewhere"
        if dug is not None and len(dug)
        else "Nobody has dug: everywhere"
    )
    return Plate(
        "soil-depth",
        "How deep the soil may be",
        sheet.svg("soil-depth"),
        "Map of the depth of soil, as dug or guessed by slope.",
        f"{where} it is a guess by slope alone, from {length.text(least)} on the steepest ground "
        f"to {length.text(most)} on the gentlest. It compares places; only a spade tells. Dig "
        "where trees and ponds are to stand, and write the depths into soils.",
    )


def _spread(values: NDArray[np.float32], cell_m: float) -> NDArray[np.float32]:
    """Mean over what is near of what is known: single cells of a fine survey are its noise."""
    wide = 2 * round(_PATCH_M / cell_m) + 1
    known = np.isfinite(values)
    total, share = (
        ndimage.uniform_filter(each.astype(np.float32), wide)
        for each in (np.where(known, values, 0), known)
    )
    return np.where(known, total / np.maximum(share, 1e-6), np.nan).astype(np.float32)


def _over_soil(results: Results, frame: MapFrame, name: str, values: NDArray[np.float32]) -> Sheet:
    sheet = Sheet(results, frame, ramp=RAMPS[name], values=values)
    for layer in ("flow_paths", "surfaces", "zones", "boundary"):
        sheet.draw(layer, unfilled=True, label=layer == "zones")
    return sheet


def together(results: Results, frame: MapFrame) -> Plate | None:
    """Lay cold air, wet, exposed, thin and steep ground and loss of soil on top of each other."""
    zones = results.table("zone_reading")
    if results.raster("growing") is None or results.raster("soil_loss_t_ha") is None:
        return None
    sheet = Sheet(results, frame)
    for told, fill in OFFERS.values():
        found = told(results)
        if found is None:
            continue
        words, where = found
        shapes = _areas(where, results)
        if shapes:
            sheet.rule(
                Rule(words, fill=fill), gpd.GeoDataFrame(geometry=shapes, crs=results.grid.crs)
            )
    sheet.draw("contours", only="Index contour")
    sheet.draw("zones", label=True, unfilled=True)
    sheet.draw("springs")
    sheet.draw("boundary")
    lines = [_offered(row) for row in ([] if zones is None else zones.to_dict("records"))]
    return Plate(
        "together",
        "What the ground offers",
        sheet.svg("together"),
        "Map of where cold air pools, ground stays wet, sun lacks, wind is kept off, soil is thin "
        "or may be lost and machines cannot go, with the planting zones.",
        "Small patches are left out. Cold air, wetness and depth of soil that nobody dug rank the "
        "places of this site; they are no measurements. "
        + ("; ".join(lines) + "." if lines else "No planting zone is drawn."),
    )


def _offered(row: Mapping[Any, Any]) -> str:
    """Say what a zone offers."""
    guessed = "" if row["dug_share"] >= _MOSTLY else " as guessed"
    return (
        f"{row['zone_id']}: {row['sun_class'] or 'unknown'} sun, "
        f"{_WIND.get(row['wind_class'], 'wind unknown')}, cold air "
        f"{row['cold_class'] or 'unknown'}, {100 * row['wet_share']:.0f} % wet, soil "
        f"{row['depth_class'] or 'unknown'}{guessed}, {row['slope_class']}, faces {row['faces']}"
    )


def access(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the tracks over the slopes."""
    tracks = results.layer("tracks")
    slope = results.raster("slope_pct")
    if tracks is None or slope is None:
        return None
    sheet = Sheet(results, frame, ramp=RAMPS["slope_pct"], values=slope)
    for name in ("contours", "flow_paths", "keep_out", "elements", "boundary"):
        sheet.draw(name, unfilled=True)
    sheet.draw("tracks", label=True)
    sheet.draw("track_crossings")
    length = shown("length", results.units)
    earth = shown("earth", results.units)
    lines = [
        f"{row['track_id']}: no way within its limits, and the line is as drawn: let it pass "
        "elsewhere, or allow a steeper grade or tighter curves"
        if row["flag"]
        else f"{row['track_id']}: {length.text(row['length_m'])}, at most {row['grade_pct']:.0f} % "
        f"along and {row['cross_pct']:.0f} % across, {earth.text(row['cut_m3'])} dug, crosses "
        f"{counted(row['crossings'], 'flow path')}"
        for row in tracks.to_dict("records")
    ]
    return Plate(
        "access",
        "Tracks",
        sheet.svg("access"),
        f"Map of {counted(len(tracks), 'track')} over the slope of the ground.",
        "; ".join(lines)
        + ". A way that was found is a proposal on a coarse grid: peg and ease it on "
        "site. Stones, wet ground, gates and trees are not seen.",
    )


def _areas(where: NDArray[np.bool_], results: Results) -> list[BaseGeometry]:
    """Outlines of cells, patches too small to draw left out."""
    grid = results.grid
    wide = 2 * max(1, round(_PATCH_M / grid.cell_m)) + 1
    calm = ndimage.uniform_filter(where.astype(np.float32), wide) > _MOSTLY
    shapes = outlines(calm.astype(np.int32), grid).values()
    parts = [part for shape in shapes for part in shapely.get_parts(shape)]
    least_m2 = (5 * _PATCH_M) ** 2
    return [part.simplify(grid.cell_m) for part in parts if part.area >= least_m2]
