"""Where soil stays wet and springs are likely, as far as the shape of the ground tells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from brimline.drainage.flow.directions import flow_directions
from brimline.drainage.flow.spreading import mfd_accumulation, wetness_index
from brimline.grid import D_COL, D_ROW, STEP, checked_elevation
from brimline.grid.blocks import block_means, refined
from brimline.terrain.conditioning import fill
from brimline.terrain.slope import slope_pct

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Directions, Elevation

_LEAST_CELLS: Final = 3  # of the coarse ones, that a place is compared with to each side


@dataclass(frozen=True, slots=True)
class LikelySpring:
    """A place at which water from above may come to the surface.

    Parameters
    ----------
    area_m2 : that drains there [m²].
    index : of wetness there [ln m].
    above_pct, below_pct : fall over some distance up and down the flow from it [%].
    """

    row: int
    col: int
    area_m2: float
    index: float
    above_pct: float
    below_pct: float


@dataclass(frozen=True, slots=True)
class SoilWetness:
    """Wetness index of the soil, over cells wide enough for water that moves in it.

    Parameters
    ----------
    index : float32 (rows, cols) [ln m] of the grid's own cells; NaN is nodata.
    factor : of the grid's cells to a side of a coarse one; the rest is of those.
    coarse_index, area_m2, directions, level_m : (coarse rows, coarse cols).
    """

    index: NDArray[np.float32]
    factor: int
    coarse_index: NDArray[np.float32]
    area_m2: NDArray[np.float64]
    directions: Directions
    level_m: NDArray[np.float32]


def soil_wetness(dem: Elevation, *, cell_m: float, over_m: float = 5.0) -> SoilWetness:
    """Tell where soil stays wet: area per contour width over slope, water spread on hillslopes.

    Water in soil does not follow the furrows of a fine survey, so the ground is taken in means over
    `over_m`, hollows filled, and the index smoothed over a cell of these.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    over_m : side of the coarser cells, or a cell [m].

    References
    ----------
    Beven & Kirkby (1979), doi:10.1080/02626667909491834; spreading: Freeman (1991),
    doi:10.1016/0098-3004(91)90048-I
    """
    ground = checked_elevation(dem)
    factor = max(1, round(over_m / cell_m))
    level_m, wide_m = block_means(ground, factor), factor * cell_m
    drained = fill(level_m)
    area_m2 = mfd_accumulation(drained, np.full(level_m.shape, wide_m**2))
    rough = wetness_index(area_m2, slope_pct(level_m, cell_m=wide_m), cell_m=wide_m)
    known = np.isfinite(rough)
    weight = ndimage.gaussian_filter(known.astype(np.float32), 1.0)
    calm = ndimage.gaussian_filter(np.where(known, rough, 0), 1.0) / np.maximum(weight, 1e-6)
    coarse = np.where(known, calm, np.nan).astype(np.float32)
    fine = refined(coarse, factor, ground.shape)
    fine[np.isnan(ground)] = np.nan
    return SoilWetness(fine, factor, coarse, area_m2, flow_directions(drained), level_m)


def likely_springs(
    wetness: SoilWetness,
    wet_index: float,
    site: NDArray[np.bool_],
    *,
    cell_m: float,
    least_above_m: float = 50.0,
    apart_m: float = 40.0,
) -> list[LikelySpring]:
    """Find the upper ends of ground that water from above can saturate.

    Ground saturates where area per contour width over slope exceeds transmissivity over recharge.
    Nobody knows that ratio beforehand: `wet_index` is its logarithm, such as that above which the
    wettest tenth of a site lies. The highest such ground of what lies around is where water would
    come out first.

    Parameters
    ----------
    site : bool (rows, cols) ground that is asked for.
    cell_m : side of the grid's own cells [m].
    least_above_m : length of ground, its area over the cell's width, that must lie above [m].
    apart_m : how far around a place no wet ground lies higher, nor another such place, three of
        the coarser cells at least [m].

    Returns
    -------
    Rows and columns of the grid's own cells, the wettest first.

    References
    ----------
    O'Loughlin (1986), Prediction of surface saturation zones in natural catchments by topographic
    analysis, Water Resour. Res. 22(5), 794-804, doi:10.1029/WR022i005p00794
    """
    wide_m = wetness.factor * cell_m
    area_m2 = wetness.area_m2
    wet = np.nan_to_num(wetness.coarse_index, nan=-np.inf) >= wet_index
    # the highest of all wet ground around: sides of a wet valley floor have wetter ground above
    radius = max(_LEAST_CELLS, round(apart_m / wide_m))
    disc = np.hypot(*np.mgrid[-radius : radius + 1, -radius : radius + 1]) <= radius + 0.5
    level_m = np.where(wet, wetness.level_m, -np.inf)
    highest = ndimage.maximum_filter(level_m, footprint=disc, mode="constant", cval=-np.inf)
    asked = block_means(site.astype(np.float32), wetness.factor) > 0
    with np.errstate(invalid="ignore"):
        upper = wet & (level_m >= highest) & asked & (area_m2 >= least_above_m * wide_m)
    where = np.argwhere(upper)
    if not len(where):
        return []
    where = where[np.lexsort((where[:, 1], where[:, 0], -area_m2[upper]))]
    middle = (wetness.factor - 1) / 2
    found = []
    for row, col in where[_apart(where, radius)].tolist():
        above, below = _falls(row, col, wetness, round(apart_m / 2 / wide_m) or 1, wide_m)
        fine_row, fine_col = (
            min(int(place * wetness.factor + middle), size - 1)
            for place, size in zip((row, col), site.shape, strict=True)
        )
        area, index = float(area_m2[row, col]), float(wetness.coarse_index[row, col])
        found.append(LikelySpring(fine_row, fine_col, area, index, above, below))
    return sorted(found, key=lambda one: (-one.index, one.row, one.col))


def _apart(places: NDArray[np.int64], apart: float) -> NDArray[np.bool_]:
    """Tell which places are kept, taken in order, so that none lie nearer to each other."""
    near = cKDTree(places).query_ball_point(places, apart)
    kept = np.ones(len(places), dtype=bool)
    for at, around in enumerate(near):
        if kept[at]:
            kept[[other for other in around if other > at]] = False
    return kept


def _falls(
    row: int, col: int, wetness: SoilWetness, steps: int, wide_m: float
) -> tuple[float, float]:
    """Fall up and down from a cell [%]: the steepest rise so far away, and that of the flow."""
    level_m, directions = wetness.level_m, wetness.directions
    r, c, run_m = row, col, 0.0
    for _ in range(steps):
        to = int(directions[r, c])
        if to >= len(D_ROW):
            break
        r, c = r + int(D_ROW[to]), c + int(D_COL[to])
        run_m += wide_m * float(STEP[to])
    here = float(level_m[row, col])
    below = 100 * (here - float(level_m[r, c])) / run_m if run_m else 0.0
    turn = np.arange(16) * (2 * np.pi / 16)
    around = (row + np.rint(steps * np.sin(turn)), col + np.rint(steps * np.cos(turn)))
    rows, cols = (
        np.clip(each, 0, size - 1).astype(np.int64)
        for each, size in zip(around, level_m.shape, strict=True)
    )
    rise = level_m[rows, cols].astype(np.float64) - here
    known = rise[np.isfinite(rise)]
    above = 100 * float(known.max()) / (steps * wide_m) if known.size else 0.0
    return max(above, 0.0), max(below, 0.0)
