"""What a flood runs over and what feeds it: ground, rain, inflows, and their checks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.errors import GridError
from brimline.grid import checked_same_shape

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import BoolGrid

_A_HAIR_S = 1e-9  # a moment this close to a change of rate counts as after it


@dataclass(frozen=True, slots=True, eq=False)
class FloodGround:
    """What water runs over; arrays (rows, cols).

    Parameters
    ----------
    bed_m : float levels [m]; NaN is a wall.
    cell_m : side of a cell [m].
    roughness : Manning's n [s/m^(1/3)].
    soak_mm_per_h : greatest rate of soakage [mm/h].
    soil_room_mm : water that the soil can still take [mm]; infinite for a constant rate.
    open_slope : slope at which water leaves the ground, 0 for a wall; meant for cells at the
        raster's edge or beside nodata. Flow there is normal (Manning), through one face.
    rain_kind : uint16, which of a storm's several rains falls on each cell, from 1; all the first
        where left out.

    Raises
    ------
    GridError
        If shapes differ, no cell is ground, or a number is out of range.
    """

    bed_m: NDArray[np.floating]
    cell_m: float
    roughness: NDArray[np.floating]
    soak_mm_per_h: NDArray[np.floating]
    soil_room_mm: NDArray[np.floating]
    open_slope: NDArray[np.floating]
    rain_kind: NDArray[np.uint16] | None = None

    def __post_init__(self) -> None:
        checked_same_shape(
            bed_m=self.bed_m,
            roughness=self.roughness,
            soak_mm_per_h=self.soak_mm_per_h,
            soil_room_mm=self.soil_room_mm,
            open_slope=self.open_slope,
        )
        if not self.cell_m > 0:
            raise GridError(f"cell_m must be above 0 m, got {self.cell_m}")
        valid = self.valid
        if self.rain_kind is not None:
            checked_same_shape(bed_m=self.bed_m, rain_kind=self.rain_kind)
            if (self.rain_kind[valid] == 0).any():
                raise GridError("rain_kind counts from 1 on every valid cell")
        if not valid.any():
            raise GridError(f"bed_m {valid.shape} holds no finite cell")
        if not (self.roughness[valid] > 0).all():
            raise GridError("roughness must be above 0 on every valid cell")
        for name in ("soak_mm_per_h", "soil_room_mm", "open_slope"):
            if not (getattr(self, name)[valid] >= 0).all():
                raise GridError(f"{name} must be 0 or more on every valid cell")

    @property
    def valid(self) -> BoolGrid:
        """Cells that are ground, bool (rows, cols)."""
        return np.asarray(np.isfinite(self.bed_m))


@dataclass(frozen=True, slots=True, eq=False)
class Rain:
    """A storm: depth in each of equal steps [mm].

    Parameters
    ----------
    depth_mm : float (steps,), the same on every cell; or (kinds, steps), by the ground's
        `rain_kind`, such as what is left of the rain on soils of several kinds.
    """

    step_s: float
    depth_mm: NDArray[np.floating]

    def __post_init__(self) -> None:
        _check_steps("rain", self.step_s, np.atleast_2d(self.depth_mm))

    @property
    def kinds(self) -> NDArray[np.float64]:
        """Depths by kind, float64 (kinds, steps) [mm]."""
        return np.atleast_2d(np.asarray(self.depth_mm, dtype=np.float64))


@dataclass(frozen=True, slots=True, eq=False)
class Inflow:
    """Water that enters at one cell (row, col): flow in each of equal steps [m³/s]."""

    cell: tuple[int, int]
    step_s: float
    flow_m3_s: NDArray[np.floating]

    def __post_init__(self) -> None:
        _check_steps("inflow", self.step_s, self.flow_m3_s[None, :])


def checked_start(
    start_depth_m: NDArray[np.floating] | None, valid: BoolGrid
) -> NDArray[np.float64]:
    """Return depths to start from, 0 off the ground.

    Raises
    ------
    GridError
        If the shape differs or a depth on the ground is negative or not a number.
    """
    if start_depth_m is None:
        return np.zeros(valid.shape)
    checked_same_shape(start_depth_m=start_depth_m, bed_m=valid)
    if not (start_depth_m[valid] >= 0).all():
        raise GridError("start_depth_m must be 0 m or more on every valid cell")
    return np.where(valid, start_depth_m, 0.0).astype(np.float64)


def check_cells(cells: Sequence[tuple[int, int]], valid: BoolGrid, what: str) -> None:
    """Refuse cells that are not ground.

    Raises
    ------
    GridError
        If a cell lies outside the grid or is nodata.
    """
    rows, cols = valid.shape
    for row, col in cells:
        if not (0 <= row < rows and 0 <= col < cols and valid[row, col]):
            raise GridError(f"{what} at row {row}, column {col} is not on ground")


def rate_at(step_s: float, amounts: NDArray[np.floating], now_s: float) -> NDArray[np.float64]:
    """Amounts of the step that holds a moment, of (series, steps); 0 after the last."""
    place = int((now_s + _A_HAIR_S) // step_s)
    if place >= amounts.shape[1]:
        return np.zeros(amounts.shape[0])
    return amounts[:, place].astype(np.float64)


def to_next_change_s(step_s: float, amounts: NDArray[np.floating], now_s: float) -> float:
    """Time from a moment to the end of its step [s]; infinite after the last."""
    place = int((now_s + _A_HAIR_S) // step_s)
    return (place + 1) * step_s - now_s if place < amounts.shape[-1] else np.inf


def _check_steps(what: str, step_s: float, amounts: NDArray[np.floating]) -> None:
    if not step_s > 0:
        raise GridError(f"the {what}'s step_s must be above 0 s, got {step_s}")
    if amounts.ndim != 2 or not (np.isfinite(amounts) & (amounts >= 0)).all():
        raise GridError(f"the {what} must be finite numbers by step, none negative")
