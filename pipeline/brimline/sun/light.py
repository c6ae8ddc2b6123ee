"""Sun on the ground: direct hours and clear-sky energy, shaded by all that rises above it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline._jit import bands, side_by_side
from brimline.grid import checked_elevation, checked_same_shape, read_only
from brimline.grid.tiles import Window
from brimline.sun import _kernels
from brimline.sun.path import ANGLES_RAD, BEARINGS_RAD, CODES, MOST_RAD
from brimline.terrain.slope import gradient

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation
    from brimline.sun.path import SunPath


@dataclass(frozen=True, slots=True)
class Sunlight:
    """Sun on every cell under a clear sky; NaN is nodata.

    Parameters
    ----------
    hours_h : float32 (periods, rows, cols) direct sun a day [h].
    energy_mj_m2 : float32 (periods, rows, cols) on the sloping ground, of sun and sky [MJ/m² a
        day].
    sky_share : float32 (rows, cols) share of the sky that is seen, 1 on open level ground.
    """

    hours_h: NDArray[np.float32]
    energy_mj_m2: NDArray[np.float32]
    sky_share: NDArray[np.float32]


def skylines(
    ground: Elevation,
    surface: Elevation,
    *,
    cell_m: float,
    far: Sequence[tuple[float, float]] = (),
    block: Window | None = None,
) -> NDArray[np.uint8]:
    """Height of the skyline of every cell in each sector, as codes of `ANGLES_RAD`.

    Parameters
    ----------
    ground : float32 (rows, cols) [m] that is looked from; NaN is nodata.
    surface : float32 (rows, cols) [m] that is looked at: the ground with all that stands on it.
    cell_m : side of a cell [m].
    far : skyline beyond the data, as bearings from the grid's north and heights [°], between which
        it is straight; empty is level.
    block : cells that are looked from; None looks from all.

    Returns
    -------
    uint8 (sectors, rows, cols), of the block

    Raises
    ------
    GridError
        If the arrays do not fit.
    ValueError
        If a height of the far skyline is not 0 to below 90.

    Notes
    -----
    The skyline is exact for a surface that is straight between cells across its lines, which pass
    within half a cell of the centre looked from: an upper hull along parallel lines, as in Dozier,
    Bruno & Downey (1981), doi:10.1016/0098-3004(81)90026-2, its time linear in the cells.
    """
    checked_same_shape(ground=ground, surface=surface)
    ground, surface = checked_elevation(ground, "ground"), checked_elevation(surface, "surface")
    least = _far_skyline(far)
    block = block or Window(0, 0, *ground.shape)
    codes = np.empty((len(BEARINGS_RAD), *block.shape), dtype=np.uint8)
    per_rad = (CODES - 1) / MOST_RAD

    def towards(sector: int) -> None:
        bearing = BEARINGS_RAD[sector]
        codes[sector] = _kernels.skyline(
            surface, ground, tuple(block), np.sin(bearing), np.cos(bearing), float(cell_m),
            np.tan(least[sector]), per_rad,
        )  # fmt: skip

    side_by_side([lambda s=sector: towards(s) for sector in range(len(BEARINGS_RAD))])  # type: ignore[misc]
    return codes


def sunlight(
    ground: Elevation,
    surface: Elevation,
    path: SunPath,
    *,
    cell_m: float,
    far: Sequence[tuple[float, float]] = (),
    block: Window | None = None,
) -> Sunlight:
    """Sun that reaches the ground by period of `path.PERIODS`.

    Light that other slopes throw back is left out.

    Parameters, errors and source of the skyline are those of `skylines`.

    References
    ----------
    Share of the sky: Dozier & Frew (1990), doi:10.1109/36.58986, equation 7b.
    """
    block = block or Window(0, 0, *ground.shape)
    codes = skylines(ground, surface, cell_m=cell_m, far=far, block=block)
    wider = Window(block.row - 1, block.col - 1, block.rows + 2, block.cols + 2).common(
        Window(0, 0, *ground.shape)
    )
    rises = gradient(ground[wider.slices], cell_m=cell_m)
    east, north = (np.ascontiguousarray(rise[block.inside(wider)]) for rise in rises)
    arrays = [
        read_only(each) for each in (BEARINGS_RAD, path.table, path.diffuse_mj_m2, ANGLES_RAD)
    ]
    parts = side_by_side(
        [
            lambda low=low, high=high: _kernels.light(  # type: ignore[misc]
                read_only(np.ascontiguousarray(codes[:, low:high])),
                read_only(east[low:high]), read_only(north[low:high]), *arrays,
            )
            for low, high in bands(block.rows)
        ]
    )  # fmt: skip
    hours, energy, seen = (np.concatenate(each, axis=-2) for each in zip(*parts, strict=True))
    return Sunlight(hours, energy, seen)


def _far_skyline(far: Sequence[tuple[float, float]]) -> NDArray[np.float64]:
    """Height of the far skyline at each bearing [rad]."""
    if not far:
        return np.zeros(len(BEARINGS_RAD))
    bearing, height = np.array(sorted(far), dtype=np.float64).T
    if not ((height >= 0) & (height < 90)).all():
        raise ValueError(f"heights of the far skyline must be 0 to below 90°, got {height}")
    least: NDArray[np.float64] = np.radians(
        np.interp(np.degrees(BEARINGS_RAD), bearing, height, period=360.0)
    )
    return least
