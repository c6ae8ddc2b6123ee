"""Single levels with the surface through them and what is known of its error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.errors import Problem, Severity
from brimline.terrain.levels.error import next_places

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Grid
    from brimline.terrain.levels.error import LevelError
    from brimline.terrain.levels.mesh import LevelMesh


@dataclass(frozen=True, slots=True, eq=False)
class SpotLevels:
    """Levels as read.

    Parameters
    ----------
    x, y, level_m : float64 (levels,), in the run's CRS [m].
    row, name, code : number of each in its file, and as written; empty where nothing was.
    error : how far the surface may be off; None where too few levels tell.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    level_m: NDArray[np.float64]
    row: tuple[int, ...]
    name: tuple[str, ...]
    code: tuple[str, ...]
    mesh: LevelMesh
    error: LevelError | None

    def next_measured(self, grid: Grid, wanted: BoolGrid, count: int) -> NDArray[np.float64]:
        """Return where further levels would help most, float64 (places, 2); see `next_places`."""
        if not count or not wanted.any():
            return np.zeros((0, 2))
        return next_places(self.mesh, grid, wanted, count=count)

    def rows(self) -> list[SpotLevel]:
        """Return every level by itself."""
        unknown = np.full(self.x.size, np.nan)
        off_m = unknown if self.error is None else self.error.left_out_m
        columns = (self.row, self.name, self.code, self.level_m.tolist(), off_m.tolist())
        return [SpotLevel(*one) for one in zip(*columns, strict=True)]


@dataclass(frozen=True, slots=True)
class SpotLevel:
    """One level as read; fields are named as columns of the layer levels.

    Parameters
    ----------
    left_out_m : by how much the surface through all others lies higher; NaN unknown [m].
    """

    row: int
    name: str
    code: str
    level_m: float
    left_out_m: float


def error_told(sd_m: NDArray[np.float32], rmse_m: float) -> Problem:
    """Say how good the surface between levels is.

    Parameters
    ----------
    sd_m : its standard error at the cells that count [m].
    """
    return Problem(
        Severity.NOTICE,
        f"the surface between the levels is good to {rmse_m:.3f} m inside the boundary, at worst to"
        f" {float(np.nanmax(sd_m)):.3f} m (standard error)",
        "see raster level_error_m, and measure_next for where a level helps most.",
        "elevation",
    )
