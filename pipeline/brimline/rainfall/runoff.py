"""How much of the rain runs off: the NRCS curve-number relation and the rational method."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, overload

import numpy as np

from brimline.rainfall._checks import area_shares, not_below_zero, series, within
from brimline.units import INCH_MM

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

USUAL_ABSTRACTION_RATIO: Final = 0.2
LEAST_SURE_RUNOFF_MM: Final = 0.5 * INCH_MM  # TR-55, chapter 2 (from memory)
LEAST_SURE_NUMBER: Final = 40.0

_S_PER_H: Final = 3600.0
_MM_PER_M: Final = 1000.0


@overload
def retention_mm(curve_number: float) -> float: ...
@overload
def retention_mm(curve_number: NDArray[Any]) -> NDArray[np.float64]: ...
def retention_mm(curve_number: float | NDArray[Any]) -> float | NDArray[np.float64]:
    """Potential retention after runoff begins, S = 25400 / CN - 254 [mm].

    Raises
    ------
    ValueError
        If a curve number is not above 0 and at most 100.

    References
    ----------
    NRCS (1986), TR-55, equation 2-4 (S = 1000 / CN - 10 inches)
    """
    numbers = np.asarray(curve_number, dtype=np.float64)
    wrong = ~((numbers > 0) & (numbers <= 100))
    if wrong.any():
        raise ValueError(
            f"curve number must be above 0 and at most 100, got {numbers[wrong].flat[0]}"
        )
    retention = 1000.0 * INCH_MM / numbers - 10.0 * INCH_MM
    return float(retention) if np.ndim(curve_number) == 0 else retention


@overload
def runoff_depth_mm(
    rain_mm: float, curve_number: float, *, abstraction_ratio: float = ...
) -> float: ...
@overload
def runoff_depth_mm(
    rain_mm: NDArray[Any], curve_number: float | NDArray[Any], *, abstraction_ratio: float = ...
) -> NDArray[np.float64]: ...
@overload
def runoff_depth_mm(
    rain_mm: float, curve_number: NDArray[Any], *, abstraction_ratio: float = ...
) -> NDArray[np.float64]: ...
def runoff_depth_mm(
    rain_mm: float | NDArray[Any],
    curve_number: float | NDArray[Any],
    *,
    abstraction_ratio: float = USUAL_ABSTRACTION_RATIO,
) -> float | NDArray[np.float64]:
    """Runoff depth of a storm by the NRCS relation.

    Q = (P - Ia)² / (P - Ia + S) where the rain P exceeds the initial abstraction Ia = ratio × S,
    else 0.

    Parameters
    ----------
    rain_mm : depth of rain [mm], 0 or more; number or array.
    curve_number : above 0, to 100; number or array of a shape that goes with `rain_mm`.
    abstraction_ratio : initial abstraction as a share of S, 0 to 1. The tabulated curve numbers
        hold for 0.2 only; see `curve_numbers.curve_number_for_ratio_005`.

    Returns
    -------
    Runoff depth [mm], from 0 to the rain.

    Raises
    ------
    ValueError
        If a value is outside its range.

    References
    ----------
    NRCS (1986), TR-55, equations 2-1 to 2-4
    """
    rain = np.asarray(rain_mm, dtype=np.float64)
    if not (np.isfinite(rain) & (rain >= 0)).all():
        raise ValueError(f"rain_mm must be finite and not below 0 mm, got {rain_mm}")
    within(abstraction_ratio, 0.0, 1.0, "abstraction_ratio")
    retention = np.asarray(retention_mm(np.asarray(curve_number, dtype=np.float64)))
    beyond = np.maximum(rain - abstraction_ratio * retention, 0.0)
    whole = beyond + retention  # 0 only where neither rain nor retention is left
    runoff = np.divide(beyond**2, whole, out=np.zeros_like(whole), where=whole > 0)
    return float(runoff) if runoff.ndim == 0 else runoff


def excess_mm(
    depth_mm: ArrayLike,
    curve_number: float,
    *,
    abstraction_ratio: float = USUAL_ABSTRACTION_RATIO,
) -> NDArray[np.float64]:
    """Runoff of each step of a hyetograph, by the NRCS relation on the rain so far.

    Parameters
    ----------
    depth_mm : float (steps,) [mm]
        Rain of each step.

    Returns
    -------
    float64 (steps,) [mm]
        Sums to the runoff depth of the whole storm; none above the rain of its step.

    Raises
    ------
    ValueError
        As `runoff_depth_mm`.

    References
    ----------
    Chow, Maidment & Mays (1988), Applied Hydrology, section 5.5
    """
    rain = series(depth_mm, "depth_mm", "mm")
    so_far = runoff_depth_mm(np.cumsum(rain), curve_number, abstraction_ratio=abstraction_ratio)
    # rounding of the running sums must not make a step run off more than fell on it
    return np.clip(np.diff(so_far, prepend=0.0), 0.0, rain)


@dataclass(frozen=True, slots=True)
class MixedGround:
    """Ground of several curve numbers, of which each part sheds for itself.

    The runoff of the parts is weighted, never their curve numbers: a mean number hides what sealed
    ground sheds in a small storm, by a third of the runoff or by nearly all of it.

    Parameters
    ----------
    curve_numbers : of each part, above 0, to 100, each once.
    areas_m2 : area of each part [m²], 0 or more, not all 0.

    Raises
    ------
    ValueError
        If the lists differ in length or a value is outside its range.

    References
    ----------
    NRCS (2004), National Engineering Handbook 630, chapter 10 (weighting of runoff; from memory)
    """

    curve_numbers: tuple[float, ...]
    areas_m2: tuple[float, ...]

    def __post_init__(self) -> None:
        area_shares(self.areas_m2, len(self.curve_numbers), "curve numbers")
        retention_mm(np.array(self.curve_numbers))

    @property
    def area_m2(self) -> float:
        """Area of all parts [m²]."""
        return float(sum(self.areas_m2))

    def scaled(self, factor: float) -> MixedGround:
        """Return the same mixture on a larger or smaller area."""
        return MixedGround(self.curve_numbers, tuple(factor * area for area in self.areas_m2))

    @property
    def curve_number(self) -> float:
        """Area-weighted mean of the curve numbers: to be told, not to be worked with."""
        return float(self.mean(np.array(self.curve_numbers)))

    @property
    def least_abstraction_mm(self) -> float:
        """Rain below which no part sheds anything [mm]."""
        return USUAL_ABSTRACTION_RATIO * retention_mm(max(self.curve_numbers))

    def mean(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Area-weighted mean of values of the parts, float (parts, ...)."""
        shares = area_shares(self.areas_m2, len(self.curve_numbers), "curve numbers")
        found: NDArray[np.float64] = np.tensordot(shares, values, axes=1).astype(np.float64)
        return found

    def excess_mm(
        self, depth_mm: ArrayLike, *, abstraction_ratio: float = USUAL_ABSTRACTION_RATIO
    ) -> NDArray[np.float64]:
        """Runoff of each step of a hyetograph, mean over the whole area, float64 (steps,) [mm].

        Raises
        ------
        ValueError
            As `excess_mm`.
        """
        parts = [
            excess_mm(depth_mm, number, abstraction_ratio=abstraction_ratio)
            for number in self.curve_numbers
        ]
        return self.mean(np.array(parts))

    def doubts(self, rain_mm: float) -> tuple[str, ...]:
        """Say where a storm lies outside what the relation was made for.

        References
        ----------
        NRCS (1986), TR-55, chapter 2, limitations: less accurate below 0.5 inch of runoff, another
        method below a curve number of 40 (from memory)
        """
        shed_mm = float(self.excess_mm([rain_mm]).sum())
        found = []
        if rain_mm <= self.least_abstraction_mm:
            found.append(
                f"{rain_mm:.0f} mm of rain are below the initial abstraction of"
                f" {self.least_abstraction_mm:.0f} mm: nothing runs off by the relation"
            )
        elif shed_mm < LEAST_SURE_RUNOFF_MM:
            found.append(
                f"{shed_mm:.1f} mm of runoff are below the {LEAST_SURE_RUNOFF_MM:.1f} mm from which"
                " the curve-number relation can be relied on"
            )
        if self.curve_number < LEAST_SURE_NUMBER:
            found.append(f"a curve number below {LEAST_SURE_NUMBER:g} asks for another method")
        return tuple(found)


def rational_peak_m3_s(coefficient: float, intensity_mm_per_h: float, area_m2: float) -> float:
    """Peak flow by the rational method, Q = C i A [m³/s].

    Parameters
    ----------
    coefficient : runoff coefficient, 0 to 1.
    intensity_mm_per_h : mean intensity over the time of concentration [mm/h].
    area_m2 : catchment [m²]. The method is for small catchments; above about 80 ha
        (200 acres) use a hydrograph (common practice).

    Raises
    ------
    ValueError
        If a value is outside its range.

    References
    ----------
    Chow, Maidment & Mays (1988), Applied Hydrology, section 15.1
    """
    within(coefficient, 0.0, 1.0, "runoff coefficient")
    not_below_zero(intensity_mm_per_h, "intensity_mm_per_h", "mm/h")
    not_below_zero(area_m2, "area_m2", "m²")
    return coefficient * intensity_mm_per_h / (_MM_PER_M * _S_PER_H) * area_m2
