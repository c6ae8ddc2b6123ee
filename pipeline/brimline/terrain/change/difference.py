"""New ground less old ground: where it has changed for sure, and how much earth that is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from brimline.errors import GridError
from brimline.grid import checked_elevation, checked_same_shape
from brimline.terrain.change.detection import (
    detection_level_m,
    detection_t,
    mean_error_ratio,
    several_at_once_t,
)
from brimline.terrain.change.shift import Shift, find_shift

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation, Labels

_SCALES: Final = (1.0, 2.0, 4.0, 8.0)  # sides of windows, in correlation lengths
_ALIKE: Final = 0.75  # share of a window that must lie on one side of none; noise gives a half
_ROUNDS: Final = 6
_TOUCHING: Final = np.ones((3, 3), dtype=np.int8)


@dataclass(frozen=True, slots=True)
class Volume:
    """Earth that came or went over an area, and how far that can be told.

    Parameters
    ----------
    volume_m3 : earth [m³].
    area_m2 : its area in plan [m²].
    random_m3 : uncertainty by errors that differ from place to place, at the confidence [m³].
    systematic_m3 : uncertainty by errors that lie on all alike and do not average out [m³].
    """

    volume_m3: float
    area_m2: float
    random_m3: float
    systematic_m3: float

    @property
    def error_m3(self) -> float:
        """Both uncertainties together [m³]."""
        return math.hypot(self.random_m3, self.systematic_m3)


@dataclass(frozen=True, slots=True)
class SurfaceChange:
    """Two surfaces compared.

    Parameters
    ----------
    change_m : float32 (rows, cols) [m]; new less old, the shift taken off; NaN where unknown.
    patches : int32 (rows, cols); number of the patch of sure change, 0 for none. Lowered ground
        and raised ground are never one patch. Numbered from 1 by rows from the north-west.
    sigma_m : error of a difference at one place that was used [m].
    detection_m : least detectable change at one place [m].
    shift : what lay on everything alike; taken off where it counts.
    cut, fill : earth that went and came within the patches.
    by_patch : the same of each patch, place 0 is patch 1; all volumes positive.
    confidence : of the detection and of the uncertainties.
    """

    change_m: Elevation
    patches: Labels
    sigma_m: float
    detection_m: float
    shift: Shift
    cut: Volume
    fill: Volume
    by_patch: tuple[Volume, ...]
    confidence: float

    @property
    def net_m3(self) -> float:
        """Earth that came less earth that went [m³]."""
        return self.fill.volume_m3 - self.cut.volume_m3

    @property
    def net_error_m3(self) -> float:
        """Its uncertainty; a systematic error raises one as it lowers the other [m³]."""
        systematic = self.fill.systematic_m3 + self.cut.systematic_m3
        return math.hypot(self.cut.random_m3, self.fill.random_m3, systematic)


def difference(
    then_m: Elevation,
    now_m: Elevation,
    cell_m: float,
    *,
    error_then_m: float,
    error_now_m: float,
    correlation_m: float,
    confidence: float = 0.95,
    stable: BoolGrid | None = None,
    take_off_shift: bool = True,
) -> SurfaceChange:
    """Compare two surveys of the same ground.

    A cell has changed where its change passes the level of detection and it touches, through
    such cells and no further than half a correlation length, a place that noise alone does not give
    anywhere on the site: either one cell, or the mean over a window of some correlation lengths,
    that passes the deviate for all places looked at together. So noise alone reports no change,
    with the stated confidence. Ground that has changed is left out where the shift is sought.

    The error of a difference is that of both surveys together, or the spread that the difference
    itself shows, whichever is larger.

    Parameters
    ----------
    then_m, now_m : float32 (rows, cols) [m]; NaN is nodata. Not modified.
    cell_m : side of a cell [m].
    error_then_m, error_now_m : standard error of height of each survey [m].
    correlation_m : distance over which errors stay alike [m].
    stable : bool (rows, cols); ground known not to have changed; None takes all.
    take_off_shift : False leaves a systematic shift in the change.

    Raises
    ------
    GridError
        If the surfaces do not have one shape or share no valid cell.
    ValueError
        If an error, the cell size or the confidence is out of range.

    References
    ----------
    Brasington et al. (2003), doi:10.1016/S0169-555X(02)00320-3; Wheaton et al. (2010),
    doi:10.1002/esp.1886; Lane, Westaway & Hicks (2003), doi:10.1002/esp.483 (volumes);
    Rolstad et al. (2009), doi:10.3189/002214309789470950 (correlated error).
    """
    checked_same_shape(then_m=then_m, now_m=now_m)
    then, now = checked_elevation(then_m, "then_m"), checked_elevation(now_m, "now_m")
    raw = now.astype(np.float64) - then
    if not np.isfinite(raw).any():
        raise GridError("the two surfaces have no valid cell in common")
    t = detection_t(confidence)
    stated = detection_level_m(error_then_m, error_now_m, 1.0)
    steady = np.isfinite(raw) if stable is None else np.isfinite(raw) & stable
    use, before = steady, None
    for _ in range(_ROUNDS):  # ground found to have changed tells nothing of the shift
        shift, surface = find_shift(
            raw, cell_m, sigma_m=stated, correlation_m=correlation_m, stable=use
        )
        sigma = max(stated, shift.noise_m)
        change = raw - surface
        detection = detection_level_m(sigma, 0.0, t)
        patches = _patches(change, cell_m, sigma, detection, correlation_m, confidence)
        changed = patches > 0
        if before is not None and np.array_equal(changed, before):
            break
        before = changed
        without = steady & ~changed
        if not without.any():
            break
        use = without
    if not take_off_shift:
        change = raw
        patches = _patches(change, cell_m, sigma, detection, correlation_m, confidence)
    left_in = 0.0 if take_off_shift else abs(shift.mean_m) + shift.span_m / 2
    measure = _Measure(cell_m, t * sigma, t * shift.error_m + left_in, correlation_m)
    by_patch = measure.by_patch(change, patches)
    lowered = (patches > 0) & (change < 0)
    raised = (patches > 0) & (change > 0)
    return SurfaceChange(
        change.astype(np.float32),
        patches,
        sigma,
        detection,
        shift,
        measure.volume(float(-change[lowered].sum()), int(lowered.sum())),
        measure.volume(float(change[raised].sum()), int(raised.sum())),
        by_patch,
        confidence,
    )


@dataclass(frozen=True, slots=True)
class _Measure:
    """Volumes with their uncertainty, from sums of change over cells."""

    cell_m: float
    random_m: float
    systematic_m: float
    correlation_m: float

    def volume(self, sum_m: float, cells: int) -> Volume:
        area = cells * self.cell_m**2
        ratio = mean_error_ratio(area, self.correlation_m, self.cell_m)
        return Volume(
            sum_m * self.cell_m**2, area, area * self.random_m * ratio, area * self.systematic_m
        )

    def by_patch(self, change: NDArray[np.float64], patches: Labels) -> tuple[Volume, ...]:
        count = int(patches.max(initial=0))
        inside = patches > 0
        sums = np.bincount(patches[inside], np.abs(change[inside]), minlength=count + 1)
        cells = np.bincount(patches[inside], minlength=count + 1)
        return tuple(self.volume(float(sums[k]), int(cells[k])) for k in range(1, count + 1))


def _patches(
    change: NDArray[np.float64],
    cell_m: float,
    sigma_m: float,
    detection_m: float,
    correlation_m: float,
    confidence: float,
) -> Labels:
    """Label what passes the level of detection and holds a place that noise does not give."""
    if sigma_m == 0:
        sure = np.isfinite(change) & (change != 0)
    else:
        sure = _beyond_noise(change, cell_m, sigma_m, correlation_m, confidence)
    # noise that happens to touch real change is not taken along further than it stays alike
    near = ndimage.distance_transform_edt(~sure) * cell_m <= max(correlation_m / 2, cell_m)
    with np.errstate(invalid="ignore"):
        sides = near & (change <= -detection_m), near & (change >= detection_m)
    labels = np.zeros(change.shape, dtype=np.int32)
    count = 0
    for side in sides:
        found, number = ndimage.label(side & (change != 0), structure=_TOUCHING)
        holds = np.zeros(number + 1, dtype=np.bool_)
        holds[np.unique(found[sure & side])] = True
        holds[0] = False
        numbers = np.zeros(number + 1, dtype=np.int32)
        numbers[holds] = count + 1 + np.arange(int(holds.sum()), dtype=np.int32)
        labels += numbers[found]
        count += int(holds.sum())
    return labels


def _beyond_noise(
    change: NDArray[np.float64],
    cell_m: float,
    sigma_m: float,
    correlation_m: float,
    confidence: float,
) -> BoolGrid:
    """Tell which cells lie at a place whose change noise gives nowhere on the site."""
    valid = np.isfinite(change)
    filled = np.where(valid, change, 0.0)
    area = int(valid.sum()) * cell_m**2
    part = max(math.pi * correlation_m**2, cell_m**2)
    # errors of one part differ a little inside it: a random field's maximum behaves as if there
    # were some more independent places than parts (four to the part holds in simulations)
    chances = 4 * max(area / part, 1.0) * (len(_SCALES) + 1)
    t = several_at_once_t(confidence, chances)
    beyond: BoolGrid = np.abs(filled) > t * sigma_m
    reach = max(correlation_m / cell_m, 1.0)
    for scale in _SCALES:
        side = 2 * round(scale * reach / 2) + 1
        if side >= min(change.shape):
            break
        share = ndimage.uniform_filter(valid.astype(np.float64), side, mode="constant")
        mean = ndimage.uniform_filter(filled, side, mode="constant")
        window = np.maximum(share, 1e-9) * (side * cell_m) ** 2
        ratio = np.minimum(1.0, np.sqrt(part / window))
        with np.errstate(invalid="ignore", divide="ignore"):
            passes = (share > 0.5) & (np.abs(mean / share) > t * sigma_m * ratio)
        alike = ndimage.uniform_filter(np.sign(filled), side, mode="constant")
        beyond |= passes & (np.abs(alike) >= (2 * _ALIKE - 1) * share)
    sure: BoolGrid = beyond & valid
    return sure
