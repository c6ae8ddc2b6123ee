"""How a layer, a raster or a table is declared: one set of small immutable values."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

Dtype = Literal["int", "float", "text", "bool"]


class Geometry(StrEnum):
    """Geometry types as the GeoPackage standard names them."""

    POINT = "Point"
    POINT_Z = "Point Z"
    LINE = "LineString"
    LINE_Z = "LineString Z"
    MULTILINE = "MultiLineString"
    POLYGON = "Polygon"
    MULTIPOLYGON = "MultiPolygon"
    ANY = "Geometry"


@dataclass(frozen=True, slots=True)
class Column:
    """One attribute of a layer or table.

    Parameters
    ----------
    unit : symbol shown to people (``m``, ``m²``, ``%``); empty for names, counts and ratios.
    minimum, maximum : range that a correct value lies in, both ends allowed; None is open.
    values : the only texts allowed; empty allows any.
    required : every row has a value. Where False, an empty value means "not known".
    usual : what is taken where a person leaves it empty; None where it is designed, or not known.
    head : words over it on pages; empty takes them from its name.
    """

    name: str
    dtype: Dtype
    meaning: str
    unit: str = ""
    minimum: float | None = None
    maximum: float | None = None
    values: tuple[str, ...] = ()
    required: bool = True
    usual: float | str | None = None
    head: str = ""


@dataclass(frozen=True, slots=True)
class Layer:
    """A vector layer: what it is called, what it holds, and its columns in order."""

    name: str
    geometry: Geometry
    title: str
    meaning: str
    columns: tuple[Column, ...]
    published: bool = True  # False: passes between stages only

    def column(self, name: str) -> Column:
        """Return one column by name; raises KeyError where there is none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(f"layer {self.name} has no column {name}")


@dataclass(frozen=True, slots=True)
class Table:
    """Rows without geometry."""

    name: str
    title: str
    meaning: str
    columns: tuple[Column, ...]
    published: bool = True


@dataclass(frozen=True, slots=True)
class Raster:
    """Values on the run's grid.

    Parameters
    ----------
    codes : values are codes or numbers of things, which must never be averaged.
    bands : what each band is where there are several; arrays are (bands, rows, cols) then.
    step : values are whole multiples of it, and files hold these as int16 with the step as their
        scale and -32768 as nodata; None stores values as they are.
    near : made on the ground near the site alone, a block of the run's grid.
    """

    name: str
    dtype: Literal["float32", "float64", "int32", "uint8"]
    nodata: float | None
    title: str
    meaning: str
    unit: str = ""
    published: bool = True
    codes: bool = False
    bands: tuple[str, ...] = ()
    step: float | None = None
    near: bool = False

    def shape(self, grid_shape: tuple[int, int]) -> tuple[int, ...]:
        """Return the shape of its array on a grid."""
        return (len(self.bands), *grid_shape) if self.bands else grid_shape


Severity = Literal["look", "notice"]
Who = Literal[
    "the designer",
    "a licensed engineer",
    "the surveyor",
    "the crew, with a level",
    "the local authority",
    "the neighbour and the local authority",
    "a hydrologist",
]


@dataclass(frozen=True, slots=True)
class Flag:
    """A short code that says something of a row that its figures do not.

    Parameters
    ----------
    severity : ``look`` where a person must look before using the row; ``notice`` where the rules
        have done what they are for, such as ending a row at a flow path, and it is only told.
    who : who has to look.
    """

    code: str
    meaning: str
    mend: str
    severity: Severity = "look"
    who: Who = "the designer"


Item = Layer | Table | Raster
