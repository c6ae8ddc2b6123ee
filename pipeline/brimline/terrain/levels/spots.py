"""Single levels with the surface through them and what is known of its error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

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
