"""Tables and layers in memory against their declaration: brought to its types, and checked."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final, cast

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from brimline.errors import InternalError
from brimline.layers import Column, Geometry, Layer, Table

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from numpy.typing import NDArray

GEOMETRY: Final = "geometry"
# A required column has a plain dtype; one that may be empty has a dtype that can say so.
_PLAIN: Final = {"int": "int64", "float": "float64", "bool": "bool", "text": "object"}
_NULLABLE: Final = {"int": "Int64", "float": "float64", "bool": "boolean", "text": "object"}
_FITS: Final[Mapping[str, Callable[[Any], bool]]] = {
    "int": pd.api.types.is_integer_dtype,
    "float": pd.api.types.is_float_dtype,
    "bool": pd.api.types.is_bool_dtype,
    "text": lambda dtype: dtype == np.dtype(object) or isinstance(dtype, pd.StringDtype),
}
_KINDS: Final[Mapping[Geometry, frozenset[str]]] = {
    Geometry.POINT: frozenset({"Point"}),
    Geometry.POINT_Z: frozenset({"Point"}),
    Geometry.LINE: frozenset({"LineString"}),
    Geometry.LINE_Z: frozenset({"LineString"}),
    Geometry.MULTILINE: frozenset({"MultiLineString"}),
    Geometry.POLYGON: frozenset({"Polygon"}),
    Geometry.MULTIPOLYGON: frozenset({"MultiPolygon"}),
    Geometry.ANY: frozenset(
        {"Point", "LineString", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon"}
    ),
}
_WITH_Z: Final = frozenset({Geometry.POINT_Z, Geometry.LINE_Z})
_NAMED: Final = 5  # rows that a message names


def conformed(
    frame: pd.DataFrame | gpd.GeoDataFrame, declaration: Layer | Table, crs: str = ""
) -> pd.DataFrame | gpd.GeoDataFrame:
    """Return the rows with the declared columns first, in order and of the declared types.

    Columns that are not declared follow in their own order. Single parts become multi-part
    where the declaration says so. Not a check: see `check_frame`.

    Parameters
    ----------
    crs : of a layer without one of its own.

    Raises
    ------
    InternalError
        If a column is missing or its values cannot take the declared type.
    """
    if not isinstance(declaration, Layer):
        return pd.DataFrame(_columns(frame, declaration))
    own = frame.crs if frame.crs is not None else (crs or None)
    return layer_of(frame, frame.geometry.to_numpy(), declaration, own)


def layer_of(
    rows: pd.DataFrame,
    shapes: Any,  # noqa: ANN401 - an array of geometries
    declaration: Layer,
    crs: Any,  # noqa: ANN401 - whatever geopandas takes for one
) -> gpd.GeoDataFrame:
    """Return rows and their shapes as a layer, conformed; a column of shapes is left out."""
    promoted = _geometry(shapes, declaration.geometry)
    geometry = gpd.array.from_shapely(promoted, crs=crs)
    return gpd.GeoDataFrame(_columns(rows, declaration) | {GEOMETRY: geometry})


def _columns(frame: pd.DataFrame, declaration: Layer | Table) -> dict[str, Any]:
    data: dict[str, Any] = {}
    given = {str(name): values for name, values in pd.DataFrame(frame).items()}
    for column in declaration.columns:
        if column.name in given:
            data[column.name] = _typed(given[column.name], column, declaration.name)
        elif column.required:
            raise InternalError(f"{declaration.name} lacks its column {column.name}")
        else:
            data[column.name] = _typed(_empty_values(frame), column, declaration.name)
    others = given.keys() - data.keys()
    shapes = frame.geometry.name if isinstance(frame, gpd.GeoDataFrame) else None
    kept = {
        name: values.array for name, values in given.items() if name in others and name != shapes
    }
    return data | kept


def empty(declaration: Layer | Table, crs: str = "") -> pd.DataFrame | gpd.GeoDataFrame:
    """Return a layer or table without rows, with every declared column."""
    return _made_empty(declaration, crs).copy()


@lru_cache(maxsize=256)
def _made_empty(declaration: Layer | Table, crs: str) -> pd.DataFrame | gpd.GeoDataFrame:
    columns = {column.name: pd.Series(dtype="object") for column in declaration.columns}
    bare: pd.DataFrame | gpd.GeoDataFrame = pd.DataFrame(columns)
    if isinstance(declaration, Layer):
        bare = gpd.GeoDataFrame(bare, geometry=[], crs=crs or None)
    return conformed(bare, declaration, crs)


def check_frame(frame: pd.DataFrame | gpd.GeoDataFrame, declaration: Layer | Table) -> list[str]:
    """Say everything in which rows depart from their declaration; empty where nothing does.

    Checked: columns missing or of another type, empty values where one is required, values out
    of range or not among those allowed, repeated identifiers, geometry of another type, empty,
    invalid or not finite, and a missing CRS.
    """
    found: list[str] = []
    for number, column in enumerate(declaration.columns):
        if column.name not in frame.columns:
            found.append(f"column {column.name} is missing")
            continue
        found += _column_faults(frame[column.name], column)
        if number == 0:
            found += _repeats(frame, declaration, column)
    if isinstance(declaration, Layer):
        found += _geometry_faults(frame, declaration)
    return [f"{declaration.name}: {fault}" for fault in found]


def _empty_values(frame: pd.DataFrame) -> pd.Series[Any]:
    return pd.Series([None] * len(frame), index=frame.index, dtype="object")


def _typed(values: pd.Series[Any], column: Column, owner: str) -> Any:  # noqa: ANN401 - an array
    dtype = (_PLAIN if column.required else _NULLABLE)[column.dtype]
    if column.dtype == "text":
        return _texts(values)
    if values.dtype == dtype:
        return values.array
    plain = values.reset_index(drop=True)
    try:
        if column.dtype == "float":
            return pd.to_numeric(plain).astype("float64")
        whole: Any
        if plain.dtype == object and column.dtype == "int":
            whole = _whole_numbers(plain)
        else:
            whole = plain.astype("boolean" if column.dtype == "bool" else "Int64")
        return cast("pd.Series[Any]", whole.astype(dtype))
    except (TypeError, ValueError, OverflowError) as fault:
        raise InternalError(
            f"{owner}.{column.name} must be {column.dtype}, got {values.dtype}: {fault}"
        ) from fault


def _whole_numbers(values: pd.Series[Any]) -> pd.Series[Any]:
    """Whole numbers and gaps from objects, not by way of floats, which end at 2⁵³."""
    void = values.isna().to_numpy()
    numbers = np.zeros(len(values), dtype=np.int64)
    for place in np.flatnonzero(~void).tolist():
        value = values.iloc[place]
        numbers[place] = int(value)
        if numbers[place] != value:
            raise ValueError(f"{value!r} is not a whole number")
    return pd.Series(pd.arrays.IntegerArray(numbers, void))


def _texts(values: pd.Series[Any]) -> NDArray[Any]:
    """Text as Python strings, None where there is none, on every version of pandas."""
    texts = np.empty(len(values), dtype=object)
    texts[:] = [
        value
        if type(value) is str
        else None
        if value is None or value is pd.NA or value != value
        else str(value)
        for value in values.astype("object").tolist()
    ]
    return texts


def _geometry(shapes: Any, wanted: Geometry) -> Any:  # noqa: ANN401  (arrays of geometries)
    if wanted is Geometry.MULTILINE:
        return _promoted(shapes, "LineString", shapely.multilinestrings)
    if wanted is Geometry.MULTIPOLYGON:
        return _promoted(shapes, "Polygon", shapely.multipolygons)
    return shapes


def _promoted(shapes: Any, single: str, make: Any) -> Any:  # noqa: ANN401
    return np.array(
        [
            make([shape]) if shape is not None and shape.geom_type == single else shape
            for shape in shapes
        ],
        dtype=object,
    )


def _column_faults(values: pd.Series[Any], column: Column) -> list[str]:
    found = []
    if not _FITS[column.dtype](values.dtype):
        found.append(f"{column.name} must be {column.dtype}, is {values.dtype}")
        return found
    empty_rows = values.isna().to_numpy()
    if column.required and empty_rows.any():
        found.append(f"{column.name} is empty in {_rows(empty_rows)}")
    if column.dtype in {"int", "float"}:
        found += _range_faults(values, empty_rows, column)
    if column.dtype == "text":
        strange = np.array([not isinstance(v, str) for v in values], dtype=bool) & ~empty_rows
        if strange.any():
            found.append(f"{column.name} is not text in {_rows(strange)}")
        if column.values:  # noqa: PD011
            other = ~values.isin(column.values).to_numpy() & ~empty_rows
            if other.any():
                seen = sorted({str(value) for value in values[other]})
                found.append(
                    f"{column.name} holds {', '.join(seen[:_NAMED])} in {_rows(other)};"
                    f" allowed are {', '.join(column.values)}"
                )
    return found


def _range_faults(values: pd.Series[Any], empty_rows: Any, column: Column) -> list[str]:  # noqa: ANN401
    found = []
    numbers = values.astype("float64").to_numpy()
    infinite = ~empty_rows & ~np.isfinite(numbers)
    if infinite.any():
        found.append(f"{column.name} is not finite in {_rows(infinite)}")
    with np.errstate(invalid="ignore"):
        low = ~infinite & (numbers < (-np.inf if column.minimum is None else column.minimum))
        high = ~infinite & (numbers > (np.inf if column.maximum is None else column.maximum))
    if low.any():
        found.append(
            f"{column.name} is below {column.minimum:g} {column.unit}".rstrip()
            + f" in {_rows(low)} (least {numbers[low].min():g})"
        )
    if high.any():
        found.append(
            f"{column.name} is above {column.maximum:g} {column.unit}".rstrip()
            + f" in {_rows(high)} (most {numbers[high].max():g})"
        )
    return found


def _repeats(frame: pd.DataFrame, declaration: Layer | Table, column: Column) -> list[str]:
    """Tell of identifiers that name two rows of the layer that owns them: swale_id, swale_lines."""
    owned = column.name.endswith("_id") and column.name.removesuffix("_id") in declaration.name
    if isinstance(declaration, Table) or not owned:
        return []  # elsewhere an identifier refers to the rows of another layer
    repeated = frame[column.name].duplicated(keep=False).to_numpy()
    return [f"{column.name} repeats in {_rows(repeated)}"] if repeated.any() else []


def _geometry_faults(frame: Any, declaration: Layer) -> list[str]:  # noqa: ANN401
    if not isinstance(frame, gpd.GeoDataFrame):
        return ["has no geometry"]
    found = []
    if frame.crs is None:
        found.append("has no coordinate reference system")
    shapes = frame.geometry.to_numpy()
    void = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    if void.any():
        found.append(f"geometry is empty in {_rows(void)}")
    kinds = np.array([None if s is None else s.geom_type for s in shapes], dtype=object)
    wrong = ~void & ~np.isin(kinds.astype(str), sorted(_KINDS[declaration.geometry]))
    if wrong.any():
        found.append(
            f"geometry must be {declaration.geometry}, is {kinds[wrong][0]} in {_rows(wrong)}"
        )
    z = shapely.has_z(shapes)
    if declaration.geometry is not Geometry.ANY:
        flat = ~void & (z != (declaration.geometry in _WITH_Z))
        if flat.any():
            found.append(
                f"geometry must be {declaration.geometry}: heights are"
                f" {'missing' if declaration.geometry in _WITH_Z else 'there'} in {_rows(flat)}"
            )
    bounds = shapely.bounds(shapes)
    endless = ~void & ~np.isfinite(bounds).all(axis=1)
    if endless.any():
        found.append(f"coordinates are not finite in {_rows(endless)}")
    invalid = ~void & ~endless & ~shapely.is_valid(shapes)
    if invalid.any():
        why = shapely.is_valid_reason(shapes[invalid][0])
        found.append(f"geometry is invalid in {_rows(invalid)} ({why})")
    return found


def _rows(mask: Any) -> str:  # noqa: ANN401
    places: Sequence[int] = np.flatnonzero(mask).tolist()
    named = ", ".join(str(place) for place in places[:_NAMED])
    more = f" and {len(places) - _NAMED} more" if len(places) > _NAMED else ""
    return f"row{'s' if len(places) > 1 else ''} {named}{more}"
