"""What a person wants planted, as the planting room takes it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.errors import InputError
from brimline.inputs.rows import number_of, text_of
from brimline.io.plants import read_guilds, read_plants
from brimline.layers import layer
from brimline.layers.drawn import usual_of
from brimline.planting.laying import DrawnPlanting

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from brimline.planting import Guild, Plant


DRAWN: Final = ("planting_zones", "plant_rows", "drawn_plants")


def wanted_of(
    frame: Callable[[str], GeoDataFrame], plants: Path | None, guilds: Path | None
) -> tuple[list[DrawnPlanting], dict[str, Plant], dict[str, Guild]]:
    """Return what was drawn to be planted, and the plants and guilds that there are.

    Parameters
    ----------
    frame : hands out layers by name.
    plants, guilds : files of the person.

    Raises
    ------
    InputError
        If a file cannot be read, or plants are named and there is no file of plants.
    """
    known = {} if plants is None else read_plants(plants)
    grouped = {} if guilds is None else read_guilds(guilds, known)
    wanted = [one for name in DRAWN for one in _of_layer(name, frame)]
    if wanted and plants is None:
        raise InputError.of(
            f"{wanted[0].name} names plants, but there is no plants file",
            mend='name it under [inputs] as plants = "plants.csv"',
            source="plan",
            place=wanted[0].place,
        )
    return wanted, known, grouped


def _of_layer(name: str, frame: Callable[[str], GeoDataFrame]) -> Iterator[DrawnPlanting]:
    usual = usual_of(layer(name))
    for number, row in enumerate(frame(name).itertuples(index=False), start=1):
        plants = tuple(word.strip() for word in text_of(row, "plants").split(";") if word.strip())
        if not plants:
            continue
        called = text_of(row, "name") or {
            "planting_zones": f"zone {number}", "plant_rows": f"row {number}",
        }.get(name, "single plants")  # fmt: skip
        pattern = text_of(row, "fill") or usual.get("fill")
        yield DrawnPlanting(
            called,
            f"{name}, row {number}",
            row.geometry,
            plants,
            pattern="square" if pattern == "square" else "triangular",
            lines=_lines(frame(text_of(row, "along") or "swale_lines"))
            if pattern == "along"
            else None,
            spacing_m=_positive(row, "spacing_m"),
            row_spacing_m=_positive(row, "row_spacing_m"),
            bearing_deg=_known(row, "rows_deg"),
            offset_m=number_of(row, "offset_m", float(usual.get("offset_m", 0.0))),
            edge_m=number_of(row, "edge_m", float(usual.get("edge_m", 0.0))),
        )


def _lines(rows: GeoDataFrame) -> tuple[BaseGeometry, ...]:
    return tuple(shapely.get_parts(rows.geometry.to_numpy()).tolist())


def _known(row: object, name: str) -> float | None:
    value = number_of(row, name)
    return None if np.isnan(value) else value


def _positive(row: object, name: str) -> float | None:
    return _known(row, name) or None
