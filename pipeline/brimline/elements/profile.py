"""A dug cross-section on sloping ground, as a line of corners: exact areas by level.

`across` runs up the slope from the lower lip of the cut, where the drawn line lies; `rise` is
height over that lip. Water stands between the mound below and the bank above.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from brimline.elements.storage import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """Corners of the ground under the water, from the mound's crest to the bank above.

    Parameters
    ----------
    across_m, rise_m : float64 (corners,), `across_m` strictly rising [m].
    """

    across_m: FloatArray
    rise_m: FloatArray

    def area_m2(self, rise_m: float) -> float:
        """Area of water standing at a height over the lip [m²]."""
        low, high, width = self._sides()
        below_low = np.clip(rise_m - low, 0, None)
        below_high = np.clip(rise_m - high, 0, None)
        height = high - low
        flat = height < 1e-12
        slope = np.where(flat, 1.0, height)
        sloping = width / slope * (below_low**2 - below_high**2) / 2
        return float(np.where(flat, width * below_low, sloping).sum())

    def width_m(self, rise_m: float) -> float:
        """Width of the water surface at a height over the lip [m]."""
        return float((self._wet_share(rise_m) * np.diff(self.across_m)).sum())

    def wetted_m(self, rise_m: float) -> float:
        """Length of ground under water at a height over the lip [m]."""
        lengths = np.hypot(np.diff(self.across_m), np.diff(self.rise_m))
        return float((self._wet_share(rise_m) * lengths).sum())

    @property
    def floor_width_m(self) -> float:
        """Width of the level floor [m]."""
        low, high, width = self._sides()
        return float(width[(high - low < 1e-12) & (low <= self.rise_m.min() + 1e-12)].sum())

    def _sides(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        ends = np.stack([self.rise_m[:-1], self.rise_m[1:]])
        return ends.min(axis=0), ends.max(axis=0), np.diff(self.across_m)

    def _wet_share(self, rise_m: float) -> FloatArray:
        low, high, _ = self._sides()
        height = high - low
        flat = height < 1e-12
        share = np.clip((rise_m - low) / np.where(flat, 1.0, height), 0, 1)
        return np.where(flat, rise_m >= low, share)


def polygon_area_m2(across_m: ArrayLike, rise_m: ArrayLike) -> float:
    """Area of a closed polygon, by the shoelace formula [m²]."""
    x, y = np.asarray(across_m, dtype=np.float64), np.asarray(rise_m, dtype=np.float64)
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def cut_across(
    inner_across_m: FloatArray, inner_rise_m: FloatArray, upper_batter: float, ground_slope: float
) -> tuple[FloatArray, FloatArray]:
    """Carry the upper bank of a cut on to where it meets the ground.

    Parameters
    ----------
    inner_across_m, inner_rise_m : float64 (corners,), the cut from the lower lip to the corner
        from which the bank rises at `upper_batter` (run per rise) [m].
    ground_slope : fall of the ground, as a ratio.

    Raises
    ------
    ValueError
        If the bank is not steeper than the ground, so that they never meet.
    """
    if ground_slope * upper_batter >= 1:
        raise ValueError(
            f"a bank of {upper_batter} to 1 never meets ground of {100 * ground_slope:.1f} %; "
            "it must be steeper than the ground"
        )
    across, rise = float(inner_across_m[-1]), float(inner_rise_m[-1])
    up = (ground_slope * across - rise) / (1 - ground_slope * upper_batter)
    if up <= 1e-9:
        return inner_across_m, inner_rise_m
    end = across + max(upper_batter, 1e-6) * up
    return np.append(inner_across_m, end), np.append(inner_rise_m, rise + up)


@dataclass(frozen=True, slots=True)
class Mound:
    """A bank of spoil along the lower lip: level crest, batters run per rise.

    Parameters
    ----------
    crest_width_m : width of its top [m].
    inner, outer : batters towards the water and away from it.
    """

    crest_width_m: float = 0.3
    inner: float = 2.0
    outer: float = 2.0

    def area_m2(self, height_m: float, ground_slope: float) -> float:
        """Area of fill that raises the crest a height over the lip, on falling ground [m²].

        Raises
        ------
        ValueError
            If the outer batter is not steeper than the ground.
        """
        if ground_slope * self.outer >= 1:
            raise ValueError(
                f"a mound's outer batter of {self.outer} to 1 never meets ground of "
                f"{100 * ground_slope:.1f} %; it must be steeper than the ground"
            )
        crest = self.inner * height_m
        outer_crest = crest + self.crest_width_m
        toe = (outer_crest + self.outer * height_m) / (1 - ground_slope * self.outer)
        return polygon_area_m2(
            [0.0, -crest, -outer_crest, -toe], [0.0, height_m, height_m, -ground_slope * toe]
        )

    def height_m(self, fill_m2: float, ground_slope: float) -> float:
        """Height over the lip that a given area of fill reaches [m]; 0 where it only levels."""
        if fill_m2 <= self.area_m2(0.0, ground_slope):
            return 0.0
        high = 1.0
        while self.area_m2(high, ground_slope) < fill_m2:
            high *= 2
        from scipy.optimize import brentq

        root: Any = brentq(
            lambda height: self.area_m2(height, ground_slope) - fill_m2, 0.0, high, xtol=1e-12
        )
        return float(root)

    def footprint_m(self, height_m: float, ground_slope: float) -> float:
        """Width of ground that the mound covers below the lip [m]."""
        crest = (self.inner + self.outer) * height_m + self.crest_width_m
        return crest / (1 - ground_slope * self.outer)


def steepness(slope_pct: float) -> float:
    """Ground slope in per cent as a ratio; at least 1 in 500, so that banks have an end."""
    if not math.isfinite(slope_pct) or slope_pct < 0:
        raise ValueError(f"a ground slope must be 0 % or more, got {slope_pct} %")
    return max(slope_pct / 100, 0.002)
