"""Footprints of the tiles of a survey, also of those that are not at hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.errors import InputError
from brimline.io.vectors import WantedColumn, read_layer

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from brimline.io.vectors import VectorSource


def read_footprints(source: VectorSource, crs: str) -> tuple[NDArray[np.object_], tuple[str, ...]]:
    """Read the polygons of tiles and their names; a tile without one is called by its row.

    Raises
    ------
    InputError
        If the layer cannot be read or holds no polygon.
    """
    rows = read_layer(source, kinds={"polygon"}, crs=crs, columns=(WantedColumn("name"),)).usable()
    if rows.empty:
        raise InputError.of(
            "holds no footprint of a tile", mend="name the layer that does.", source=str(source)
        )
    names = tuple(
        str(name) if isinstance(name, str) and name else f"row {number}"
        for number, name in enumerate(rows["name"], start=1)
    )
    return rows.geometry.to_numpy(), names
