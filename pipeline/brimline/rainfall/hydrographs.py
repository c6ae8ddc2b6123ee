"""Hydrographs as values: flow over time, added up, averaged, or made of a peak and a volume."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.rainfall._checks import above_zero, named, read_only, series

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike, NDArray

# Dimensionless unit hydrograph, time over time to peak and flow over peak flow: NRCS (2007),
# National Engineering Handbook 630, chapter 16, Table 16-1 (peak rate factor 484)
_CURVE_TIME: Final = np.concatenate(
    [np.arange(0, 21) / 10, np.arange(11, 21) / 5, np.array([4.5, 5.0])]
)
# fmt: off
_CURVE_FLOW: Final = np.array([
    0, 0.03, 0.10, 0.19, 0.31, 0.47, 0.66, 0.82, 0.93, 0.99, 1.0,
    0.99, 0.93, 0.86, 0.78, 0.68, 0.56, 0.46, 0.39, 0.33, 0.28,
    0.207, 0.147, 0.107, 0.077, 0.055, 0.040, 0.029, 0.021, 0.015, 0.011, 0.005, 0,
])
# fmt: on
_TRIANGLE_TIME: Final = np.array([0.0, 1.0, 8.0 / 3.0])  # falls 1.67 times as long as it rises
_TRIANGLE_FLOW: Final = np.array([0.0, 1.0, 0.0])
_GAMMA_EXPONENT: Final = 3.7  # the gamma curve of peak rate factor 484
_GAMMA_TIME: Final = np.arange(0, 61) / 10.0
_GAMMA_FLOW: Final = np.append(
    (_GAMMA_TIME[:-1] * np.exp(1.0 - _GAMMA_TIME[:-1])) ** _GAMMA_EXPONENT, 0.0
)

SHAPES: Final = {
    "curvilinear": (_CURVE_TIME, _CURVE_FLOW),
    "triangular": (_TRIANGLE_TIME, _TRIANGLE_FLOW),
    "gamma": (_GAMMA_TIME, _GAMMA_FLOW),
}


@dataclass(frozen=True, slots=True, eq=False)
class Hydrograph:
    """Flow over time, straight between points and 0 outside them.

    Parameters
    ----------
    time_s : float (points,) [s]
        Never falling, at least two points. A time that stands twice is a jump.
    flow_m3_s : float (points,) [m³/s]
        0 or more. A first or last flow above 0 is a jump from or to 0.

    Raises
    ------
    ValueError
        If the lists differ in length, a time falls, or a flow is below 0 m³/s or not finite.
    """

    time_s: NDArray[np.float64]
    flow_m3_s: NDArray[np.float64]

    def __post_init__(self) -> None:
        time = np.array(self.time_s, dtype=np.float64)
        flow = series(self.flow_m3_s, "flow_m3_s", "m³/s", least=2)
        if time.shape != flow.shape:
            raise ValueError(f"{time.size} times do not go with {flow.size} flows")
        if not np.isfinite(time).all() or (np.diff(time) < 0).any():
            raise ValueError("time_s must be finite and never fall")
        object.__setattr__(self, "time_s", read_only(time))
        object.__setattr__(self, "flow_m3_s", read_only(flow))

    @property
    def peak_m3_s(self) -> float:
        """Largest flow [m³/s]."""
        return float(self.flow_m3_s.max())

    @property
    def peak_time_s(self) -> float:
        """Time of the first largest flow [s]."""
        return float(self.time_s[int(np.argmax(self.flow_m3_s))])

    @property
    def volume_m3(self) -> float:
        """Volume under the whole hydrograph [m³]."""
        return float(np.trapezoid(self.flow_m3_s, self.time_s))

    def at(self, times_s: ArrayLike) -> NDArray[np.float64]:
        """Flow at given times [m³/s]; at a jump, the flow after it."""
        return _limit(self, np.asarray(times_s, dtype=np.float64), after=True)

    def volume_before_m3(self, times_s: ArrayLike) -> NDArray[np.float64]:
        """Volume that has passed by given times, exactly [m³]."""
        times = np.asarray(times_s, dtype=np.float64)
        known, flow = self.time_s, self.flow_m3_s
        inside = np.clip(times, known[0], known[-1])
        place = np.clip(np.searchsorted(known, inside, side="right") - 1, 0, known.size - 2)
        passed = np.concatenate([[0.0], np.cumsum(np.diff(known) * (flow[1:] + flow[:-1]) / 2.0)])
        here = np.where(inside == known[-1], flow[-1], self.at(inside))
        part = (inside - known[place]) * (flow[place] + here) / 2.0
        return np.where(inside == known[-1], passed[-1], passed[place] + part)

    def mean_flow_m3_s(self, edges_s: ArrayLike) -> NDArray[np.float64]:
        """Mean flow of each interval between edges [m³/s].

        Exact, so that flow times interval sums to the hydrograph's volume whatever the intervals:
        the form to route with.

        Raises
        ------
        ValueError
            If the edges do not rise.
        """
        edges = np.asarray(edges_s, dtype=np.float64)
        lengths = np.diff(edges)
        if not (lengths > 0).all():
            raise ValueError("edges_s must rise from value to value")
        mean: NDArray[np.float64] = np.diff(self.volume_before_m3(edges)) / lengths
        return np.maximum(mean, 0.0)  # rounding of the running volume


def _limit(one: Hydrograph, times_s: NDArray[np.float64], *, after: bool) -> NDArray[np.float64]:
    """Flow just after (or just before) given times, 0 outside the points."""
    known, flow = one.time_s, one.flow_m3_s
    upper = np.searchsorted(known, times_s, side="right" if after else "left")
    outside = (upper == 0) | (upper == known.size)
    upper = np.clip(upper, 1, known.size - 1)
    span = known[upper] - known[upper - 1]
    share = np.divide(times_s - known[upper - 1], span, out=np.zeros_like(times_s), where=span > 0)
    return np.where(outside, 0.0, flow[upper - 1] + share * (flow[upper] - flow[upper - 1]))


def sum_hydrographs(hydrographs: Iterable[Hydrograph]) -> Hydrograph:
    """Add hydrographs on one time base: exact, with every point and jump of each.

    Raises
    ------
    ValueError
        If there are none.
    """
    parts = tuple(hydrographs)
    if not parts:
        raise ValueError("there is no hydrograph to add up")
    times = np.unique(np.concatenate([part.time_s for part in parts]))
    before = np.sum([_limit(part, times, after=False) for part in parts], axis=0)
    after = np.sum([_limit(part, times, after=True) for part in parts], axis=0)
    repeats = np.where(before == after, 1, 2)
    all_times = np.repeat(times, repeats)
    flows = np.repeat(before, repeats)
    flows[np.cumsum(repeats) - 1] = after  # the last copy of each time
    return Hydrograph(all_times, np.maximum(flows, 0.0))


def peak_and_volume(
    peak_m3_s: float, volume_m3: float, *, shape: str = "triangular", start_s: float = 0.0
) -> Hydrograph:
    """Hydrograph of a known peak and volume, for water that comes from outside.

    Peak and volume are met exactly; the time to peak follows from them.

    Parameters
    ----------
    peak_m3_s, volume_m3 : peak flow [m³/s] and volume [m³], above 0.
    shape : ``"triangular"``, ``"curvilinear"`` or ``"gamma"``.
    start_s : when it begins [s].

    Raises
    ------
    ValueError
        If a value is not above 0 or the shape is unknown.

    References
    ----------
    NRCS (2007), National Engineering Handbook 630, chapter 16 (shapes)
    """
    above_zero(peak_m3_s, "peak_m3_s", "m³/s")
    above_zero(volume_m3, "volume_m3", "m³")
    times, flows = SHAPES[named(shape, SHAPES, "hydrograph shape")]
    to_peak_s = volume_m3 / (peak_m3_s * float(np.trapezoid(flows, times)))
    time_s: NDArray[np.float64] = start_s + times * to_peak_s
    return Hydrograph(time_s, flows * peak_m3_s)
