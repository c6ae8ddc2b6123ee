"""Vector inputs as people draw them, cleaned for a run; everything found is said at once."""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import geopandas as gpd
import numpy as np
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, FieldError

from brimline.errors import InputError, Problem, Severity, shown
from brimline.io import _columns, _shapes, metric, paths
from brimline.io import crs as crs_of
from brimline.io._columns import WantedColumn
from brimline.io._shapes import Kind
from brimline.io.formats import check_vector
from brimline.io.paths import VectorSource as VectorSource  # noqa: PLC0414 - handed on

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from pyproj import CRS

__all__ = ["Kind", "LayerRead", "VectorSource", "WantedColumn", "layer_names", "read_layer"]

_NO_LAYER: Final = "holds no layers"
_GEOJSON: Final = frozenset({".geojson", ".json"})
_QUOTED: Final = re.compile(r"'(?:[^']|'')*'|\"[^\"]*\"")
_NOT_CONDITION: Final = re.compile(
    r";|--|/\*|['\"]|\b(select|union|attach|pragma|load_extension|order\s+by|limit)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class LayerRead:
    """The rows that can be used, and everything that was found on the way.

    Parameters
    ----------
    frame : in the run's CRS, indexed from 0, with the wanted columns in order and ``row``: the
        number that the feature has in its file, for messages. Columns that were not asked for
        are left out unless they were. Without rows where the layer could not be read.
    problems : errors first to be shown with those of other inputs; then warnings and notices.
    """

    frame: gpd.GeoDataFrame
    problems: tuple[Problem, ...] = ()
    source: VectorSource = field(default_factory=lambda: VectorSource(Path()))

    @property
    def errors(self) -> tuple[Problem, ...]:
        """The problems that a run cannot go on with."""
        return tuple(p for p in self.problems if p.severity is Severity.ERROR)

    def usable(self) -> gpd.GeoDataFrame:
        """Return the rows.

        Raises
        ------
        InputError
            With every error found.
        """
        if self.errors:
            raise InputError(self.errors)
        return self.frame


def read_layer(
    source: VectorSource | str | Path,
    *,
    kinds: Collection[Kind],
    crs: str | None,
    columns: Sequence[WantedColumn] = (),
    default_layer: str = "",
    assume_crs: str | None = None,
    keep_z: bool = False,
    keep_others: bool = False,
) -> LayerRead:
    """Read a layer of points, lines or polygons into the run's CRS.

    Polygons come back as MultiPolygon, one a row; points and lines as single parts. Shapes that
    are repaired, passed over or refused are named by row and place.

    Parameters
    ----------
    source : a file, or a file with a layer and a filter.
    kinds : what may be drawn: any of ``"point"``, ``"line"``, ``"polygon"``.
    crs : the run's CRS; None, where there is none yet, takes a CRS in metres that fits the layer.
    columns : what is wanted of the attributes; missing ones come back empty.
    default_layer : taken where the source names none and the file holds several.
    assume_crs : taken where the file states none.
    keep_z : keep heights drawn with the shapes.
    keep_others : keep columns that are not among `columns`.
    """
    where = source if isinstance(source, VectorSource) else VectorSource(Path(source))
    found: list[Problem] = []
    try:
        where, notes = _with_layer(where, default_layer)
        found += notes
        raw, notes = _raw(where, keep_z=keep_z)
        found += notes
        own, notes = _own_crs(raw, where, assume_crs, run=crs)
        found += notes
        target = _own_metres(raw, own, str(where)) if crs is None else crs_of.parsed(crs)
        crs_of.refuse_mixed(own, target, source=str(where))
    except InputError as error:
        return LayerRead(_no_rows(columns, crs or "EPSG:4326"), (*found, *error.problems), where)
    label = str(where)
    frame = raw.set_crs(own, allow_override=True)
    frame["row"] = frame.index.to_numpy()
    frame = frame.reset_index(drop=True)
    frame, notes = _in_run_crs(frame, own, target, label)
    if crs is not None:
        found += notes
    frame, notes = _shapes.cleaned(frame, frozenset(kinds), source=label, own_crs=own)
    found += notes
    frame, notes = _columns.taken(
        frame, columns, source=label, truncated=_truncates(where.path), keep_others=keep_others
    )
    found += notes
    return LayerRead(frame, _errors_first(found), where)


def layer_names(path: Path) -> list[str]:
    """Return the names of a file's layers.

    Raises
    ------
    InputError
        If it does not exist, cannot be read as vector data, or does not hold its own rows.
    """
    if not path.is_file() and not path.is_dir():
        raise InputError(paths.missing(path))
    check_vector(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what is wrong is told when its rows are read
            listed = pyogrio.list_layers(path)
    except DataSourceError as fault:
        raise _unreadable(path, fault) from fault
    return [str(name) for name, _ in listed]


def holds_rows(path: Path, layer: str) -> bool:
    """Tell whether a layer holds any row."""
    info = pyogrio.read_info(path, layer=layer, force_feature_count=True)
    return int(info["features"]) > 0


def _unreadable(path: Path, fault: Exception) -> InputError:
    return InputError.of(
        f"cannot be read as vector data ({fault})",
        mend="use GeoPackage, GeoJSON, FlatGeobuf or Shapefile (with its .shx and .dbf beside it).",
        source=str(path),
    )


def _with_layer(source: VectorSource, default: str) -> tuple[VectorSource, list[Problem]]:
    """Settle which layer is meant."""
    names = layer_names(source.path)
    if not names:
        raise InputError.of(_NO_LAYER, mend="name another file.", source=str(source.path))
    if source.layer:
        if source.layer in names:
            return source, []
        near = paths.nearest_word(source.layer, names)
        hint = f'did you mean "{near}"?' if near else "name one of them."
        raise InputError.of(
            f'has no layer "{source.layer}"; it holds {", ".join(names)}',
            mend=hint,
            source=str(source.path),
        )
    if len(names) == 1:
        return VectorSource(source.path, names[0], source.where), []
    if default in names:
        return VectorSource(source.path, default, source.where), []
    raise InputError.of(
        f"holds several layers ({', '.join(names)}) and none was named",
        mend=f'write {{file = "{source.path.name}", layer = "{names[0]}"}}.',
        source=str(source.path),
    )


def _raw(source: VectorSource, *, keep_z: bool) -> tuple[gpd.GeoDataFrame, list[Problem]]:
    """Read the rows as they are; the index is the number that each has in the file."""
    _check_filter(source)
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            frame: Any = pyogrio.read_dataframe(
                source.path,
                layer=source.layer,
                where=source.where or None,
                fid_as_index=True,
                force_2d=not keep_z,
            )
    except (ValueError, FieldError, DataSourceError, DataLayerError) as fault:
        if source.where:
            raise _bad_filter(source, fault) from fault
        raise _unreadable(source.path, fault) from fault
    except shapely.errors.ShapelyError as fault:
        raise InputError.of(
            "holds a shape that cannot be, such as a ring of two corners",
            mend="let a GIS viewer check and repair its shapes, and save it anew.",
            source=str(source),
        ) from fault
    if not isinstance(frame, gpd.GeoDataFrame):
        raise InputError.of(
            "is a table without shapes", mend="name a layer with shapes.", source=str(source)
        )
    mend = "look at the file in a GIS viewer, and save it anew as GeoPackage."
    notes = [
        Problem(Severity.WARNING, str(warning.message), mend, str(source)) for warning in caught
    ]
    if frame.empty:
        notes.append(_nothing(source))
    return frame, notes


def _check_filter(source: VectorSource) -> None:
    """Let only a condition pass: GDAL would put other SQL into its query as it stands."""
    bare = _QUOTED.sub("", source.where)
    depth = 0
    for letter in bare:
        depth += (letter == "(") - (letter == ")")
        if depth < 0:
            break
    if depth or _NOT_CONDITION.search(bare):
        raise InputError.of(
            f'the filter "{shown(source.where)}" is not a condition on the columns of a row',
            mend="write only what a row must fulfil, for example kind = 'roof' AND area_m2 > 20.",
            source=str(source),
        )


def _nothing(source: VectorSource) -> Problem:
    if source.where:
        return Problem(
            Severity.WARNING,
            f'no row fits the filter "{source.where}"',
            "check the values in the filter, including upper and lower case.",
            str(source),
        )
    return Problem(Severity.WARNING, "holds no rows", "draw it, or remove the input.", str(source))


def _bad_filter(source: VectorSource, fault: Exception) -> InputError:
    known = [str(name) for name in pyogrio.read_info(source.path, layer=source.layer)["fields"]]
    return InputError.of(
        f'the filter "{source.where}" cannot be followed ({fault})',
        mend=f"its columns are {', '.join(known)}; write texts in single quotes.",
        source=str(source),
    )


def _own_crs(
    frame: gpd.GeoDataFrame, source: VectorSource, assumed: str | None, *, run: str | None
) -> tuple[CRS, list[Problem]]:
    in_local_run = run is not None and crs_of.is_own_grid(run)
    # GeoJSON cannot say that it is local: one without a reference system reads as WGS 84
    unsaid = in_local_run and source.path.suffix.lower() in _GEOJSON
    if crs_of.is_usable(frame.crs) and not unsaid:
        return frame.crs, []
    if in_local_run:
        return crs_of.parsed(run), []
    if assumed is None:
        raise InputError.of(
            "does not say its coordinate reference system",
            mend="set it in the program that it was drawn with and save again (a Shapefile needs"
            " its .prj file); where all inputs are in a grid of your own, set"
            ' terrain.crs = "local".',
            source=str(source),
        )
    crs = crs_of.parsed(assumed, source="configuration")
    return crs, [
        Problem(
            Severity.WARNING,
            f"does not say its coordinate reference system; {crs_of.title(crs)} was assumed",
            "check on a map that it lies where it should.",
            str(source),
        )
    ]


def _own_metres(frame: gpd.GeoDataFrame, own: CRS, source: str) -> CRS:
    """Return the CRS of a layer that stands alone: its own, or one in metres that fits it."""
    box = _extent(frame)
    if box is None:
        return crs_of.horizontal(own)
    return metric.run_crs(own, box, source=source)[0]


def _extent(frame: gpd.GeoDataFrame) -> metric.Box | None:
    """Extent of the shapes that have one."""
    shapes = frame.geometry.to_numpy()
    bounds = shapely.bounds(shapes)
    finite = bounds[np.isfinite(bounds).all(axis=1)]
    if not finite.size:
        return None
    west, south = finite[:, :2].min(axis=0).tolist()
    east, north = finite[:, 2:].max(axis=0).tolist()
    return west, south, east, north


def _in_run_crs(
    frame: gpd.GeoDataFrame, own: CRS, target: CRS, source: str
) -> tuple[gpd.GeoDataFrame, list[Problem]]:
    if crs_of.same(own, target):
        return frame.set_crs(target, allow_override=True), []
    if crs_of.is_local(own):  # the same grid in another unit
        factor = crs_of.plan_unit(own).metres / crs_of.plan_unit(target).metres
        scaled = frame.geometry.scale(factor, factor, origin=(0, 0))
        scaled = gpd.GeoSeries(scaled.to_numpy(), index=frame.index, crs=target)
        notes = [Problem(Severity.NOTICE, "was brought to metres", "", source)]
        return frame.set_geometry(scaled, crs=target), notes
    box = _extent(frame)
    moved = frame.set_crs(crs_of.horizontal(own), allow_override=True).to_crs(target)
    notes = [
        Problem(
            Severity.NOTICE,
            f"was reprojected from {crs_of.title(own)} to {crs_of.title(target)}",
            "",
            source,
        )
    ]
    if box is not None:
        caution = metric.transform_caution(own, target, box)
        if caution is not None:
            notes.append(replace(caution, source=source))
    return moved, notes


def _truncates(path: Path) -> bool:
    """Shapefiles cut column names after ten letters."""
    return path.suffix.lower() in {".shp", ".dbf"}


def _no_rows(columns: Sequence[WantedColumn], crs: str) -> gpd.GeoDataFrame:
    bare = gpd.GeoDataFrame({"row": np.zeros(0, dtype=np.int64)}, geometry=[], crs=crs)
    frame, _ = _columns.taken(bare, columns, source="", truncated=False, keep_others=False)
    return frame


def _errors_first(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    order = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTICE: 2}
    return tuple(sorted(problems, key=lambda problem: order[problem.severity]))
