"""Tracks between drawn places, with culverts where they cross water."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.config import Access, Drainage
from brimline.elements.crossing import crossing_of
from brimline.engine.stage import Stage
from brimline.grid.shapes import cells_inside
from brimline.inputs.rows import number_of, text_of
from brimline.layers import layer
from brimline.layers.drawn import usual_of
from brimline.layers.flags import joined
from brimline.lines.tracks import Track, TrackRules, eased, find_track, gentlest_grade_pct
from brimline.rainfall import rational_peak_m3_s
from brimline.stages._frames import frame_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.grid import Grid

_PEAK_S: Final = 600.0  # small catchments answer to the most intense ten minutes
_EVEN: Final = 1.02  # of the mean: rain no harder than that was spread evenly
_MOSTLY: Final = 0.5  # of a place that is kept clear


def _run(given: Given, report: Reporter) -> Made:
    rows, params = given.frame("drawn_tracks"), given.params("access", Access)
    usual: Any = usual_of(layer("drawn_tracks"))
    tracks, lines, crossings, points = [], [], [], []
    for number, row in enumerate(rows.itertuples(index=False), start=1):
        name = text_of(row, "name") or f"track {number}"
        report.advanced((number - 1) / len(rows), f"a way for {name}")
        rules = TrackRules(
            width_m=number_of(row, "width_m", usual["width_m"]),
            most_grade_pct=number_of(row, "most_grade_pct", usual["most_grade_pct"]),
            most_cross_pct=number_of(row, "most_cross_pct", usual["most_cross_pct"]),
            earth_per_m=params.earth_per_m,
            crossing_m=params.crossing_m,
            radius_m=number_of(row, "radius_m", usual["radius_m"]),
        )
        found, line, tightest_m, needs_pct = _found(row.geometry, rules, given)
        crossed = _crossings(name, line, rules, given) if found else []
        crossings += [record for record, _ in crossed]
        points += [point for _, point in crossed]
        lines.append(line)
        tracks.append(
            {
                "track_id": name,
                "width_m": rules.width_m,
                "length_m": line.length,
                "direct_m": row.geometry.length,
                "grade_pct": found.grade_pct if found else None,
                "cross_pct": found.cross_pct if found else None,
                "radius_m": tightest_m,
                "cut_m3": found.cut_m3 if found else None,
                "crossings": len(crossed),
                "needs_grade_pct": needs_pct,
                "flag": "" if found else "no-track",
            }
        )
    return {
        "tracks": frame_of(tracks, lines, "tracks", given.grid),
        "track_crossings": frame_of(crossings, points, "track_crossings", given.grid),
    }


def _found(
    drawn: shapely.LineString, rules: TrackRules, given: Given
) -> tuple[Track | None, shapely.LineString, float | None, float | None]:
    """Seek the way on a coarser grid around what was drawn, and round its corners.

    Last comes the grade that would do where there is none.
    """
    params, grid = given.params("access", Access), given.grid
    factor = max(1, round(params.cell_m / grid.cell_m))
    west, south, east, north = drawn.buffer(params.margin_m).bounds
    (top, bottom), (left, right) = (
        np.clip(cells, 0, size)
        for cells, size in zip(grid.cell([west, east], [north, south]), grid.shape, strict=True)
    )
    rows, cols = (bottom - top) // factor, (right - left) // factor
    if rows < 1 or cols < 1:
        return None, drawn, None, None
    window = grid.window(int(top), int(left), int(rows * factor), int(cols * factor))
    inside = np.s_[top : top + rows * factor, left : left + cols * factor]

    def blocks(values: NDArray[Any]) -> NDArray[Any]:
        return (
            values[inside]
            .reshape(rows, factor, cols, factor)
            .swapaxes(1, 2)
            .reshape(rows, cols, -1)
        )

    kept = [*given.frame("keep_out").geometry]
    elements = given.frame("elements")
    held = elements.geometry.geom_type.isin(("Polygon", "MultiPolygon"))
    kept += [*elements.loc[held].geometry]
    surfaces = given.frame("surfaces")
    kept += [*surfaces.loc[surfaces["cover"] == "roof"].geometry]
    blocked = cells_inside(kept, grid) | ~cells_inside(given.frame("boundary").geometry, grid)
    path = given.raster("contributing_area_m2") > given.params("drainage", Drainage).path_area_m2
    level = blocks(given.raster("elevation")).astype(np.float64).mean(axis=-1)
    row, col = window.cell(*np.array(drawn.coords)[:, :2].T)
    places = [
        (int(np.clip(r // factor, 0, rows - 1)), int(np.clip(c // factor, 0, cols - 1)))
        for r, c in zip(row, col, strict=True)
    ]
    shut: NDArray[np.bool_] = np.greater(blocks(blocked).mean(axis=-1), _MOSTLY)
    for place in places:
        shut[place] = False  # a person drew it there
    wet, cell_m = np.asarray(blocks(path).max(axis=-1)), factor * grid.cell_m
    found = find_track(level, shut, wet, places, rules, cell_m=cell_m)
    if found is None or len(found.cells) < 2:
        needs_pct = gentlest_grade_pct(level, shut, wet, places, rules, cell_m=cell_m)
        return None, drawn, None, needs_pct
    x, y = window.xy(
        (found.cells[:, 0] + 0.5) * factor - 0.5, (found.cells[:, 1] + 0.5) * factor - 0.5
    )
    line, tightest_m = eased(np.column_stack([x, y]))
    radius_m = tightest_m if np.isfinite(tightest_m) else None
    return found, shapely.LineString(line), radius_m, None


def _crossings(
    name: str, line: shapely.LineString, rules: TrackRules, given: Given
) -> list[tuple[dict[str, Any], shapely.Point]]:
    """Return where the track crosses flow paths, and what each crossing takes."""
    paths, grid, params = given.frame("flow_paths"), given.grid, given.params("access", Access)
    near = paths.geometry.to_numpy()[shapely.intersects(paths.geometry.to_numpy(), line)]
    met = shapely.get_parts(shapely.intersection(near, line))
    met = met[shapely.get_type_id(met) == 0]
    found: list[tuple[dict[str, Any], shapely.Point]] = []
    apart_m = 2 * params.cell_m  # one crossing for what is met twice so near
    for at in sorted({round(float(line.project(point)), 2) for point in met}):
        if found and at - found[-1][0]["chainage_m"] < apart_m:
            continue
        point = line.interpolate(at)
        area_m2 = _gathered(point, given, grid)
        hardest, mean = _mm_per_h(given)
        peak = rational_peak_m3_s(params.runoff_coefficient, hardest, area_m2)
        crossing = crossing_of(peak, params.dip_m3_s, rules.width_m + 2.0)  # and a metre of bank
        record: dict[str, Any] = {
            "crossing_id": f"{name} {len(found) + 1}",
            "track_id": name,
            "chainage_m": at,
            "area_m2": area_m2,
            "peak_m3_s": peak,
            "way": crossing.way,
            "barrels": crossing.barrels,
            "diameter_mm": crossing.diameter_mm,
            "flag": joined(
                [
                    *(["needs-ford"] if crossing.way == "ford" else []),
                    *(["mean-rain"] if hardest <= mean else []),
                ]
            ),
        }
        found.append((record, point))
    return found


def _gathered(point: shapely.Point, given: Given, grid: Grid) -> float:
    """Most that drains through a cell beside a point [m²]."""
    area = given.raster("contributing_area_m2")
    row, col = (int(each) for each in grid.cell(point.x, point.y))
    near = area[max(0, row - 1) : row + 2, max(0, col - 1) : col + 2]
    return float(np.nanmax(near)) if np.isfinite(near).any() else math.nan


def _mm_per_h(given: Given) -> tuple[float, float]:
    """Rain of the most intense ten minutes of the design storm, and of all of it [mm/h]."""
    storm = given.facts("storms")["design"]
    depth, step_s = np.array(storm["depth_mm"]), float(storm["step_s"])
    rain = depth[: np.flatnonzero(depth > 0).max(initial=0) + 1]
    steps = max(1, round(_PEAK_S / step_s))
    most = np.convolve(rain, np.ones(steps), "valid").max() if len(rain) >= steps else rain.sum()
    return float(most) / (steps * step_s) * 3600, float(rain.mean()) / step_s * 3600 * _EVEN


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
