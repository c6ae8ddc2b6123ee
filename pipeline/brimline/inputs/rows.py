"""Layers that a person draws, as rows of what the design room takes."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import TYPE_CHECKING, Any, Final, TypeVar

import pandas as pd
import shapely

from brimline.design import KINDS, Plan
from brimline.design.banks import ROAD
from brimline.design.places import BUILDING
from brimline.design.staking import MarkedLine
from brimline.layers import layer
from brimline.layers.drawn import usual_of
from brimline.lines.graded import BetweenEnds, FromStart
from brimline.lines.tracks import TrackRules, WantedTrack
from brimline.terrain.earthwork.spoil import Stockpile

if TYPE_CHECKING:
    from collections.abc import Mapping

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from brimline.config import Access, DrainLines, Works

Row = TypeVar("Row")


def rows_of(frame: GeoDataFrame, kind: type[Row], usual: Mapping[str, Any]) -> tuple[Row, ...]:
    """Return the rows of a drawing layer as a class of `brimline.design.plan`.

    Parameters
    ----------
    usual : values of columns that are left empty, by name; the rest is left open.
    """
    word = str(getattr(kind, "WORD", ""))
    found = []
    for number, row in enumerate(frame.itertuples(index=False), start=1):
        empty = tuple(name for name in row._fields if pd.isna(getattr(row, name)))
        values: dict[str, Any] = {}
        for field in fields(kind):  # type: ignore[arg-type] # a dataclass
            name = field.name
            if name == "shape":
                values[name] = row.geometry
            elif name == "empty":
                values[name] = empty
            elif name == "name":
                values[name] = text_of(row, name) or (f"{word} {number}" if word else "")
            elif field.type == "float":
                values[name] = number_of(row, name, float(usual.get(name, math.nan)))
            else:
                values[name] = text_of(row, name) or str(usual.get(name, ""))
        found.append(kind(**values))
    return tuple(found)


def plan_of(frames: Mapping[str, GeoDataFrame], works: Works) -> Plan:
    """Return all that was drawn, usual values filled in where columns are empty.

    Parameters
    ----------
    frames : by the names of `brimline.design.LAYERS`.
    """
    parts: dict[str, Any] = {
        name: rows_of(frames[kind.LAYER], kind, usual_values(kind.LAYER, works))
        for name, kind in KINDS.items()
    }
    return Plan(**parts)


def usual_values(name: str, works: Works) -> dict[str, float | str]:
    """Return what is taken where columns of a drawing layer are left empty."""
    return usual_of(layer(name)) | works.usual_of(name)


def number_of(row: object, name: str, usual: float = math.nan) -> float:
    """Value of a column, or what is usual where it is empty or not there."""
    value = getattr(row, name, None)
    return usual if value is None or pd.isna(value) else float(value)


def text_of(row: object, name: str) -> str:
    """Text of a column; empty where there is none."""
    return stripped(getattr(row, name, None))


def stripped(value: object) -> str:
    """Text of a cell without the space around it; empty where there is none."""
    return value.strip() if isinstance(value, str) else ""


def stockpiles_of(frame: GeoDataFrame) -> list[Stockpile]:
    """Return the places for spoil."""
    return [
        Stockpile(text_of(row, "name") or f"stockpile {number}", (row.geometry.x, row.geometry.y))
        for number, row in enumerate(frame.itertuples(index=False), start=1)
    ]


# layer: what its lines are called, and the column that numbers them
MARKED: Final = {
    "swale_lines": ("Swale line", "swale_id"),
    "drain_lines": ("Drain line", "drain_id"),
    "keylines": ("Keyline", "keyline_id"),
}


def marked_lines(name: str, frame: GeoDataFrame) -> list[MarkedLine]:
    """Return the lines of a layer among `MARKED`, part by part."""
    word, number = MARKED[name]
    found = []
    for row in frame.itertuples(index=False):
        parts = shapely.get_parts(row.geometry)
        falls = hasattr(row, "from_level_m")
        ends = (row.from_level_m, row.to_level_m) if falls else (row.level_m, row.level_m)
        for place, part in enumerate(parts, start=1):
            called = f"{word} {getattr(row, number)}"
            called = f"{called}.{place}" if len(parts) > 1 else called
            found.append(MarkedLine(called, part, *ends, falls))
    return found


def wanted_tracks(frame: GeoDataFrame, params: Access) -> list[WantedTrack]:
    """Return the tracks that are drawn, and what each may be."""
    usual = usual_of(layer("drawn_tracks"))
    found = []
    for number, row in enumerate(frame.itertuples(index=False), start=1):
        width_m, grade_pct, cross_pct, radius_m = (
            number_of(row, name, float(usual[name]))
            for name in ("width_m", "most_grade_pct", "most_cross_pct", "radius_m")
        )
        rules = TrackRules(
            width_m, grade_pct, cross_pct,
            earth_per_m=params.earth_per_m, crossing_m=params.crossing_m, radius_m=radius_m,
        )  # fmt: skip
        found.append(WantedTrack(text_of(row, "name") or f"track {number}", row.geometry, rules))
    return found


def asked_drains(
    starts: GeoDataFrame, drawn: GeoDataFrame, params: DrainLines
) -> list[FromStart | BetweenEnds]:
    """Return the graded lines that are asked for: from starts, then between ends of drawn drains.

    Parameters
    ----------
    starts, drawn : the layers drain_starts and drawn_drains.
    """
    found: list[FromStart | BetweenEnds] = [
        FromStart(
            text_of(row, "name") or f"start {number}",
            (row.geometry.x, row.geometry.y),
            number_of(row, "run_per_fall", params.run_per_fall),
            text_of(row, "side") or "right",  # type: ignore[arg-type] # the plan's own check
            number_of(row, "max_length_m", params.max_length_m),
        )
        for number, row in enumerate(starts.itertuples(index=False), start=1)
    ]
    for number, row in enumerate(drawn.itertuples(index=False), start=1):
        name = text_of(row, "name") or f"drain {number}"
        ends = row.geometry.coords[0][:2], row.geometry.coords[-1][:2]
        found.append(BetweenEnds(name, *ends, params.least_fall_pct, params.most_fall_pct))
    return found


_ROADS: Final = frozenset({"paving", "gravel", "dirt track"})  # covers that people drive on


def things_in_the_way(
    kept: GeoDataFrame, surfaces: GeoDataFrame
) -> dict[str, list[tuple[str, BaseGeometry]]]:
    """Return buildings and roads: what is kept clear of, and surfaces of such a cover."""
    found: dict[str, list[tuple[str, BaseGeometry]]] = {}
    for kind, covers in ((BUILDING, frozenset({"roof"})), (ROAD, _ROADS)):
        rows = [(row, row.kind == kind, kind) for row in kept.itertuples(index=False)]
        rows += [(row, row.cover in covers, row.cover) for row in surfaces.itertuples(index=False)]
        found[kind] = [
            (text_of(row, "name") or word, row.geometry) for row, wanted, word in rows if wanted
        ]
    return found


def main_texture(shape: BaseGeometry, soils: GeoDataFrame) -> str:
    """Return the texture of the soil beneath most of an area or a line; empty where none says."""
    if not len(soils):
        return ""
    inside = soils.geometry.intersection(shape)
    share = inside.area if shapely.get_dimensions(shape) == 2 else inside.length
    place = int(share.to_numpy().argmax())
    return stripped(soils["texture"].iloc[place]) if share.iloc[place] > 0 else ""
