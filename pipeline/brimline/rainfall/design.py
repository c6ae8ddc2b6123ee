"""The rain that a rule of thumb needs: one depth, and what runs off of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from brimline.rainfall._checks import above_zero
from brimline.rainfall.runoff import USUAL_ABSTRACTION_RATIO, runoff_depth_mm

if TYPE_CHECKING:
    from brimline.rainfall.ddf import DepthTable


@dataclass(frozen=True, slots=True)
class DesignRain:
    """A design rain as two depths.

    Parameters
    ----------
    return_period_y, duration_h : return period [years] and duration [h].
    climate_uplift : factor that is already in the depth.
    curve_number : curve number of the ground that sheds it.
    depth_mm : depth of rain [mm].
    runoff_mm : depth that runs off [mm].
    """

    return_period_y: float
    duration_h: float
    climate_uplift: float
    curve_number: float
    depth_mm: float
    runoff_mm: float

    @property
    def runoff_share(self) -> float:
        """Runoff over rain, 0 to 1."""
        return self.runoff_mm / self.depth_mm


def design_rain(
    table: DepthTable,
    *,
    return_period_y: float,
    duration_h: float,
    curve_number: float,
    climate_uplift: float = 1.0,
    abstraction_ratio: float = USUAL_ABSTRACTION_RATIO,
) -> DesignRain:
    """Depth and runoff of a design rain.

    Parameters
    ----------
    table : depths by duration and return period.
    return_period_y : return period [years], within the table.
    duration_h : duration [h], within the table.
    curve_number : curve number of the ground, above 0, to 100.
    climate_uplift : factor on the table's depth, above 0; 1 is none.
    abstraction_ratio : as `runoff.runoff_depth_mm`.

    Raises
    ------
    ValueError
        If a value is outside its range or the table does not reach it.
    """
    above_zero(climate_uplift, "climate_uplift")
    depth_mm = table.depth_mm(duration_h, return_period_y) * climate_uplift
    runoff_mm = runoff_depth_mm(depth_mm, curve_number, abstraction_ratio=abstraction_ratio)
    return DesignRain(
        return_period_y, duration_h, climate_uplift, curve_number, depth_mm, runoff_mm
    )
