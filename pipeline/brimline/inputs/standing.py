"""What stands up on a site, from the layers in which people draw it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.design.places import BUILDING
from brimline.errors import Problem, Severity
from brimline.layers.drawn import usual_number
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

_USUAL_M: Final = {"roof": 5.0, "woods": 12.0, "tree": 8.0}  # common practice, no source
_USUAL_OF: Final = {BUILDING: "roof", "tree": "tree"}  # of what is kept clear
_MOSTLY: Final = 0.5  # of what is kept clear that other things cover, and which then is the same


@dataclass(frozen=True, slots=True)
class Obstruction:
    """Something that keeps off sun and wind; fields are named as columns of obstructions.

    Parameters
    ----------
    known : whether its height was given.
    """

    name: str
    kind: str
    height_m: float
    known: bool
    shape: BaseGeometry

    @property
    def flags(self) -> tuple[str, ...]:
        """Codes of the flag catalogue."""
        return () if self.known else ("assumed",)


def obstructions_of(
    surfaces: GeoDataFrame,
    shade: GeoDataFrame,
    kept_clear: GeoDataFrame,
    usual_heights_m: Mapping[str, float],
) -> tuple[list[Obstruction], list[Problem]]:
    """Return what stands up, and say what heights are assumed and what is left out.

    Parameters
    ----------
    surfaces, shade, kept_clear : the layers surfaces, drawn_shade and keep_out_drawn.
    usual_heights_m : by cover, in place of ours [m].
    """
    usual_m = _USUAL_M | dict(usual_heights_m)
    found = [*_of_surfaces(surfaces, usual_m), *_of_drawn(shade)]
    others, left_out = _of_kept_clear(kept_clear, usual_m, [one.shape for one in found])
    found += others
    mend, problems = "draw them round their wall or crown in drawn_shade with a height_m", []
    if assumed := sum(not one.known for one in found):
        message = f"{counted(assumed, 'building or tree', 'buildings and trees')} without a height:"
        message += " usual ones are taken for sun and wind"
        problems.append(Problem(Severity.NOTICE, message, mend, "surfaces"))
    if left_out:
        message = f"{counted(left_out, 'building or tree', 'buildings and trees')} drawn as points"
        message += " or lines: they keep off no sun or wind"
        problems.append(Problem(Severity.NOTICE, message, mend, "keep_out"))
    return found, problems


def _of_surfaces(surfaces: GeoDataFrame, usual_m: Mapping[str, float]) -> Iterator[Obstruction]:
    for row in surfaces.itertuples(index=False):
        known = bool(np.isfinite(row.height_m))
        height_m = row.height_m if known else usual_m.get(row.cover, 0.0)
        if height_m > 0:
            yield Obstruction(row.name or row.cover, row.cover, height_m, known, row.geometry)


def _of_drawn(shade: GeoDataFrame) -> Iterator[Obstruction]:
    for row in shade.itertuples(index=False):
        known = bool(np.isfinite(row.height_m))
        height_m = row.height_m if known else usual_number("drawn_shade", "height_m")
        if height_m > 0:
            yield Obstruction(row.name or "drawn", "drawn", height_m, known, row.geometry)


def _of_kept_clear(
    kept: GeoDataFrame, usual_m: Mapping[str, float], standing: Sequence[BaseGeometry]
) -> tuple[list[Obstruction], int]:
    """Return buildings and trees drawn in no other layer, and how many of them are no areas."""
    all_of_it, left_out = shapely.union_all(standing), 0
    found = []
    for row in kept.loc[kept["kind"].isin(_USUAL_OF)].itertuples(index=False):
        height_m, shape = usual_m[_USUAL_OF[row.kind]], row.geometry
        if not shape.area:
            left_out += not all_of_it.intersects(shape)
        elif height_m > 0 and shape.intersection(all_of_it).area <= _MOSTLY * shape.area:
            found.append(
                Obstruction(row.name or row.kind, row.kind, height_m, known=False, shape=shape)
            )
    return found, left_out
