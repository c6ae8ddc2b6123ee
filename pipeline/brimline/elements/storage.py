"""How much an element holds at each level: the one relation that every element gives."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from brimline.errors import GridError

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike

FloatArray: TypeAlias = NDArray[np.float64]

STAGES: Final = 41  # levels in a table that is sampled from a shape


@dataclass(frozen=True, slots=True, eq=False)
class StageTable:
    """Storage, water surface and soaking area of an element by level.

    Between entries everything is linear in level; above the last entry the walls are taken as
    vertical.

    Parameters
    ----------
    level_m : float64 (stages,), strictly rising; the first is the floor [m].
    storage_m3 : float64 (stages,), strictly rising from 0 [m³].
    area_m2 : float64 (stages,), water surface in plan, not negative [m²].
    soak_area_m2 : float64 (stages,), plan area through which water soaks, not negative [m²].

    Raises
    ------
    GridError
        If the arrays break this contract.
    """

    level_m: FloatArray
    storage_m3: FloatArray
    area_m2: FloatArray
    soak_area_m2: FloatArray

    def __post_init__(self) -> None:
        for name in ("level_m", "storage_m3", "area_m2", "soak_area_m2"):
            array = np.array(getattr(self, name), dtype=np.float64)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        self._check()

    def _check(self) -> None:
        shapes = {self.level_m.shape, self.storage_m3.shape, self.area_m2.shape}
        shapes.add(self.soak_area_m2.shape)
        if len(shapes) != 1 or self.level_m.ndim != 1 or self.level_m.size < 2:
            raise GridError(
                f"a stage table needs four 1-D arrays of one length of at least 2, got {shapes}"
            )
        stacked = np.stack([self.level_m, self.storage_m3, self.area_m2, self.soak_area_m2])
        if not np.isfinite(stacked).all():
            raise GridError("a stage table holds a value that is not finite")
        if not (np.diff(self.level_m) > 0).all():
            raise GridError(f"levels of a stage table must rise, got {self.level_m} m")
        if self.storage_m3[0] != 0.0 or not (np.diff(self.storage_m3) > 0).all():
            raise GridError(f"storage must rise from 0, got {self.storage_m3} m³")
        if (stacked[2:] < 0).any():
            raise GridError("areas of a stage table must not be negative")

    @property
    def floor_m(self) -> float:
        """Lowest level [m]."""
        return float(self.level_m[0])

    @property
    def top_m(self) -> float:
        """Highest level that the table describes [m]."""
        return float(self.level_m[-1])

    def storage_at(self, level_m: ArrayLike) -> Any:  # noqa: ANN401 - float in, float out
        """Storage at a level or levels [m³]; 0 below the floor."""
        return _extended(level_m, self.level_m, self.storage_m3)

    def level_at(self, storage_m3: ArrayLike) -> Any:  # noqa: ANN401
        """Level at which a storage or storages stand [m]."""
        return _extended(storage_m3, self.storage_m3, self.level_m)

    def area_at(self, level_m: ArrayLike) -> Any:  # noqa: ANN401
        """Water surface at a level or levels [m²]."""
        return _scalar(np.interp(np.asarray(level_m, np.float64), self.level_m, self.area_m2))

    def soak_area_at(self, level_m: ArrayLike) -> Any:  # noqa: ANN401
        """Soaking area at a level or levels [m²]."""
        return _scalar(np.interp(np.asarray(level_m, np.float64), self.level_m, self.soak_area_m2))


def _scalar(value: Any) -> Any:  # noqa: ANN401
    return float(value) if np.ndim(value) == 0 else value


def _extended(x: ArrayLike, xs: FloatArray, ys: FloatArray) -> Any:  # noqa: ANN401
    """Interpolate linearly; carry the last slope on above, hold the first value below."""
    values = np.asarray(x, dtype=np.float64)
    slope = (ys[-1] - ys[-2]) / (xs[-1] - xs[-2])
    above = np.maximum(values - xs[-1], 0.0)
    return _scalar(np.interp(values, xs, ys) + above * slope)


def sampled(
    floor_m: float,
    top_m: float,
    storage_m3: Callable[[float], float],
    area_m2: Callable[[float], float],
    soak_area_m2: Callable[[float], float] | None = None,
    *,
    also_at_m: tuple[float, ...] = (),
) -> StageTable:
    """Sample a shape's exact storage and area at equal steps of level.

    Parameters
    ----------
    storage_m3, area_m2, soak_area_m2 : functions of level [m]; water soaks through `area_m2`
        where no soaking area is given.
    also_at_m : levels that the table must hold exactly, such as the spill level; those outside
        the range are passed over.

    Returns
    -------
    StageTable

    Raises
    ------
    ValueError
        If the top is not above the floor.
    """
    if not top_m > floor_m:
        raise ValueError(f"the top, {top_m} m, must stand above the floor, {floor_m} m")
    inside = [level for level in also_at_m if floor_m < level < top_m]
    levels = _merged(np.linspace(floor_m, top_m, STAGES), inside)
    soak = soak_area_m2 or area_m2
    return StageTable(
        levels,
        np.array([0.0] + [storage_m3(level) for level in levels[1:]]),
        np.array([area_m2(level) for level in levels]),
        np.array([soak(level) for level in levels]),
    )


def _merged(levels: FloatArray, wanted: list[float]) -> FloatArray:
    """Put wanted levels among equal steps, dropping steps that would nearly repeat them."""
    step = levels[1] - levels[0]
    near = np.zeros(levels.size, dtype=bool)
    for level in wanted:
        near |= np.abs(levels - level) < 0.01 * step
    near[[0, -1]] = False
    merged = np.unique(np.concatenate([levels[~near], np.asarray(wanted, dtype=np.float64)]))
    keep = np.concatenate([[True], np.diff(merged) > 1e-6 * step])
    return np.asarray(merged[keep])


def vertical(floor_m: float, top_m: float, area_m2: float) -> StageTable:
    """Make the table of a vessel with vertical walls that soaks through its floor."""
    area = np.full(2, area_m2)
    storage = np.array([0.0, area_m2 * (top_m - floor_m)])
    return StageTable(np.array([floor_m, top_m]), storage, area, area)
