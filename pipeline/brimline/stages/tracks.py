"""Tracks between drawn places, with culverts where they cross water."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.config import Access, Drainage
from brimline.elements.crossing import FlowsToCross
from brimline.engine.stage import Stage
from brimline.grid.shapes import cells_inside
from brimline.inputs.rows import wanted_tracks
from brimline.layers import layer
from brimline.lines.tracks import TrackGround
from brimline.stages._frames import frame_of, values_of
from brimline.stages._plan import storms_of

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import BoolGrid


def _run(given: Given, report: Reporter) -> Made:
    params, grid = given.params("access", Access), given.grid
    area_m2 = given.raster("contributing_area_m2")
    ground = TrackGround(
        grid, given.raster("elevation"), _blocked(given),
        area_m2 > given.params("drainage", Drainage).path_area_m2, params.cell_m, params.margin_m,
    )  # fmt: skip
    flows = FlowsToCross(
        given.frame("flow_paths").geometry.to_numpy(), area_m2, grid, storms_of(given).design,
        params.runoff_coefficient, params.dip_m3_s, 2 * params.cell_m,
    )  # fmt: skip
    wanted = wanted_tracks(given.frame("drawn_tracks"), params)
    tracks, rows, crossings = [], [], []
    for number, one in enumerate(wanted):
        report.advanced(number / len(wanted), f"a way for {one.name}")
        track = ground.track(one)
        crossed = flows.along(one.name, track.line, track.width_m) if track.found else []
        row = values_of(track, layer("tracks"), track.found)
        rows.append(row | {"crossings": len(crossed)})
        tracks.append(track.line)
        crossings += crossed
    return {
        "tracks": frame_of(rows, tracks, "tracks", grid),
        "track_crossings": frame_of(
            [values_of(one, layer("track_crossings"), one.built) for one in crossings],
            [one.point for one in crossings], "track_crossings", grid,
        ),
    }  # fmt: skip


def _blocked(given: Given) -> BoolGrid:
    """Cells that are kept clear, hold an element or a roof, or lie beyond the boundary."""
    elements, surfaces = given.frame("elements"), given.frame("surfaces")
    held = elements.geometry.geom_type.isin(("Polygon", "MultiPolygon"))
    kept = [
        *given.frame("keep_out").geometry,
        *elements.loc[held].geometry,
        *surfaces.loc[surfaces["cover"] == "roof"].geometry,
    ]
    return cells_inside(kept, given.grid) | ~cells_inside(
        given.frame("boundary").geometry, given.grid
    )


STAGE = Stage(
    name="tracks",
    version=4,
    title="tracks between drawn places",
    needs=(
        "grid", "near", "elevation", "contributing_area_m2", "flow_paths", "keep_out", "boundary",
        "elements", "surfaces", "storms", "drawn_tracks",
    ),
    makes=("tracks", "track_crossings"),
    run=_run,
    tables=("access", "drainage"),
    near=True,
)  # fmt: skip
