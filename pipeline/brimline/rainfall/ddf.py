"""Depth-duration-frequency tables: how deep a rain of a duration and return period is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias

import numpy as np

from brimline.rainfall._checks import read_only, rising, series

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Depths: TypeAlias = NDArray[np.float64]

# depth [mm] of the design rain for durations [h]
DepthCurve: TypeAlias = "Callable[[Depths], Depths]"
Scale: TypeAlias = Literal["gumbel", "log"]

_CLOSE: Final = 1e-9  # a duration of 0.1 + 0.2 h is still inside a table that ends at 0.3 h


@dataclass(frozen=True, slots=True, eq=False)
class DepthTable:
    """Rain depths by duration and return period, read between but not beyond the tabulated ones.

    Over duration, the logarithm of depth is straight in the logarithm of duration. Over return
    period, depth is straight in the Gumbel reduced variate ``-ln(-ln(1 - 1/T))``, in which a
    Gumbel distribution of annual maxima is exact, or in ``ln T``.

    Parameters
    ----------
    durations_h : float (n,) [h]
        Rising.
    return_periods_y : float (m,) [years]
        Rising; above 1 year for the ``"gumbel"`` scale.
    depths_mm : float (n, m) [mm]
        A row for each duration. Above 0; never less for a longer duration or return period.
    scale : ``"gumbel"`` for annual maxima, ``"log"`` for partial series, which reach down to one
        year and less.

    Raises
    ------
    ValueError
        If the table breaks one of these rules; the message names the place.

    References
    ----------
    Chow, Maidment & Mays (1988), Applied Hydrology, sections 12.2 (reduced variate) and 14.2
    """

    durations_h: NDArray[np.float64]
    return_periods_y: NDArray[np.float64]
    depths_mm: NDArray[np.float64]
    scale: Scale = "gumbel"

    def __post_init__(self) -> None:
        durations = series(self.durations_h, "durations_h", "h")
        periods = series(self.return_periods_y, "return_periods_y", "years")
        depths = np.array(self.depths_mm, dtype=np.float64)
        rising(np.concatenate(([0.0], durations)), "durations_h", "h")
        least = 1.0 if self.scale == "gumbel" else 0.0
        if not periods[0] > least:
            raise ValueError(
                f"return_periods_y must be above {least:g} year on the {self.scale} scale, "
                f"got {periods[0]:g} years"
            )
        rising(periods, "return_periods_y", "years")
        if depths.shape != (durations.size, periods.size):
            raise ValueError(
                f"depths_mm must have a row for each of {durations.size} durations and a column "
                f"for each of {periods.size} return periods, got shape {depths.shape}"
            )
        _checked_depths(depths, durations, periods)
        for name, array in (
            ("durations_h", durations),
            ("return_periods_y", periods),
            ("depths_mm", depths),
        ):
            object.__setattr__(self, name, read_only(array))

    @classmethod
    def of_intensities(
        cls,
        durations_h: ArrayLike,
        return_periods_y: ArrayLike,
        intensities_mm_per_h: ArrayLike,
        *,
        scale: Scale = "gumbel",
    ) -> DepthTable:
        """Make the table from mean intensities, float (n, m) [mm/h].

        Raises
        ------
        ValueError
            If the depths that follow break a rule of the table.
        """
        durations = series(durations_h, "durations_h", "h")
        periods = series(return_periods_y, "return_periods_y", "years")
        intensities = np.asarray(intensities_mm_per_h, dtype=np.float64)
        if intensities.ndim != 2 or intensities.shape[0] != durations.size:
            raise ValueError(
                f"intensities_mm_per_h must have a row for each of {durations.size} durations, "
                f"got shape {intensities.shape}"
            )
        return cls(durations, periods, intensities * durations[:, np.newaxis], scale)

    def depth_mm(self, duration_h: float, return_period_y: float) -> float:
        """Depth of one design rain [mm].

        Raises
        ------
        ValueError
            If the duration or the return period lies outside the table.
        """
        return float(self.depths_at(np.array([duration_h]), return_period_y)[0])

    def intensity_mm_per_h(self, duration_h: float, return_period_y: float) -> float:
        """Mean intensity of one design rain, for the rational method [mm/h].

        Raises
        ------
        ValueError
            If the duration or the return period lies outside the table.
        """
        return self.depth_mm(duration_h, return_period_y) / duration_h

    def depths_at(self, durations_h: ArrayLike, return_period_y: float) -> NDArray[np.float64]:
        """Depths for several durations at one return period [mm].

        Raises
        ------
        ValueError
            If a duration or the return period lies outside the table.
        """
        wanted = np.asarray(durations_h, dtype=np.float64)
        for value in (float(wanted.min()), float(wanted.max())):
            _inside(value, self.durations_h, "duration", "h")
        _inside(return_period_y, self.return_periods_y, "return period", "years")
        at_period = self._column(return_period_y)
        logs = np.interp(np.log(wanted), np.log(self.durations_h), np.log(at_period))
        depths: NDArray[np.float64] = np.exp(logs)
        return depths

    def curve(self, return_period_y: float) -> DepthCurve:
        """Return the depths of one return period as a function of duration.

        Raises
        ------
        ValueError
            If the return period lies outside the table.
        """
        _inside(return_period_y, self.return_periods_y, "return period", "years")
        return lambda durations_h: self.depths_at(durations_h, return_period_y)

    def _column(self, return_period_y: float) -> NDArray[np.float64]:
        at = self._scaled(return_period_y)
        known = self._scaled(self.return_periods_y)
        return np.array([np.interp(at, known, row) for row in self.depths_mm])

    def _scaled(self, periods_y: Any) -> Any:  # noqa: ANN401 -- number or array, as given
        if self.scale == "log":
            return np.log(periods_y)
        return -np.log(-np.log1p(-1.0 / np.asarray(periods_y)))


def _checked_depths(
    depths: NDArray[np.float64], durations: NDArray[np.float64], periods: NDArray[np.float64]
) -> None:
    wrong = ~(np.isfinite(depths) & (depths > 0))
    if wrong.any():
        row, col = np.argwhere(wrong)[0]
        raise ValueError(
            f"depths_mm must be above 0 mm, got {depths[row, col]:g} mm for "
            f"{durations[row]:g} h and {periods[col]:g} years"
        )
    for axis, what in ((0, "a longer duration"), (1, "a longer return period")):
        less = np.diff(depths, axis=axis) < 0
        if less.any():
            row, col = np.argwhere(less)[0] + (axis == 0, axis == 1)
            raise ValueError(
                f"depths_mm falls with {what} at {durations[row]:g} h and {periods[col]:g} years: "
                f"{depths[row, col]:g} mm"
            )


def _inside(value: float, known: NDArray[np.float64], what: str, unit: str) -> None:
    low, high = float(known[0]), float(known[-1])
    if not low * (1 - _CLOSE) <= value <= high * (1 + _CLOSE):
        raise ValueError(
            f"{what} {value:g} {unit} is outside the depth-duration-frequency table, "
            f"{low:g} to {high:g} {unit}; it is not extrapolated: extend the table"
        )
