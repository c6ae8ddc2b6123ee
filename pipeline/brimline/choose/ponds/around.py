"""What lies around a place for a pond: where it could spill, who lives below, what it commands."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.grid.neighbours import D_COL, D_ROW, OUTLET

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.choose.ponds.sites import PondSite
    from brimline.grid import Accumulation, BoolGrid, Directions, Elevation, Grid

_BEYOND_M: Final = 5.0  # from the end of a bank to where its spill way would be cut
_STEEPEST_SPILL_PCT: Final = 25.0  # across a spill way; common practice, no source
_PIPE_FALL: Final = 0.005  # of a pipe that brings water to what is commanded
_BELOW_M: Final = 1000.0  # way below a bank along which buildings are looked for
_BESIDE_M: Final = 20.0  # beside that way


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What a place for a pond has around it.

    Parameters
    ----------
    spill_side : end of the bank, looking downstream, past which it can spill over undisturbed
        ground to a flow path: "left", "right", or empty where neither is fit.
    building_m : way of the water from the bank to the first building near it; NaN where none is
        within 1 km [m].
    commands_m2 : allowed ground that a pipe from the bank's foot reaches at 0.5 % of fall [m²].
    """

    spill_side: str
    building_m: float
    commands_m2: float


@dataclass(frozen=True, slots=True, eq=False)
class Neighbourhood:
    """The ground around places for ponds.

    Parameters
    ----------
    dem, directions, area_m2 : as for `pond_sites`.
    allowed : bool (rows, cols); ground of the site that is not kept clear.
    path_area_m2 : ground that must gather in a flow path [m²].
    buildings : outlines.
    """

    dem: Elevation
    directions: Directions
    area_m2: Accumulation
    allowed: BoolGrid
    grid: Grid
    path_area_m2: float
    buildings: Sequence[BaseGeometry] = ()

    def of(self, site: PondSite) -> Surroundings:
        """Tell what is around a place."""
        return Surroundings(self._spill_side(site), self._building_m(site), self._commands_m2(site))

    def _way(self, row: int, col: int, most_m: float) -> Iterator[tuple[int, int]]:
        """Cells that water takes from one on."""
        left = most_m / self.grid.cell_m
        while left > 0 and self.grid.holds(row, col):
            yield row, col
            code = int(self.directions[row, col])
            if code >= OUTLET:
                return
            row, col = row + int(D_ROW[code]), col + int(D_COL[code])
            left -= float(np.hypot(D_ROW[code], D_COL[code]))

    def _spill_side(self, site: PondSite) -> str:
        """Return the gentler end past which water comes to a flow path over allowed ground."""
        xy = shapely.get_coordinates(site.bank)
        middle = np.array(self.grid.xy(*site.cell))
        fit: list[tuple[float, str]] = []
        down = self._down(site)
        for end, before in ((xy[0], xy[1]), (xy[-1], xy[-2])):
            out = (end - before) / max(float(np.hypot(*(end - before))), 1e-9)
            slope_pct = self._slope_pct(end + 2 * out, out)
            across = down[0] * (end - middle)[1] - down[1] * (end - middle)[0]
            side = "left" if across > 0 else "right"
            start = end + _BEYOND_M * out + 2 * _BEYOND_M * down
            cell = self.grid.cell(*start)
            if slope_pct <= _STEEPEST_SPILL_PCT and self._comes_down(int(cell[0]), int(cell[1])):
                fit.append((slope_pct, side))
        return min(fit)[1] if fit else ""

    def _down(self, site: PondSite) -> NDArray[np.float64]:
        """Return the unit vector across the bank, away from its water."""
        xy = shapely.get_coordinates(site.bank)
        along = xy[-1] - xy[0]
        across = np.array([along[1], -along[0]]) / max(float(np.hypot(*along)), 1e-9)
        water = np.array(self.grid.xy(*site.wet)).mean(axis=1) - np.array(self.grid.xy(*site.cell))
        return -across if across @ water > 0 else across

    def _slope_pct(self, place: NDArray[np.float64], out: NDArray[np.float64]) -> float:
        rows, cols = self.grid.cell(*np.column_stack([place, place + _BEYOND_M * out]))
        if not self.grid.holds(rows, cols).all():
            return float("inf")
        first, last = self.dem[rows, cols]
        rise = abs(float(last) - float(first))
        return 100 * rise / _BEYOND_M if np.isfinite(rise) else float("inf")

    def _comes_down(self, row: int, col: int) -> bool:
        for cell in self._way(row, col, _BELOW_M):
            if not self.allowed[cell]:
                return False
            if self.area_m2[cell] >= self.path_area_m2:
                return True
        return False

    def _building_m(self, site: PondSite) -> float:
        if not self.buildings:
            return float("nan")
        near = shapely.union_all(list(self.buildings)).buffer(_BESIDE_M)
        shapely.prepare(near)
        cells = np.array(list(self._way(*site.cell, _BELOW_M)))
        xy = np.column_stack(self.grid.xy(*cells.T))
        met = np.flatnonzero(shapely.contains_xy(near, xy))
        if not met.size:
            return float("nan")
        return float(np.hypot(*np.diff(xy[: met[0] + 1], axis=0).T).sum())

    def _commands_m2(self, site: PondSite) -> float:
        foot_m = site.best.crest_m - site.best.height_m
        rows, cols = np.indices(self.dem.shape, sparse=True)
        away_m = self.grid.cell_m * np.hypot(rows - site.cell[0], cols - site.cell[1])
        lower = self.allowed & (self.dem + _PIPE_FALL * away_m < foot_m)  # nodata compares False
        return float(lower.sum()) * self.grid.cell_area_m2


def fills_pct(storage_m3: float, catchment_m2: float, yearly_mm: NDArray[np.float64]) -> float:
    """Share of years whose runoff would fill a pond that begins them empty [%].

    What evaporates, seeps or is taken is left out, so it is at most this.
    """
    return 100.0 * float((catchment_m2 * yearly_mm / 1000.0 >= storage_m3).mean())
