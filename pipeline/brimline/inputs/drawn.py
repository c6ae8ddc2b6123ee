"""Reading the layers that a person draws: all of them, every problem at once."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from brimline.balance.soil import texture
from brimline.errors import Problem, Severity
from brimline.grid.shapes import cells_inside
from brimline.inputs.doubts import ground_doubts
from brimline.io.coverage import boundary_problems, off_data_problems, outline_of
from brimline.io.elevation import inside_data
from brimline.io.frames import conformed, empty
from brimline.io.vectors import WantedColumn, read_layer
from brimline.layers import layer
from brimline.rainfall.covers import COVERS
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.grid import BoolGrid, Elevation, Grid
    from brimline.io.vectors import Kind, LayerRead, VectorSource

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
# where polygons of one layer lie over one another
_WHICH_COUNTS: Final = {
    "boundary": "they were joined",
    "surfaces": "the later row counts for cover",
    "soils": "the later row counts",
}
_OVERLAP_M2: Final = 1.0
SOURCES: Final = ("boundary", "intakes", "surfaces", "soils", "keep_out", "culverts")

_COLUMNS: Final[dict[str, tuple[WantedColumn, ...]]] = {
    "boundary": (WantedColumn("name"),),
    "intakes": (WantedColumn("name", unique=True), WantedColumn("snap", "bool")),
    "surfaces": (
        WantedColumn(
            "cover",
            aliases=("land_cover",),
            required=True,
            allowed=tuple(one.name for one in COVERS),
        ),
        WantedColumn("runoff_coefficient", "float", minimum=0, maximum=1),
        WantedColumn("height_m", "float", minimum=0),
        WantedColumn("name", unique=True),
    ),
    "soils": (
        WantedColumn("group", allowed=("A", "B", "C", "D")),
        WantedColumn("texture"),
        WantedColumn("soak_mm_per_h", "float", minimum=0),
        WantedColumn("depth_m", "float", minimum=0),
    ),
    "keep_out": (
        WantedColumn("kind", allowed=tuple(SETBACK_M)),
        WantedColumn("setback_m", "float", minimum=0),
        WantedColumn("name"),
    ),
    "culverts": (WantedColumn("name"), WantedColumn("diameter_m", "float", minimum=0)),
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


def read_site(
    sources: Mapping[str, VectorSource | None], elevation: Elevation, grid: Grid
) -> SiteRead:
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
    _keep_out(read.get("keep_out"), grid, found)
    for name in ("surfaces", "soils", "keep_out", "culverts"):
        if name in read:
            source = str(read[name].source)
            found.problems += ground_doubts(read[name].frame, name, elevation, grid, source)
            found.problems += _overlaps(read[name], name)
    if "soils" in read:
        found.problems += _unknown_textures(read["soils"])
    for name in ("surfaces", "soils", "culverts"):
        rows = (
            read[name].frame.drop(columns="row") if name in read else empty(layer(name), grid.crs)
        )
        found.layers[name] = _clean(rows, name, grid)
    return found


def roofs_of(source: VectorSource | None, grid: Grid) -> list[BoolGrid]:
    """Cells of each roof of the surfaces; what is wrong with them `read_site` tells."""
    if source is None:
        return []
    rows = read_layer(
        source,
        kinds={"polygon"},
        crs=grid.crs,
        columns=[WantedColumn("cover", aliases=("land_cover",))],
        default_layer="surfaces",
    ).frame
    return [
        cells_inside([shape], grid)
        for shape, cover in zip(rows.geometry, rows["cover"], strict=True)
        if cover == "roof"
    ]


def _overlaps(read: LayerRead, name: str) -> list[Problem]:
    """Tell polygons of a layer that lie over one another, and which of them counts."""
    shapes = read.frame.geometry.to_numpy()
    if name not in _WHICH_COUNTS or len(shapes) < 2:
        return []
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    one, other = one[one < other], other[one < other]
    shared_m2 = shapely.area(shapely.intersection(shapes[one], shapes[other]))
    over = np.flatnonzero(shared_m2 > _OVERLAP_M2)
    if not over.size:
        return []
    first = int(over[np.argmax(shared_m2[over])])
    rows = read.frame["row"].to_numpy()
    pair = f"rows {rows[one[first]]} and {rows[other[first]]}"
    return [
        Problem(
            Severity.WARNING if name == "boundary" else Severity.NOTICE,
            f"{counted(over.size, 'pair of polygons overlaps', 'pairs of polygons overlap')},"
            f" {pair} by {shared_m2[first]:.0f} m²; {_WHICH_COUNTS[name]}",
            "draw them side by side where that is not meant.",
            str(read.source),
            pair,
        )
    ]


def _unknown_textures(read: LayerRead) -> list[Problem]:
    found = []
    for row, said in zip(read.frame["row"], read.frame["texture"], strict=True):
        try:
            if isinstance(said, str) and said:
                texture(said)
        except ValueError as error:
            problem = Problem(
                Severity.ERROR, str(error), "correct it.", str(read.source), f"row {row}"
            )
            found.append(problem)
    return found


def layer_problems(sources: Mapping[str, VectorSource], crs: str | None = None) -> list[Problem]:
    """Read every drawn layer as it is, where there is no grid to bring it to.

    Parameters
    ----------
    crs : of the run where it is known without the elevation, as that of a local grid is.
    """
    return [
        problem
        for name, source in sources.items()
        for problem in read_layer(
            source,
            kinds=_KINDS[name],
            crs=crs,
            columns=_COLUMNS[name],
            default_layer=name,
        ).problems
    ]


def _clean(rows: pd.DataFrame, name: str, grid: Grid) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(conformed(rows, layer(name), grid.crs))


def _boundary(
    read: LayerRead | None, covered: BoolGrid, grid: Grid, found: SiteRead
) -> gpd.GeoDataFrame:
    if read is None:
        return _clean(empty(layer("boundary"), grid.crs), "boundary", grid)
    outline, problems = outline_of(read)
    found.problems += [*problems, *_overlaps(read, "boundary")]
    found.problems += boundary_problems(outline, covered, grid, str(read.source))
    if outline.is_empty:
        return _clean(empty(layer("boundary"), grid.crs), "boundary", grid)
    names = [name for name in read.frame["name"] if isinstance(name, str) and name]
    rows = gpd.GeoDataFrame(
        {"name": [names[0] if names else "site"], "area_m2": [outline.area]},
        geometry=[outline],
        crs=read.frame.crs,
    )
    return _clean(rows, "boundary", grid)


def _intakes(
    read: LayerRead | None, elevation: Elevation, grid: Grid, found: SiteRead
) -> gpd.GeoDataFrame:
    if read is None:
        return _clean(empty(layer("intakes_drawn"), grid.crs), "intakes_drawn", grid)
    frame = read.frame
    found.problems += off_data_problems(read, elevation, grid, "intake")
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


def _keep_out(read: LayerRead | None, grid: Grid, found: SiteRead) -> None:
    """Keep each feature as drawn, and the ground around it by its clear distance, side by side."""
    if read is None or read.frame.empty:
        for name in ("keep_out", "keep_out_drawn"):
            found.layers[name] = _clean(empty(layer(name), grid.crs), name, grid)
        return
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
    columns = pd.DataFrame({"kind": kinds, "setback_m": setback, "name": frame["name"]})
    for name, geometry in (("keep_out", shapes), ("keep_out_drawn", frame.geometry.to_numpy())):
        rows = gpd.GeoDataFrame(columns, geometry=geometry, crs=frame.crs)
        found.layers[name] = _clean(rows, name, grid)
