"""Reading the layers that a person draws: all of them, every problem at once."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.io.elevation import inside_data
from brimline.io.frames import conformed, empty
from brimline.io.vectors import Wanted, read_layer
from brimline.layers import layer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.grid import BoolGrid, Elevation, Grid
    from brimline.io.vectors import LayerRead, Source

# Clear distance where none is drawn [m]: common practice, no source; local code decides.
SETBACK_M: Final = {
    "building": 3.0,
    "septic": 15.0,
    "well": 30.0,
    "utility": 2.0,
    "tree": 5.0,
    "road": 2.0,
    "other": 3.0,
}
Kind = Literal["point", "line", "polygon"]

_UNCOVERED_PCT: Final = 0.1  # of the boundary's area; less is a matter of cell edges

_COLUMNS: Final[dict[str, tuple[Wanted, ...]]] = {
    "boundary": (Wanted("name"),),
    "intakes": (Wanted("name"), Wanted("snap", "bool")),
    "surfaces": (
        Wanted("cover", aliases=("land_cover",), required=True),
        Wanted("runoff_coefficient", "float", minimum=0, maximum=1),
        Wanted("name"),
    ),
    "soils": (
        Wanted("group", allowed=("A", "B", "C", "D")),
        Wanted("texture"),
        Wanted("soak_mm_per_h", "float", minimum=0),
    ),
    "keep_out": (
        Wanted("kind", allowed=tuple(SETBACK_M)),
        Wanted("setback_m", "float", minimum=0),
        Wanted("name"),
    ),
    "culverts": (Wanted("name"), Wanted("diameter_m", "float", minimum=0)),
}
_KINDS: Final[dict[str, tuple[Kind, ...]]] = {
    "boundary": ("polygon",),
    "intakes": ("point",),
    "surfaces": ("polygon",),
    "soils": ("polygon",),
    "keep_out": ("point", "line", "polygon"),
    "culverts": ("line",),
}


@dataclass(slots=True)
class SiteRead:
    """The cleaned layers by name, and everything found on the way."""

    layers: dict[str, gpd.GeoDataFrame] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    @property
    def errors(self) -> list[Problem]:
        """The problems that a run cannot go on with."""
        return [problem for problem in self.problems if problem.severity is Severity.ERROR]


def read_site(sources: Mapping[str, Source | None], elevation: Elevation, grid: Grid) -> SiteRead:
    """Read every drawn layer onto the run's CRS; a source that is None gives no rows.

    Parameters
    ----------
    sources : by the names of ``[inputs]``.
    elevation : float32 (rows, cols) [m]; NaN is nodata.
    """
    found = SiteRead()
    covered = inside_data(elevation)
    read = {
        name: read_layer(source, kinds=_KINDS[name], crs=grid.crs, columns=_COLUMNS[name],
                         default_layer=name)
        for name, source in sources.items()
        if source is not None
    }  # fmt: skip
    for part in read.values():
        found.problems += part.problems
    found.layers["boundary"] = _boundary(read.get("boundary"), covered, grid, found)
    found.layers["intakes_drawn"] = _intakes(read.get("intakes"), elevation, grid, found)
    found.layers["keep_out"] = _keep_out(read.get("keep_out"), grid, found)
    for name in ("surfaces", "soils", "culverts"):
        rows = (
            read[name].frame.drop(columns="row") if name in read else empty(layer(name), grid.crs)
        )
        found.layers[name] = _clean(rows, name, grid)
    return found


def _clean(rows: Any, name: str, grid: Grid) -> gpd.GeoDataFrame:  # noqa: ANN401
    return gpd.GeoDataFrame(conformed(rows, layer(name), grid.crs))


def _boundary(
    read: LayerRead | None, covered: BoolGrid, grid: Grid, found: SiteRead
) -> gpd.GeoDataFrame:
    if read is None or read.frame.empty:
        if read is not None and not read.errors:
            found.problems.append(
                Problem(
                    Severity.ERROR,
                    "holds no polygon",
                    "draw the site's outline",
                    str(read.source),
                )
            )
        return _clean(empty(layer("boundary"), grid.crs), "boundary", grid)
    outline = shapely.union_all(read.frame.geometry.to_numpy())
    found.problems += _coverage(outline, covered, grid, str(read.source))
    names = [name for name in read.frame["name"] if isinstance(name, str) and name]
    rows = gpd.GeoDataFrame(
        {"name": [names[0] if names else "site"], "area_m2": [outline.area]},
        geometry=[outline],
        crs=read.frame.crs,
    )
    return _clean(rows, "boundary", grid)


def _coverage(
    outline: shapely.Geometry, covered: BoolGrid, grid: Grid, source: str
) -> list[Problem]:
    """Name the share of the boundary that has no elevation, and on which sides."""
    west, south, east, north = outline.bounds
    left, low, right, high = grid.bounds
    beyond = [
        f"{distance:.0f} m to the {side}"
        for side, distance in (
            ("west", left - west),
            ("south", low - south),
            ("east", east - right),
            ("north", north - high),
        )
        if distance > 0
    ]
    on_grid = outline.intersection(shapely.box(*grid.bounds))
    void_m2 = float((cells_inside([on_grid], grid) & ~covered).sum()) * grid.cell_area_m2
    uncovered_pct = 100 * (outline.area - on_grid.area + void_m2) / outline.area
    if uncovered_pct <= _UNCOVERED_PCT:
        return []
    where = f"; it reaches past the data by {', '.join(beyond)}" if beyond else ""
    return [
        Problem(
            Severity.ERROR,
            f"{uncovered_pct:.1f} % of the boundary has no elevation{where}",
            "add the missing elevation to inputs.elevation, or draw the boundary smaller",
            source,
        )
    ]


def _intakes(
    read: LayerRead | None, elevation: Elevation, grid: Grid, found: SiteRead
) -> gpd.GeoDataFrame:
    if read is None:
        return _clean(empty(layer("intakes_drawn"), grid.crs), "intakes_drawn", grid)
    frame = read.frame
    x, y = frame.geometry.x.to_numpy(), frame.geometry.y.to_numpy()
    row, col = grid.cell(x, y)
    on_data = grid.holds(row, col)
    on_data[on_data] = np.isfinite(elevation[row[on_data], col[on_data]])
    for place in np.flatnonzero(~on_data):
        name = frame["name"].iloc[place]
        label = f'intake "{name}"' if isinstance(name, str) and name else "an intake"
        found.problems.append(
            Problem(
                Severity.ERROR,
                f"{label} at {x[place]:.1f}, {y[place]:.1f} lies where there is no elevation",
                "move it onto the data, or add the missing elevation",
                str(read.source),
                f"row {frame['row'].iloc[place]}",
            )
        )
    rows = gpd.GeoDataFrame(
        {
            "intake_id": np.arange(1, len(frame) + 1),
            "name": frame["name"].to_numpy(),
            "snap": frame["snap"].fillna(value=True).astype(bool).to_numpy(),
        },
        geometry=frame.geometry.to_numpy(),
        crs=frame.crs,
    )
    return _clean(rows, "intakes_drawn", grid)


def _keep_out(read: LayerRead | None, grid: Grid, found: SiteRead) -> gpd.GeoDataFrame:
    """Add the clear distance around each drawn feature."""
    if read is None or read.frame.empty:
        return _clean(empty(layer("keep_out"), grid.crs), "keep_out", grid)
    frame = read.frame
    kinds = frame["kind"].fillna("other")
    usual = kinds.map(SETBACK_M)
    assumed = frame["setback_m"].isna()
    if assumed.any():
        told = ", ".join(
            f"{kind} {SETBACK_M[kind]:g} m" for kind in sorted(set(kinds[assumed].tolist()))
        )
        found.problems.append(
            Problem(
                Severity.WARNING,
                f"{int(assumed.sum())} rows have no setback_m; taken: {told}",
                "fill in setback_m from the local code",
                str(read.source),
            )
        )
    setback = frame["setback_m"].fillna(usual).to_numpy(dtype=np.float64)
    # a point or a line needs some width to be an area
    shapes = shapely.buffer(frame.geometry.to_numpy(), np.maximum(setback, grid.cell_m / 2))
    kept = setback == 0
    polygons = shapely.get_type_id(frame.geometry.to_numpy()) >= 3
    shapes = np.where(kept & polygons, frame.geometry.to_numpy(), shapes)
    rows = gpd.GeoDataFrame(
        pd.DataFrame({"kind": kinds, "setback_m": setback, "name": frame["name"]}),
        geometry=shapes,
        crs=frame.crs,
    )
    return _clean(rows, "keep_out", grid)
