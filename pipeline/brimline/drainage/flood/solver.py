"""Rain on ground, flowing: greatest depth and speed over a storm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.drainage.flood import _kernels
from brimline.errors import GridError
from brimline.grid import checked_same_shape

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

_THIN_M: Final = 1e-5  # water this thin does not flow
_THETA: Final = 0.8  # de Almeida et al. (2012): 1 is the scheme of Bates et al. (2010)
_COURANT: Final = 0.7
_FIRST_STEP_S: Final = 0.05  # for each metre of cell, before speeds are known
_GROWTH: Final = 1.1  # of one step over the last


@dataclass(frozen=True, slots=True)
class Ground:
    """What water runs over; arrays (rows, cols).

    Parameters
    ----------
    bed_m : float levels [m]; NaN is a wall.
    cell_m : side of a cell [m].
    roughness : Manning's n [s/m^(1/3)].
    soak_mm_per_h : greatest rate of soakage [mm/h].
    soil_room_mm : water that the soil can still take [mm]; infinite for a constant rate.
    open_slope : slope at which water leaves over the raster's edge or to nodata, 0 for a wall;
        only on cells that touch one. Flow there is normal (Manning).
    """

    bed_m: NDArray[np.float64]
    cell_m: float
    roughness: NDArray[np.float64]
    soak_mm_per_h: NDArray[np.float64]
    soil_room_mm: NDArray[np.float64]
    open_slope: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Rain:
    """A storm that falls evenly: depth in each of equal steps [mm]."""

    step_s: float
    depth_mm: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Flood:
    """What the storm did; arrays (rows, cols), NaN at nodata.

    Parameters
    ----------
    depth_m : at the end [m].
    most_m : greatest depth [m].
    speed_m_s : greatest speed where water stood deeper than 0.1 mm [m/s].
    soaked_m : taken in by the ground [m].
    probe_times_s : (records,) times of the probes' levels.
    probe_levels_m : (records, probes) water levels at the probes, the bed where dry [m].
    rain_m3, started_m3, soaked_m3, left_m3, ended_m3 : volumes; the first two less the other
        three is `residual_m3`, rounding only.
    """

    depth_m: NDArray[np.float64]
    most_m: NDArray[np.float64]
    speed_m_s: NDArray[np.float64]
    soaked_m: NDArray[np.float64]
    probe_times_s: NDArray[np.float64]
    probe_levels_m: NDArray[np.float64]
    steps: int
    rain_m3: float
    started_m3: float
    soaked_m3: float
    left_m3: float
    ended_m3: float

    @property
    def residual_m3(self) -> float:
        """What the volumes fail to close by [m³]."""
        return self.rain_m3 + self.started_m3 - self.soaked_m3 - self.left_m3 - self.ended_m3


def flood(
    ground: Ground,
    rain: Rain,
    *,
    duration_s: float,
    start_depth_m: NDArray[np.float64] | None = None,
    probes: tuple[tuple[int, int], ...] = (),
    record_s: float = 60.0,
    longest_step_s: float = 10.0,
    progress: Callable[[float], None] = lambda _: None,
) -> Flood:
    """Run a storm over ground with the local-inertia form of the shallow-water equations.

    Advection is left out: right for slow flow over land and through ponds, not for fast jets
    (Froude number well above 1). The step follows the Courant condition on the deepest water.

    Parameters
    ----------
    duration_s : how long to run, the storm included [s].
    start_depth_m : water on the ground at the start [m]; dry where left out.
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
    _check(ground, rain, duration_s)
    bed = np.ascontiguousarray(ground.bed_m, dtype=np.float64)
    valid = ~np.isnan(bed)
    depth = np.zeros_like(bed) if start_depth_m is None else np.where(valid, start_depth_m, 0.0)
    state = _State.new(ground, depth.astype(np.float64))
    started = float(depth[valid].sum())
    records: list[list[float]] = []
    times: list[float] = []
    now, steps, rained = 0.0, 0, 0.0
    step_s = _FIRST_STEP_S * ground.cell_m
    while now < duration_s - 1e-9:
        if now >= len(times) * record_s - 1e-9:
            times.append(now)
            records.append([float(bed[p] + state.depth[p]) for p in probes])
            progress(now / duration_s)
        step_s = min(
            longest_step_s,
            _GROWTH * step_s,
            _COURANT * ground.cell_m / max(state.quickest(), 1e-3),
            duration_s - now,
            _to_next_change(rain, now),
            len(times) * record_s - now,
        )
        fall_m = _rate_m_per_s(rain, now) * step_s
        rained += fall_m * float(valid.sum())
        state.step(ground, bed, valid, fall_m, step_s)
        now += step_s
        steps += 1
    times.append(now)
    records.append([float(bed[p] + state.depth[p]) for p in probes])
    area = ground.cell_m**2
    return Flood(
        depth_m=np.where(valid, state.depth, np.nan),
        most_m=np.where(valid, state.most, np.nan),
        speed_m_s=np.where(valid, state.speed, np.nan),
        soaked_m=np.where(valid, state.soaked, np.nan),
        probe_times_s=np.array(times),
        probe_levels_m=np.array(records).reshape(len(times), len(probes)),
        steps=steps,
        rain_m3=rained * area,
        started_m3=started * area,
        soaked_m3=float(state.row_soak.sum()) * area,
        left_m3=float(state.row_out.sum()) * area,
        ended_m3=float(state.depth[valid].sum()) * area,
    )


