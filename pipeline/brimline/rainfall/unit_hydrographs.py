"""From excess rain to the hydrograph at the outlet, by dimensionless unit hydrographs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.rainfall._checks import above_zero, named, not_below_zero, series, within
from brimline.rainfall.concentration import lag_h
from brimline.rainfall.hydrographs import SHAPES, Hydrograph
from brimline.rainfall.runoff import USUAL_ABSTRACTION_RATIO, excess_mm

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from brimline.rainfall.storms import Storm

USUAL_SHAPE: Final = "curvilinear"

_S_PER_H: Final = 3600.0
_MM_PER_M: Final = 1000.0
_STEP_OVER_TIME_TO_PEAK: Final = 0.25  # no longer than this: NEH 630, chapter 16
_IMMEDIATE: Final = 0.1  # a concentration time below this share of the step is no delay


def unit_hydrograph(
    concentration_h: float, step_s: float, *, shape: str = USUAL_SHAPE
) -> NDArray[np.float64]:
    """Share of a step's excess rain that flows at each step boundary after the step's begin.

    Time to peak is half a step plus the lag of 0.6 concentration times. The shares are scaled to
    sum to 1, so that no water is lost to rounding of the ordinates.

    Parameters
    ----------
    concentration_h : time of concentration [h]; 0 lets all flow at the end of the step.
    step_s : length of a step [s], which is the duration of the excess rain.
    shape : ``"curvilinear"`` (peak rate factor 484), ``"triangular"`` or ``"gamma"``.

    Returns
    -------
    float64 (boundaries,)
        0 first; flow at a boundary is share × excess × area / step.

    Raises
    ------
    ValueError
        If the time is below 0 h, the step is not above 0 s, or the shape is unknown.

    References
    ----------
    NRCS (2007), National Engineering Handbook 630, chapter 16; Chow, Maidment & Mays (1988),
    section 7.7
    """
    not_below_zero(concentration_h, "concentration_h", "h")
    above_zero(step_s, "step_s", "s")
    times, flows = SHAPES[named(shape, SHAPES, "unit hydrograph")]
    if concentration_h * _S_PER_H < _IMMEDIATE * step_s:
        return np.array([0.0, 1.0])
    to_peak_s = step_s / 2.0 + lag_h(concentration_h) * _S_PER_H
    count = math.ceil(float(times[-1]) * to_peak_s / step_s)
    ordinates = np.interp(np.arange(count + 1) * step_s / to_peak_s, times, flows)
    shares: NDArray[np.float64] = ordinates / ordinates.sum()
    return shares


def route_excess(
    excess: ArrayLike,
    step_s: float,
    area_m2: float,
    *,
    concentration_h: float,
    shape: str = USUAL_SHAPE,
) -> Hydrograph:
    """Turn excess rain into the hydrograph at the outlet, by unit hydrographs.

    The volume under the hydrograph is excess depth × area, to rounding. Where a step is longer
    than a quarter of the time to peak, it is divided.

    Parameters
    ----------
    excess : float (steps,) [mm]
        Excess rain of each step.
    step_s : length of a step [s].
    area_m2 : catchment [m²].
    concentration_h : time of concentration [h]; 0 for no delay.
    shape : as `unit_hydrograph`.

    Returns
    -------
    From 0 m³/s at time 0 to 0 m³/s.

    Raises
    ------
    ValueError
        If a value is outside its range.
    """
    depths = series(excess, "excess", "mm")
    not_below_zero(area_m2, "area_m2", "m²")
    parts = _parts(concentration_h, step_s)
    fine_s = step_s / parts
    shares = unit_hydrograph(concentration_h, fine_s, shape=shape)
    flow_per_mm = area_m2 / (_MM_PER_M * fine_s)
    leaving = np.convolve(np.repeat(depths / parts, parts), shares)
    flow = np.append(leaving.astype(np.float64) * flow_per_mm, 0.0)
    return Hydrograph(np.arange(flow.size, dtype=np.float64) * fine_s, flow)


def _parts(concentration_h: float, step_s: float) -> int:
    """How many parts a step is cut into, so that a part is at most a quarter of its Tp."""
    above_zero(step_s, "step_s", "s")
    lag_s = lag_h(concentration_h) * _S_PER_H
    if concentration_h * _S_PER_H < _IMMEDIATE * step_s:
        return 1
    longest_s = _STEP_OVER_TIME_TO_PEAK * lag_s / (1.0 - _STEP_OVER_TIME_TO_PEAK / 2.0)
    return max(1, math.ceil(step_s / longest_s - 1e-9))


def hydrograph(
    storm: Storm,
    area_m2: float,
    *,
    concentration_h: float,
    curve_number: float | None = None,
    runoff_coefficient: float | None = None,
    abstraction_ratio: float = USUAL_ABSTRACTION_RATIO,
    shape: str = USUAL_SHAPE,
) -> Hydrograph:
    """Hydrograph of a storm on a catchment.

    Parameters
    ----------
    storm : the rain.
    area_m2 : catchment [m²].
    concentration_h : time of concentration [h]; 0 for no delay.
    curve_number, runoff_coefficient : one of the two. A coefficient is taken off every step.
    abstraction_ratio : with a curve number, as `runoff.runoff_depth_mm`.
    shape : as `unit_hydrograph`.

    Raises
    ------
    ValueError
        If both or neither of curve number and coefficient are given, or a value is outside its
        range.
    """
    if (curve_number is None) == (runoff_coefficient is None):
        raise ValueError("give either curve_number or runoff_coefficient")
    if curve_number is not None:
        excess = excess_mm(storm.depth_mm, curve_number, abstraction_ratio=abstraction_ratio)
    else:
        coefficient = 0.0 if runoff_coefficient is None else runoff_coefficient
        excess = storm.depth_mm * within(coefficient, 0.0, 1.0, "runoff_coefficient")
    return route_excess(excess, storm.step_s, area_m2, concentration_h=concentration_h, shape=shape)


def roof_hydrograph(
    storm: Storm, area_m2: float, *, coefficient: float = 0.95, first_flush_mm: float = 0.0
) -> Hydrograph:
    """Hydrograph of a roof: no delay, a share lost, and the first flush diverted.

    Parameters
    ----------
    storm : the rain.
    area_m2 : roof as seen from above [m²].
    coefficient : share of the rain that reaches the gutter, 0 to 1 (metal 0.95; from memory).
    first_flush_mm : depth diverted at the begin, in mm over the roof. The Texas Manual on
        Rainwater Harvesting advises 10 to 20 gal per 1000 ft², which is 0.4 to 0.8 mm.

    Raises
    ------
    ValueError
        If a value is outside its range.
    """
    within(coefficient, 0.0, 1.0, "coefficient")
    not_below_zero(first_flush_mm, "first_flush_mm", "mm")
    reached = np.cumsum(storm.depth_mm * coefficient)
    kept = np.diff(np.maximum(reached - first_flush_mm, 0.0), prepend=0.0)
    return route_excess(np.maximum(kept, 0.0), storm.step_s, area_m2, concentration_h=0.0)
