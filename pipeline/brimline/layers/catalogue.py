"""The catalogue: one name, one declaration."""

from __future__ import annotations

from typing import Final

from brimline.layers import (
    as_built,
    change,
    choosing,
    drawn,
    field,
    flags,
    hazards,
    lines,
    planting,
    rasters,
    reading,
    site,
    water,
    works,
    year,
)  # fmt: skip
from brimline.layers.schema import Flag, Item, Layer, Raster, Table

_MODULES: Final = (
    site,
    rasters,
    water,
    lines,
    works,
    hazards,
    choosing,
    as_built,
    year,
    reading,
    planting,
    drawn,
    field,
    change,
)


def _gather() -> dict[str, Item]:
    found: dict[str, Item] = {}
    for module in _MODULES:
        for item in module.ITEMS:
            if item.name in found:
                raise ValueError(f"{item.name} is declared twice")
            found[item.name] = item
    return found


CATALOGUE: Final[dict[str, Item]] = _gather()
FLAGS: Final[dict[str, Flag]] = {flag.code: flag for flag in flags.FLAGS}


def layer(name: str) -> Layer:
    """Return the declaration of a vector layer; raises KeyError where the name is not one."""
    item = CATALOGUE[name]
    if not isinstance(item, Layer):
        raise KeyError(f"{name} is not a vector layer")
    return item


def raster(name: str) -> Raster:
    """Return the declaration of a raster; raises KeyError where the name is not one."""
    item = CATALOGUE[name]
    if not isinstance(item, Raster):
        raise KeyError(f"{name} is not a raster")
    return item


def table(name: str) -> Table:
    """Return the declaration of a table; raises KeyError where the name is not one."""
    item = CATALOGUE[name]
    if not isinstance(item, Table):
        raise KeyError(f"{name} is not a table")
    return item


def published() -> tuple[Item, ...]:
    """Return what a run folder holds, in the order in which people read it."""
    return tuple(item for item in CATALOGUE.values() if item.published)