@dataclass(slots=True)
class _State:
    """Arrays that a run works in."""

    depth: NDArray[np.float64]
    most: NDArray[np.float64]
    speed: NDArray[np.float64]
    soaked: NDArray[np.float64]
    room: NDArray[np.float64]
    east: NDArray[np.float64]
    south: NDArray[np.float64]
    new_east: NDArray[np.float64]
    new_south: NDArray[np.float64]
    keep: NDArray[np.float64]
    leaves: NDArray[np.float64]
    rain: NDArray[np.float64]
    row_out: NDArray[np.float64]
    row_soak: NDArray[np.float64]
    row_quickest: NDArray[np.float64]

    @classmethod
    def new(cls, ground: Ground, depth: NDArray[np.float64]) -> _State:
        zeros = [np.zeros_like(depth) for _ in range(9)]
        rows = [np.zeros(depth.shape[0]) for _ in range(3)]
        room = np.array(ground.soil_room_mm, dtype=np.float64) / 1000
        return cls(depth, depth.copy(), zeros[0], zeros[1], room, *zeros[2:9], *rows)

    def quickest(self) -> float:
        """Return the speed of the fastest wave of the last step [m/s]."""
        still = float(np.sqrt(_kernels.GRAVITY * self.depth.max(initial=0.0)))
        return max(still, float(self.row_quickest.max(initial=0.0)))

    def step(
        self,
        ground: Ground,
        bed: NDArray[np.float64],
        valid: NDArray[np.bool_],
        fall_m: float,
        step_s: float,
    ) -> None:
        """Move everything on by one time step."""
        cell_m, rough = ground.cell_m, ground.roughness
        _kernels.fluxes(bed, self.depth, rough, self.east, self.south, self.new_east,
                        self.new_south, step_s, cell_m, _THIN_M, _THETA)  # fmt: skip
        _kernels.shares(self.depth, self.new_east, self.new_south, ground.open_slope, rough,
                        self.keep, self.leaves, step_s, cell_m, _THIN_M)  # fmt: skip
        self.rain[:] = np.where(valid, fall_m, 0.0)
        soak_m = ground.soak_mm_per_h * (step_s / 3.6e6)
        _kernels.advance(bed, self.depth, self.new_east, self.new_south, self.keep, self.leaves,
                         self.rain, soak_m, self.room, self.most, self.speed, self.soaked,
                         self.row_out, self.row_soak, self.row_quickest, step_s, cell_m,
                         _THIN_M)  # fmt: skip
        _kernels.scale(self.new_east, self.new_south, self.keep)
        self.east, self.new_east = self.new_east, self.east
        self.south, self.new_south = self.new_south, self.south


def _check(ground: Ground, rain: Rain, duration_s: float) -> None:
    checked_same_shape(
        bed_m=ground.bed_m,
        roughness=ground.roughness,
        soak_mm_per_h=ground.soak_mm_per_h,
        soil_room_mm=ground.soil_room_mm,
        open_slope=ground.open_slope,
    )
    if not ground.cell_m > 0 or not duration_s > 0 or not rain.step_s > 0:
        raise GridError("cell_m, duration_s and the storm's step_s must be above 0")
    valid = ~np.isnan(ground.bed_m)
    if not (ground.roughness[valid] > 0).all():
        raise GridError("roughness must be above 0 on every valid cell")
    if (rain.depth_mm < 0).any() or (ground.soak_mm_per_h < 0).any():
        raise GridError("rain and soakage must not be negative")


def _rate_m_per_s(rain: Rain, now: float) -> float:
    place = int((now + 1e-9) // rain.step_s)
    return float(rain.depth_mm[place]) / 1000 / rain.step_s if place < rain.depth_mm.size else 0.0


def _to_next_change(rain: Rain, now: float) -> float:
    place = int((now + 1e-9) // rain.step_s)
    return (place + 1) * rain.step_s - now if place < rain.depth_mm.size else np.inf
