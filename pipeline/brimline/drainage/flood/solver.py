"""Rain on ground, flowing: greatest depth and speed over a storm."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline import _jit
from brimline.drainage.flood import _kernels
from brimline.drainage.flood.ground import (
    check_cells,
    checked_start,
    rate_at,
    to_next_change_s,
)
from brimline.errors import GridError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from brimline.drainage.flood.ground import FloodGround, Inflow, Rain
    from brimline.grid import BoolGrid

# In two dimensions the smoothed scheme is stable up to sqrt(θ/2) = 0.63: a checkerboard mode of the
# flows keeps 2θ - 1 of itself in a step, and levels may then answer with 8 C² <= 2 (1 + 2θ - 1).
_COURANT: Final = 0.6
_FIRST_STEP_S: Final = 0.05  # for each metre of cell, before speeds are known
_GROWTH: Final = 1.1  # of one step over the last
_CELLS_A_BAND: Final = 30_000  # fewer are not worth a second thread


@dataclass(frozen=True, slots=True, eq=False)
class Flood:
    """What the storm did; arrays (rows, cols), NaN at nodata.

    Parameters
    ----------
    depth_m : float64, at the end [m].
    most_m : float32, greatest depth [m].
    speed_m_s : float32, greatest speed of what left the cell while its water stood deeper than
        1 mm [m/s].
    soaked_m : float64, taken in by the ground [m].
    probe_times_s : float64 (records,), times of the probes' levels.
    probe_levels_m : float64 (records, probes), water levels, the bed's where dry [m].
    rain_m3, inflow_m3, started_m3, soaked_m3, left_m3, ended_m3 : volumes; the first three less
        the others is `residual_m3`, rounding only.
    """

    depth_m: NDArray[np.float64]
    most_m: NDArray[np.float32]
    speed_m_s: NDArray[np.float32]
    soaked_m: NDArray[np.float64]
    probe_times_s: NDArray[np.float64]
    probe_levels_m: NDArray[np.float64]
    steps: int
    rain_m3: float
    inflow_m3: float
    started_m3: float
    soaked_m3: float
    left_m3: float
    ended_m3: float

    @property
    def residual_m3(self) -> float:
        """What the volumes fail to close by [m³]."""
        came = self.rain_m3 + self.inflow_m3 + self.started_m3
        return came - self.soaked_m3 - self.left_m3 - self.ended_m3


def flood(
    ground: FloodGround,
    rain: Rain,
    *,
    duration_s: float,
    start_depth_m: NDArray[np.floating] | None = None,
    inflows: Sequence[Inflow] = (),
    probes: Sequence[tuple[int, int]] = (),
    record_s: float = 60.0,
    longest_step_s: float = 10.0,
    progress: Callable[[float], None] = lambda _: None,
) -> Flood:
    """Run a storm over ground with the local-inertia form of the shallow-water equations.

    The flow per width q through a face of depth h, after a step Δt, solves

        q (1 + g Δt n² |q⃗| / h^(7/3)) = θ q₀ + (1 - θ)(q₋ + q₊)/2 - g h Δt ∂(water level)/∂x

    with q₋ and q₊ the flows through the faces before and after it. It is the scheme of the
    references but for two things. Friction is taken at the new time by the quadratic's root, not
    on the old flow: on steep ground with thin water the old way swings from step to step. And
    friction acts on the size of the whole flow q⃗, its crosswise part from the four faces around,
    so that water runs down a slope alike in every direction.

    Advection is left out: right for slow flow over land and through ponds, and for thin flow on
    slopes, where friction rules; not for fast deep jets (Froude number well above 1). The step
    follows the Courant condition on the deepest water and on the fastest flow.

    Parameters
    ----------
    duration_s : how long to run, the storm included [s].
    start_depth_m : float (rows, cols), water on the ground at the start [m]; dry where left out.
    inflows : water that enters at cells beside the rain.
    probes : cells (row, col) whose level is recorded every `record_s`.
    progress : hears the share that is done.

    Raises
    ------
    GridError
        If shapes differ, or a number is out of range.

    References
    ----------
    Bates, Horritt & Fewtrell (2010), doi:10.1016/j.jhydrol.2010.03.027, equation 11;
    de Almeida, Bates, Freer & Souvignet (2012), doi:10.1029/2011WR011570
    """
    if not (duration_s > 0 and record_s > 0 and longest_step_s > 0):
        raise GridError("duration_s, record_s and longest_step_s must be above 0 s")
    check_cells(probes, ground.valid, "the probe")
    check_cells([inflow.cell for inflow in inflows], ground.valid, "the inflow")
    kinds = 1 if ground.rain_kind is None else int(ground.rain_kind[ground.valid].max())
    if len(rain.kinds) != kinds:
        raise GridError(f"the storm has {len(rain.kinds)} rains for ground of {kinds} kinds")
    bands = _jit.bands(ground.bed_m.shape[0], least=-(-_CELLS_A_BAND // ground.bed_m.shape[1]))
    with ThreadPoolExecutor(len(bands)) as pool:
        run = _FloodRun(ground, checked_start(start_depth_m, ground.valid), bands, pool)
        records = [run.levels(probes)]
        times = [0.0]
        while run.now_s < duration_s - 1e-9:
            if run.now_s >= len(times) * record_s - 1e-9:
                times.append(run.now_s)
                records.append(run.levels(probes))
                progress(run.now_s / duration_s)
            longest_s = min(
                longest_step_s,
                duration_s - run.now_s,
                len(times) * record_s - run.now_s,
                to_next_change_s(rain.step_s, rain.depth_mm, run.now_s),
                *(to_next_change_s(i.step_s, i.flow_m3_s, run.now_s) for i in inflows),
            )
            run.step(rain, inflows, longest_s)
    if run.now_s > times[-1]:
        times.append(run.now_s)
        records.append(run.levels(probes))
    return run.result(np.array(times), np.array(records).reshape(len(times), len(probes)))


class _FloodRun:
    """The state of a run: old and new water, marks, and volumes."""

    def __init__(
        self,
        ground: FloodGround,
        depth_m: NDArray[np.float64],
        bands: list[tuple[int, int]],
        pool: ThreadPoolExecutor,
    ) -> None:
        self.valid = ground.valid
        self.cell_m = ground.cell_m
        self.land = _land(ground)
        self.kind_cells = np.bincount(self.land.kind.ravel()).astype(np.float64)
        self.kind_cells[0] = 0.0
        self.old, self.new = _water(depth_m), _water(np.zeros_like(depth_m))
        rows, cols = self.land.bed.shape
        self.marks = _kernels.Marks(
            self.old.depth.astype(np.float32),
            np.zeros((rows, cols), np.float32),
            np.zeros((rows, cols)),
            np.zeros(rows),
        )
        self.bands = [(first + 1, last + 1) for first, last in bands]  # rows count the rim
        self.pool = pool
        self.soaks = bool((self.land.rate > 0).any() and (self.land.room > 0).any())
        self.deepest_m, self.quickest_m_s = float(depth_m.max()), 0.0
        self.stable_s = _FIRST_STEP_S * ground.cell_m
        self.now_s, self.steps = 0.0, 0
        self.started_m = float(depth_m.sum())
        self.rained_m, self.inflow_m = 0.0, 0.0

    def step(self, rain: Rain, inflows: Sequence[Inflow], longest_s: float) -> None:
        """Move everything on by one time step, of at most `longest_s`."""
        wave_m_s = max(
            np.sqrt(_kernels.GRAVITY * self.deepest_m),
            2.0 * self.quickest_m_s,  # a wave on steep ground runs at 5/3 of the flow's speed
            1e-3,
        )
        self.stable_s = min(_GROWTH * self.stable_s, _COURANT * self.cell_m / wave_m_s)
        step_s = min(longest_s, self.stable_s)
        falls_m = np.zeros(self.kind_cells.size)  # none on kind 0, which is walls
        falls_m[1 : 1 + len(rain.kinds)] = (
            rate_at(rain.step_s, rain.kinds, self.now_s) / 1000 / rain.step_s * step_s
        )
        self.rained_m += float(falls_m @ self.kind_cells)
        self._sweep(step_s, falls_m)
        self.old, self.new = self.new, self.old
        for inflow in inflows:
            (flow_m3_s,) = rate_at(inflow.step_s, inflow.flow_m3_s[None, :], self.now_s)
            self._pour(inflow.cell, flow_m3_s * step_s / self.cell_m**2)
        self.now_s += step_s
        self.steps += 1

    def _sweep(self, step_s: float, falls_m: NDArray[np.float64]) -> None:
        def band(rows: tuple[int, int]) -> tuple[float, float]:
            found: tuple[float, float] = _kernels.sweep(
                self.land, self.old, self.new, self.marks, rows[0], rows[1], step_s, self.cell_m,
                falls_m, self.soaks,
            )  # fmt: skip
            return found

        run = map if len(self.bands) == 1 else self.pool.map
        extremes = list(run(band, self.bands))
        self.deepest_m = max(deepest for deepest, _ in extremes)
        self.quickest_m_s = max(quickest for _, quickest in extremes)

    def _pour(self, cell: tuple[int, int], depth_m: float) -> None:
        row, col = cell[0] + 1, cell[1] + 1
        self.old.depth[row, col] += depth_m
        self.old.awake[row] |= depth_m > 0
        self.deepest_m = max(self.deepest_m, float(self.old.depth[row, col]))
        self.inflow_m += depth_m

    def levels(self, probes: Sequence[tuple[int, int]]) -> list[float]:
        """Water levels at cells [m]."""
        return [
            float(self.land.bed[row + 1, col + 1] + self.old.depth[row + 1, col + 1])
            for row, col in probes
        ]

    def result(self, times_s: NDArray[np.float64], levels_m: NDArray[np.float64]) -> Flood:
        """Take the rim off and close the volumes."""
        area_m2 = self.cell_m**2
        inner = (slice(1, -1), slice(1, -1))
        return Flood(
            depth_m=np.where(self.valid, self.old.depth[inner], np.nan),
            most_m=np.where(self.valid, self.marks.most[inner], np.float32(np.nan)),
            speed_m_s=np.where(self.valid, self.marks.speed[inner], np.float32(np.nan)),
            soaked_m=np.where(self.valid, self.marks.soaked[inner], np.nan),
            probe_times_s=times_s,
            probe_levels_m=levels_m,
            steps=self.steps,
            rain_m3=self.rained_m * area_m2,
            inflow_m3=self.inflow_m * area_m2,
            started_m3=self.started_m * area_m2,
            soaked_m3=float(self.marks.soaked.sum()) * area_m2,
            left_m3=float(self.marks.left.sum()) * area_m2,
            ended_m3=float(self.old.depth.sum()) * area_m2,
        )


def _rimmed(array: NDArray[Any], valid: BoolGrid, rim: float, dtype: type) -> NDArray[Any]:
    """Copy with a rim one cell wide, which nodata is set to as well."""
    return np.pad(np.where(valid, array, rim).astype(dtype), 1, constant_values=rim)


def _water(depth_m: NDArray[np.float64]) -> _kernels.Water:
    depth = np.pad(depth_m, 1)
    awake = np.zeros(depth.shape[0] + 1, np.bool_)
    awake[:-1] = (depth > _kernels.THIN_M).any(axis=1)
    return _kernels.Water(
        depth, np.zeros(depth.shape, np.float32), np.zeros(depth.shape, np.float32), awake
    )


def _land(ground: FloodGround) -> _kernels.Land:
    valid = ground.valid
    row, col = np.nonzero(valid & (ground.open_slope > 0))
    pull = np.sqrt(ground.open_slope[row, col]) / ground.roughness[row, col]
    kind = ground.rain_kind if ground.rain_kind is not None else np.ones(valid.shape, np.uint16)
    starts = np.searchsorted(row, np.arange(-1, valid.shape[0] + 2))
    return _kernels.Land(
        _rimmed(ground.bed_m, valid, _kernels.WALL_M, np.float64),
        _rimmed(ground.roughness, valid, 1.0, np.float32),
        _rimmed(kind, valid, 0, np.uint16),
        _rimmed(ground.soak_mm_per_h / 3.6e6, valid, 0.0, np.float32),
        _rimmed(ground.soil_room_mm / 1000, valid, 0.0, np.float32),
        starts.astype(np.int64),
        (col + 1).astype(np.int64),
        pull.astype(np.float64),
        *_spans(np.pad(valid, 1)),
    )


def _spans(ground: BoolGrid) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First column and last + 1 that each row must look at; see `_kernels.Land`."""
    near = ground.copy()
    near[1:] |= ground[:-1]
    near[:-1] |= ground[1:]
    some = near.any(axis=1)
    begin = np.where(some, near.argmax(axis=1) - 1, 0)
    end = np.where(some, near.shape[1] - near[:, ::-1].argmax(axis=1) + 1, 0)
    return begin.astype(np.int64), end.astype(np.int64)
