"""What a row must hold, and when the next one is due."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from brimline.lines.rows import _kernels
from brimline.units import FOOT_M

RuleName = Literal["volume", "interval", "terrace"]

_KIND: Final = {
    "volume": _kernels.VOLUME,
    "interval": _kernels.INTERVAL,
    "terrace": _kernels.TERRACE,
}
# Rows are aimed a little below what they hold: their strip and length come out to a few per cent.
_AIM: Final = 0.97


@dataclass(frozen=True, slots=True)
class Duty:
    """What the design storm sends to a row and what a metre of row can take of it.

    Parameters
    ----------
    runoff_mm : depth that runs off the strip in the storm [mm].
    storage_m2 : cross-section of water when the row spills: volume per metre [m²].
    soak_mm : depth that soaks in during the storm [mm].
    wetted_width_m : width over which it does [m].

    Raises
    ------
    ValueError
        If a value is negative, or a row could hold nothing.
    """

    runoff_mm: float
    storage_m2: float
    soak_mm: float = 0.0
    wetted_width_m: float = 0.0

    def __post_init__(self) -> None:
        for name in ("runoff_mm", "storage_m2", "soak_mm", "wetted_width_m"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"{name} must not be negative, got {getattr(self, name)}")
        if not self.holds_m3_per_m > 0:
            raise ValueError("a row holds nothing: storage_m2 and soakage are both 0")

    @property
    def holds_m3_per_m(self) -> float:
        """Storage and soakage of a metre of row [m³/m]."""
        return self.storage_m2 + self.soak_mm / 1000.0 * self.wetted_width_m

    @property
    def spacing_m(self) -> float:
        """Strip above the row, per metre of row, whose runoff it just holds [m]."""
        if self.runoff_mm == 0:
            return float("inf")
        return self.holds_m3_per_m / (self.runoff_mm / 1000.0)


@dataclass(frozen=True, slots=True)
class RowSpacing:
    """When the next row down the slope is due.

    ``volume``: the runoff of the strip equals what the row holds, less 3 per cent for what cannot
    be told beforehand. ``interval``: a fixed fall since the row above. ``terrace``: the fall
    VI[ft] = X s + Y of terraces, s the strip's mean slope in per cent. Distances are along the
    ground plan; as the mean along the row, none is less than `min_m` or more than `max_m`, where
    the ground allows a row.

    Parameters
    ----------
    rule : which of the three.
    min_m, max_m : bounds [m].
    interval_m : fall for ``interval`` [m].
    terrace_x, terrace_y : X (0.4 to 0.8 by region) and Y (1 to 4 by soil and cover) [ft].

    Raises
    ------
    ValueError
        If a bound is negative or out of order, or a needed value is missing.

    References
    ----------
    USDA NRCS, Conservation Practice Standard 600, Terrace; National Engineering Handbook part 650,
    chapter 8, Terraces (vertical interval)
    """

    rule: RuleName
    min_m: float
    max_m: float
    interval_m: float = 0.0
    terrace_x: float = 0.0
    terrace_y: float = 0.0

    def __post_init__(self) -> None:
        if self.rule not in _KIND:
            raise ValueError(f"rule must be one of {', '.join(_KIND)}, got {self.rule!r}")
        if not 0 <= self.min_m < self.max_m:
            raise ValueError(
                f"bounds must be in order and not negative, got min_m {self.min_m} m "
                f"and max_m {self.max_m} m"
            )
        if self.rule == "interval" and not self.interval_m > 0:
            raise ValueError(f"interval_m must be above 0 m, got {self.interval_m}")
        if self.rule == "terrace" and not (self.terrace_x >= 0 and self.terrace_y > 0):
            raise ValueError(
                f"terrace_x must not be negative and terrace_y above 0 ft, got {self.terrace_x} "
                f"and {self.terrace_y}"
            )

    def numbers(self, duty: Duty) -> tuple[int, float, float, float, float, float, float]:
        """Return the rule as plain numbers for the kernel."""
        return (
            _KIND[self.rule],
            _AIM * duty.spacing_m,
            self.interval_m,
            FOOT_M * self.terrace_x,
            FOOT_M * self.terrace_y,
            self.min_m,
            self.max_m,
        )


def terrace_interval_m(slope_pct: float, terrace_x: float, terrace_y: float) -> float:
    """Vertical interval of terraces on a slope: VI[ft] = X s + Y, in metres.

    References
    ----------
    As `RowSpacing`.
    """
    return FOOT_M * (terrace_x * slope_pct + terrace_y)


def catchment_ratio(
    need_mm: float, design_rain_mm: float, runoff_coefficient: float, efficiency: float
) -> float:
    """Ground that must shed for each unit of ground that is cultivated behind a bund.

    The width of the strip above a row is this many times the cultivated width along the row.

    Parameters
    ----------
    need_mm : water that the crop needs in its season [mm].
    design_rain_mm : rain of the season that is designed for [mm].
    runoff_coefficient : share of rain that runs off in the season.
    efficiency : share of that which the crop can use.

    Raises
    ------
    ValueError
        If a divisor is not positive.

    References
    ----------
    Critchley & Siegert (1991), Water harvesting, FAO AGL/MISC/17/91, chapter 4
    """
    reaches = design_rain_mm * runoff_coefficient * efficiency
    if not reaches > 0:
        raise ValueError(f"rain, runoff coefficient and efficiency must be above 0, got {reaches}")
    return max(0.0, (need_mm - design_rain_mm) / reaches)
