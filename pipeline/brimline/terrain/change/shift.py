"""The part of a difference that lies on everything alike: a shift, or a tilt."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from brimline.errors import GridError
from brimline.terrain.change.detection import mean_error_ratio
from brimline.terrain.spread import MAD_TO_SIGMA

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid

Kind = Literal["none", "uniform", "tilt"]

_TUNING: Final = 3.0  # Tukey's bisquare; tight, for cells are many and real change is not noise
_ROUNDS: Final = 40
_MOST_CELLS: Final = 400_000
_SURE: Final = 3.0  # standard errors from which a shift counts
_LEAST_M: Final = 0.01  # smaller shifts are of no matter on a building site
_DATUM_RATIO: Final = 3.0  # a shift this many times the noise is no survey error


@dataclass(frozen=True, slots=True)
class Shift:
    """What lies on all of the ground alike.

    Parameters
    ----------
    kind : whether it counts, and if so whether the ground is only raised or tilted as well.
    mean_m : new less old at the middle of the ground compared, robust [m].
    east_m_per_km, north_m_per_km : rise of the difference eastwards and northwards; 0 unless
        tilted.
    span_m : difference between its highest and lowest corner [m]; 0 unless tilted.
    noise_m : spread of what is left, robust standard deviation [m].
    error_m : standard error of the mean [m].
    datum : it is far larger than the noise: two height references (datum or geoid), not ground.
    cells : cells it was found on.
    """

    kind: Kind
    mean_m: float
    east_m_per_km: float
    north_m_per_km: float
    span_m: float
    noise_m: float
    error_m: float
    datum: bool
    cells: int


def find_shift(
    change_m: NDArray[np.floating],
    cell_m: float,
    *,
    sigma_m: float,
    correlation_m: float,
    stable: BoolGrid | None = None,
) -> tuple[Shift, NDArray[np.float64]]:
    """Fit a plane to a difference, blind to the ground that has really changed.

    The plane is fitted by iteratively reweighted least squares with Tukey's bisquare about the
    median, so up to nearly half of the ground may have changed. It counts as a tilt, or else as
    a uniform shift, only where it is `3` standard errors and a centimetre from none.

    Parameters
    ----------
    change_m : float (rows, cols) [m]; new less old, NaN where one is missing. Not modified.
    cell_m : side of a cell [m].
    sigma_m : error of a difference at one place that the surveys state [m].
    correlation_m : distance over which errors stay alike [m].
    stable : bool (rows, cols); ground known not to have changed; None takes all.

    Returns
    -------
    shift, and the surface of it, float64 (rows, cols) [m], zero where it does not count.

    Raises
    ------
    GridError
        If the array is not two-dimensional or no cell can be compared.

    References
    ----------
    Beaton & Tukey (1974), doi:10.1080/00401706.1974.10489171 (bisquare weights); Hoehle & Hoehle
    (2009), doi:10.1016/j.isprsjprs.2009.02.003 (median and MAD for elevation differences).
    Citations from memory.
    """
    if change_m.ndim != 2:
        raise GridError(f"a difference has two dimensions, got {change_m.ndim}")
    use = np.isfinite(change_m)
    if stable is not None:
        use &= stable
    rows, cols = np.nonzero(use)
    if rows.size == 0:
        raise GridError("no cell can be compared")
    step = max(1, rows.size // _MOST_CELLS)
    east, north = cols[::step] * cell_m, -rows[::step] * cell_m
    middle = float(east.mean()), float(north.mean())
    design = np.column_stack([np.ones(east.size), east - middle[0], north - middle[1]])
    values = change_m[use][::step].astype(np.float64)
    plane, noise = _robust_plane(design, values)
    area = rows.size * cell_m**2
    error = max(sigma_m, noise) * mean_error_ratio(area, correlation_m, cell_m)
    spans = np.array([np.ptp(design[:, 1]), np.ptp(design[:, 2])])
    span = float(np.abs(plane[1:]) @ spans)
    kind = _kind(plane[0], span, error, _span_error(design, spans, error))
    if kind != "tilt":
        flat = float(np.median(values))
        plane, span = np.array([_centre(values, flat, noise), 0.0, 0.0]), 0.0
        noise = MAD_TO_SIGMA * float(np.median(np.abs(values - plane[0])))
        kind = _kind(plane[0], 0.0, error, math.inf)
    every = np.maximum(sigma_m, noise)
    shift = Shift(
        kind,
        float(plane[0]),
        float(plane[1]) * 1000,
        float(plane[2]) * 1000,
        span,
        noise,
        error,
        kind != "none" and abs(float(plane[0])) > _DATUM_RATIO * float(every),
        int(rows.size),
    )
    surface = np.zeros(change_m.shape)
    if kind != "none":
        x = np.arange(change_m.shape[1]) * cell_m - middle[0]
        y = -np.arange(change_m.shape[0]) * cell_m - middle[1]
        surface = plane[0] + plane[1] * x[np.newaxis, :] + plane[2] * y[:, np.newaxis]
    return shift, surface


def _robust_plane(
    design: NDArray[np.float64], values: NDArray[np.float64]
) -> tuple[NDArray[np.float64], float]:
    """Return the plane's coefficients and the robust spread about it."""
    plane = np.array([float(np.median(values)), 0.0, 0.0])
    columns = np.abs(design).max(axis=0)
    columns[columns == 0] = 1.0  # a single row or column of cells cannot tell a slope
    scaled = design / columns
    for _ in range(_ROUNDS):
        left = values - scaled @ (plane * columns)
        spread = MAD_TO_SIGMA * float(np.median(np.abs(left)))
        if spread == 0:
            break
        weights = np.clip(1 - (left / (_TUNING * spread)) ** 2, 0, None) ** 2
        weighted = scaled * weights[:, np.newaxis]
        found = np.linalg.lstsq(weighted.T @ scaled, weighted.T @ values, rcond=1e-9)[0] / columns
        moved = float(np.abs((found - plane) * columns).max())
        plane = found
        if moved < 1e-6 * spread:
            break
    left = values - design @ plane
    return plane, MAD_TO_SIGMA * float(np.median(np.abs(left)))


def _centre(values: NDArray[np.float64], median: float, spread: float) -> float:
    """Return the mean of what lies near the median, which noise moves less than the median."""
    if spread == 0:
        return median
    weights = np.clip(1 - ((values - median) / (_TUNING * spread)) ** 2, 0, None) ** 2
    total = float(weights.sum())
    return float(weights @ values) / total if total else median


def _span_error(design: NDArray[np.float64], spans: NDArray[np.float64], error_m: float) -> float:
    """Return the standard error of a plane's span, from that of its mean."""
    deviation = design[:, 1:].std(axis=0)
    ratios = np.divide(spans, deviation, out=np.zeros(2), where=deviation > 0)
    return error_m * float(np.hypot(*ratios))


def _kind(mean_m: float, span_m: float, error_m: float, span_error_m: float) -> Kind:
    if span_m > max(_SURE * span_error_m, _LEAST_M):
        return "tilt"
    return "uniform" if abs(mean_m) > max(_SURE * error_m, _LEAST_M) else "none"
