"""Ground that was filled so that water runs across it, and what stands or runs there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Protocol, TypeVar

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.grid import Grid

ON_FILLED: Final = "on-filled-ground"


class FlaggedLine(Protocol):
    """A frozen dataclass of a line and the codes of what is to be told of it."""

    @property
    def line(self) -> shapely.LineString:
        """Where it runs."""

    @property
    def flags(self) -> tuple[str, ...]:
        """Codes of the flag catalogue."""


Flagged = TypeVar("Flagged", bound=FlaggedLine)


@dataclass(frozen=True, slots=True)
class FilledGround:
    """How deep the ground was filled.

    Parameters
    ----------
    depth_m : float32 (rows, cols) [m]; 0 where it was not, and off the data.
    tell_m : depth beyond which it is told of [m].
    """

    grid: Grid
    depth_m: NDArray[np.float32]
    tell_m: float

    def deepest_m(self, shape: BaseGeometry) -> float:
        """Deepest fill along a line, at a point, or on and along the outline of an area [m]."""
        cell_m = self.grid.cell_m
        points = shapely.get_coordinates(shapely.segmentize(shape, cell_m))
        if shapely.get_dimensions(shape) == 2:
            west, south, east, north = shape.bounds
            x, y = np.meshgrid(np.arange(west, east, cell_m), np.arange(south, north, cell_m))
            within = shapely.contains_xy(shape, x, y)
            points = np.vstack([points, np.column_stack([x[within], y[within]])])
        row, col = self.grid.cell(points[:, 0], points[:, 1])
        on = self.grid.holds(row, col)
        return float(self.depth_m[row[on], col[on]].max(initial=0.0))

    def flags(self, shape: BaseGeometry) -> list[str]:
        """Return the flag of what lies on ground filled deeper than is told of, if it does."""
        return [ON_FILLED] if self.deepest_m(shape) > self.tell_m else []

    def flagged(self, rows: Iterable[Flagged]) -> list[Flagged]:
        """Return rows, those on such ground flagged as well."""
        return [
            replace(one, flags=(*one.flags, *self.flags(one.line)))  # type: ignore[type-var]
            for one in rows
        ]
