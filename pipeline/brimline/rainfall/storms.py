"""Design storms: how a depth of rain falls over time."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from brimline.rainfall import _distributions
from brimline.rainfall._checks import above_zero, named, read_only, rising, series, within

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike, NDArray

    from brimline.rainfall.ddf import DepthCurve, DepthTable

NRCS_TYPES: Final = tuple(_distributions.CUMULATIVE)
ALTERNATING_BLOCK: Final = "alternating block"
UNIFORM: Final = "uniform"
SHAPES: Final = (ALTERNATING_BLOCK, UNIFORM, *NRCS_TYPES)

_S_PER_H: Final = 3600.0
_NRCS_DURATION_H: Final = 24.0
_USUAL_STEP_S: Final = 60.0

Steps: TypeAlias = "NDArray[np.float64]"


@dataclass(frozen=True, slots=True, eq=False)
class Storm:
    """Rain in even steps from time 0.

    Parameters
    ----------
    name : what the storm is called in the report.
    step_s : length of a step [s].
    depth_mm : float64 (steps,) [mm]
        Rain of each step; closed to writing.
    return_period_y : return period [years]; None where the storm has none.
    climate_uplift : factor that is already in the depths; 1 where there is none.

    Raises
    ------
    ValueError
        If the step is not above 0 s, there is no depth, or one is below 0 mm.
    """

    name: str
    step_s: float
    depth_mm: NDArray[np.float64]
    return_period_y: float | None = None
    climate_uplift: float = 1.0

    def __post_init__(self) -> None:
        above_zero(self.step_s, "step_s", "s")
        above_zero(self.climate_uplift, "climate_uplift")
        object.__setattr__(self, "depth_mm", read_only(series(self.depth_mm, "depth_mm", "mm")))

    @property
    def total_mm(self) -> float:
        """Depth of the whole storm [mm]."""
        return float(self.depth_mm.sum())

    @property
    def duration_h(self) -> float:
        """From the first step's begin to the last step's end [h]."""
        return self.depth_mm.size * self.step_s / _S_PER_H

    @property
    def intensity_mm_per_h(self) -> NDArray[np.float64]:
        """Mean intensity of each step, float64 (steps,) [mm/h]."""
        return self.depth_mm * (_S_PER_H / self.step_s)

    @property
    def _wet_mm(self) -> NDArray[np.float64]:
        return self.depth_mm[: np.flatnonzero(self.depth_mm > 0).max(initial=0) + 1]

    @property
    def mean_mm_per_h(self) -> float:
        """Mean intensity until the last rain [mm/h]."""
        return float(self._wet_mm.mean()) / self.step_s * _S_PER_H

    def hardest_mm_per_h(self, span_s: float) -> float:
        """Return the mean intensity of the most intense while of about a length [mm/h]."""
        rain, steps = self._wet_mm, max(1, round(span_s / self.step_s))
        most = (
            np.convolve(rain, np.ones(steps), "valid").max() if len(rain) >= steps else rain.sum()
        )
        return float(most) / (steps * self.step_s) * _S_PER_H

    def split(self, parts: int) -> Storm:
        """Return the same rain in steps `parts` times shorter, even within each old step.

        Raises
        ------
        ValueError
            If `parts` is below 1.
        """
        if parts < 1:
            raise ValueError(f"parts must be 1 or more, got {parts}")
        depths = np.repeat(self.depth_mm / parts, parts)
        return replace(self, step_s=self.step_s / parts, depth_mm=depths)

    def scaled(self, climate_uplift: float) -> Storm:
        """Return the storm with every depth multiplied by a climate uplift factor.

        Raises
        ------
        ValueError
            If the factor is not above 0.
        """
        above_zero(climate_uplift, "climate_uplift")
        return replace(
            self,
            depth_mm=self.depth_mm * climate_uplift,
            climate_uplift=self.climate_uplift * climate_uplift,
        )


@dataclass(frozen=True, slots=True, eq=False)
class RunStorms:
    """All storms of a run.

    Parameters
    ----------
    design : what is designed for.
    checks : the others that all is routed through.
    beyond : greater ones, which only tell what fails first.
    rain_2y_24h_mm : of the rainfall table; None where it does not tell [mm].
    """

    design: Storm
    checks: tuple[Storm, ...] = ()
    beyond: tuple[Storm, ...] = ()
    rain_2y_24h_mm: float | None = None

    @property
    def routed(self) -> tuple[Storm, ...]:
        """The design storm, then the others that all is routed through."""
        return self.design, *self.checks

    @property
    def heaviest(self) -> Storm:
        """The storm that brings most rain."""
        return max((*self.routed, *self.beyond), key=lambda storm: storm.total_mm)


def _whole(value: float, name: str, unit: float, unit_name: str) -> int:
    """Return how many times `unit` goes into `value` [s], which must be a whole number."""
    count = round(value / unit)
    if count < 1 or abs(count * unit - value) > 1e-6 * unit:
        raise ValueError(
            f"{name} must be a whole number of {unit_name}s of {unit:g} s, got {value:g} s"
        )
    return count


def uniform(depth_mm: float, duration_h: float, *, step_s: float = _USUAL_STEP_S) -> Steps:
    """Even rain, float64 (steps,) [mm].

    Raises
    ------
    ValueError
        If a value is not above 0 or the duration [h] is not a whole number of steps.
    """
    above_zero(depth_mm, "depth_mm", "mm")
    steps = _steps(duration_h, step_s)
    return np.full(steps, depth_mm / steps)


def _steps(duration_h: float, step_s: float) -> int:
    above_zero(step_s, "step_s", "s")
    duration_s = above_zero(duration_h, "duration_h", "h") * _S_PER_H
    return _whole(duration_s, "duration_h", step_s, "step")


def nrcs_24h(depth_mm: float, kind: str, *, step_s: float = _USUAL_STEP_S) -> Steps:
    """Spread a 24-hour depth by a standard NRCS distribution, float64 (steps,) [mm].

    The tabulated ordinates lie 0.1 h apart; within that, rain is even.

    Parameters
    ----------
    depth_mm : 24-hour depth [mm].
    kind : one of `NRCS_TYPES`, such as ``"type II"``.
    step_s : length of a step [s]; 24 h must be a whole number of steps.

    Raises
    ------
    ValueError
        If the depth or step is not above 0, the kind is unknown, or the steps do not fill 24 h.

    References
    ----------
    NRCS (1986), TR-55, appendix B; ordinates: see `_distributions`
    """
    above_zero(depth_mm, "depth_mm", "mm")
    ordinates = _distributions.CUMULATIVE[named(kind, NRCS_TYPES, "NRCS distribution")]
    steps = _steps(_NRCS_DURATION_H, step_s)
    known_h = np.arange(ordinates.size) * _distributions.STEP_H
    edges_h = np.linspace(0.0, _NRCS_DURATION_H, steps + 1)
    return depth_mm * np.diff(np.interp(edges_h, known_h, ordinates))


def alternating_block(
    depths: DepthCurve,
    duration_h: float,
    *,
    step_s: float = _USUAL_STEP_S,
    least_duration_h: float = 0.0,
    peak_at: float = 0.5,
) -> Steps:
    """Arrange rain so that the depth around the peak is the design depth for every duration.

    Rain of the shortest duration falls at the peak; the increments for longer durations are set
    in turn right and left of it.

    Parameters
    ----------
    depths : depth [mm] for durations [h], such as `DepthTable.curve` gives.
    duration_h : duration of the storm [h], a whole number of blocks.
    step_s : length of a step [s].
    least_duration_h : shortest duration that `depths` is known for [h]; the blocks are the least
        whole number of steps that is not shorter, and rain is even within a block.
    peak_at : where the peak lies in the storm, 0 (begin) to 1 (end).

    Returns
    -------
    float64 (steps,) [mm]

    Raises
    ------
    ValueError
        If a value is outside its range, the duration is not a whole number of blocks, or the
        depths fall with duration.

    References
    ----------
    Chow, Maidment & Mays (1988), Applied Hydrology, section 14.4 and Example 14.4.1
    """
    above_zero(step_s, "step_s", "s")
    within(peak_at, 0.0, 1.0, "peak_at")
    steps_per_block = max(1, math.ceil(least_duration_h * _S_PER_H / step_s - 1e-9))
    block_s = steps_per_block * step_s
    duration_s = above_zero(duration_h, "duration_h", "h") * _S_PER_H
    blocks = _whole(duration_s, "duration_h", block_s, "block")
    durations_h = np.arange(1, blocks + 1, dtype=np.float64) * (block_s / _S_PER_H)
    nested = np.asarray(depths(durations_h), dtype=np.float64)
    increments = np.diff(nested, prepend=0.0)
    if not (np.isfinite(increments) & (increments >= 0)).all():
        place = int(np.argmin(np.nan_to_num(increments, nan=-np.inf)))
        raise ValueError(
            f"design depth must not fall with duration, got {nested[place]:g} mm "
            f"at {durations_h[place]:g} h"
        )
    arranged = np.empty(blocks)
    arranged[_around_peak(blocks, peak_at)] = increments
    return np.repeat(arranged / steps_per_block, steps_per_block)


def _around_peak(blocks: int, peak_at: float) -> NDArray[np.int64]:
    """Places of the blocks in order of rank: the peak, then right and left in turn."""
    peak = int((blocks - 1) * peak_at)
    right, left = np.arange(peak + 1, blocks), np.arange(peak - 1, -1, -1)
    both = min(right.size, left.size)
    turns = np.column_stack([right[:both], left[:both]]).ravel()
    return np.concatenate([[peak], turns, right[both:], left[both:]])


def observed(
    time_h: ArrayLike, cumulative_mm: ArrayLike, *, step_s: float = _USUAL_STEP_S
) -> Steps:
    """Cut a measured or given mass curve of rain into even steps, float64 (steps,) [mm].

    Parameters
    ----------
    time_h : float (points,) [h]
        Rising, from the storm's begin; at least two points.
    cumulative_mm : float (points,) [mm]
        Rain since the first point; never falling. Between points, rain is even.
    step_s : length of a step [s]; a last step that is not full is dry at its end.

    Raises
    ------
    ValueError
        If the lists differ in length, the times do not rise, or the rain falls.
    """
    times = rising(series(time_h, "time_h", "h", least=2), "time_h", "h")
    mass = series(cumulative_mm, "cumulative_mm", "mm", least=2)
    if times.shape != mass.shape:
        raise ValueError(f"{times.size} times do not go with {mass.size} depths")
    if (np.diff(mass) < 0).any():
        raise ValueError("cumulative_mm must not fall: it is the rain since the begin")
    above_zero(step_s, "step_s", "s")
    span_s = float(times[-1] - times[0]) * _S_PER_H
    steps = max(1, math.ceil(span_s / step_s - 1e-9))
    edges_h = times[0] + np.arange(steps + 1) * step_s / _S_PER_H
    return np.diff(np.interp(edges_h, times, mass))


@dataclass(frozen=True, slots=True)
class StormRequest:
    """A design storm to make from a depth-duration-frequency table.

    Parameters
    ----------
    return_period_y : return period [years].
    duration_h : duration [h]; 24 for the NRCS distributions.
    shape : one of `SHAPES`.
    climate_uplift : factor on the table's depths, above 0; 1 is none.
    name : what to call it; empty makes a name of the rest.
    """

    return_period_y: float
    duration_h: float
    shape: str = ALTERNATING_BLOCK
    climate_uplift: float = 1.0
    name: str = ""

    @property
    def title(self) -> str:
        """The name, or one made of return period, duration, shape and uplift."""
        raised = "" if self.climate_uplift == 1.0 else f", x {self.climate_uplift:g}"
        made = f"{self.return_period_y:g}-year {self.duration_h:g} h {self.shape}{raised}"
        return self.name or made


def design_storm(
    table: DepthTable, request: StormRequest, *, step_s: float = _USUAL_STEP_S
) -> Storm:
    """Make one design storm.

    Raises
    ------
    ValueError
        If the table does not reach the duration or return period, the shape is unknown, or the
        duration does not fit the shape or the step [s].
    """
    shape = named(request.shape, SHAPES, "storm shape")
    depth_mm = table.depth_mm(request.duration_h, request.return_period_y)
    if shape == UNIFORM:
        depths = uniform(depth_mm, request.duration_h, step_s=step_s)
    elif shape == ALTERNATING_BLOCK:
        depths = alternating_block(
            table.curve(request.return_period_y),
            request.duration_h,
            step_s=step_s,
            least_duration_h=float(table.durations_h[0]),
        )
    elif request.duration_h != _NRCS_DURATION_H:
        raise ValueError(
            f"the NRCS distribution {shape!r} is for 24 h, got {request.duration_h:g} h; "
            f"use {ALTERNATING_BLOCK!r} for other durations"
        )
    else:
        depths = nrcs_24h(depth_mm, shape, step_s=step_s)
    plain = Storm(request.title, step_s, depths, request.return_period_y)
    return plain.scaled(request.climate_uplift)


def design_storms(
    table: DepthTable, requests: Iterable[StormRequest], *, step_s: float = _USUAL_STEP_S
) -> tuple[Storm, ...]:
    """Make several design storms, in the order asked for.

    Raises
    ------
    ValueError
        As `design_storm`.
    """
    return tuple(design_storm(table, request, step_s=step_s) for request in requests)
