"""The revised universal soil loss equation over a grid, and where soil settles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.drainage.flow.spreading import mfd_accumulation
from brimline.drainage.soil_loss import _kernels
from brimline.errors import Problem, Severity
from brimline.grid import checked_same_shape, read_only

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Directions, Elevation

_PLOT_M: Final = 22.13  # length of the unit plot
_US_K: Final = 0.1317  # t acre h/(100 acre ft tonf in) to t ha h/(ha MJ mm), AH-703, appendix A
# K of each texture at some 2 % of organic matter in customary units, after the table that
# extension services print (values from memory); a measured K goes before it
ERODIBILITY: Final = {
    name: _US_K * k
    for name, k in {
        "sand": 0.02, "loamy sand": 0.04, "sandy loam": 0.13, "loam": 0.30, "silt loam": 0.38,
        "silt": 0.42, "silty clay loam": 0.32, "silty clay": 0.26, "clay": 0.22,
        "clay loam": 0.30, "sandy clay loam": 0.20, "sandy clay": 0.14,
    }.items()
}  # fmt: skip
# C of each cover in good use, of the range of AH-537 (Wischmeier & Smith 1978; values from memory)
COVER_FACTOR: Final = {
    "roof": 0.0, "paving": 0.0, "water": 0.0, "gravel": 0.0, "dirt track": 0.45, "bare": 1.0,
    "farmstead": 0.02, "meadow": 0.004, "lawn": 0.003, "pasture": 0.01, "brush": 0.01,
    "orchard": 0.03, "woods": 0.003, "row crops": 0.30, "contoured row crops": 0.30,
    "terraced row crops": 0.30, "small grain": 0.15, "contoured small grain": 0.15,
    "rotation meadow": 0.05,
}  # fmt: skip
_SPREAD: Final = 1.1  # power of the slope, Freeman (1991)
_COVERED: Final = 0.1  # C up to which ground counts as covered
_GENTLE: Final = 0.09  # slope below which the gentler relation holds
_STANDING_M: Final = 0.1  # deep water in a hollow that was filled, from which nothing goes on


def slope_factor(slope: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slope steepness factor S of a slope as rise over run (any shape).

    References
    ----------
    McCool, Brown, Foster, Mutchler & Meyer (1987), Trans. ASAE 30(5), doi:10.13031/2013.30576;
    AH-703 (Renard et al. 1997), equations 4-4 and 4-5
    """
    sine = slope / np.sqrt(1 + slope**2)
    found: NDArray[np.float64] = np.where(
        slope < _GENTLE, 10.8 * sine + 0.03, np.maximum(16.8 * sine - 0.50, 0.0)
    )
    return found


def length_exponent(slope: NDArray[np.float64]) -> NDArray[np.float64]:
    """Exponent m of slope length, for rill and interrill erosion alike (AH-703, eq. 4-2, 4-3)."""
    sine = slope / np.sqrt(1 + slope**2)
    beta = (sine / 0.0896) / (3 * sine**0.8 + 0.56)
    found: NDArray[np.float64] = beta / (1 + beta)
    return found


def ls_factor(
    area_m2: NDArray[np.float64],
    east: NDArray[np.float32],
    north: NDArray[np.float32],
    *,
    cell_m: float,
    most_length_m: float = 300.0,
) -> NDArray[np.float64]:
    """Factor LS of each cell.

    Parameters
    ----------
    area_m2 : float64 (rows, cols) that drains through each cell, itself included [m²].
    east, north : float32 (rows, cols) rise of the ground [m/m].
    most_length_m : slopes longer count as this long: beyond it water runs in channels, for which
        the equation was not made (AH-703 goes to 1 000 ft).

    Returns
    -------
    float64 (rows, cols); NaN is nodata.

    Raises
    ------
    GridError
        If the shapes differ.

    References
    ----------
    Desmet & Govers (1996), J. Soil Water Conserv. 51(5), 427-433, with McCool et al. (1987); they
    spread water to all lower neighbours, as `area_m2` should
    """
    checked_same_shape(area_m2=area_m2, east=east, north=north)
    rise_east, rise_north = east.astype(np.float64), north.astype(np.float64)
    slope = np.hypot(rise_east, rise_north)
    with np.errstate(invalid="ignore", divide="ignore"):
        wide = np.where(slope > 0, (np.abs(rise_east) + np.abs(rise_north)) / slope, 1.0)
    m = length_exponent(slope)
    inlet = np.minimum(np.maximum(area_m2 - cell_m**2, 0.0), most_length_m * cell_m)
    length = ((inlet + cell_m**2) ** (m + 1) - inlet ** (m + 1)) / (
        cell_m ** (m + 2) * wide**m * _PLOT_M**m
    )
    found: NDArray[np.float64] = slope_factor(slope) * length
    return found


def erosivity_of(rain_mm: float) -> float:
    """Estimate the factor R from the mean rain of a year [MJ mm/(ha h y)].

    A rough guide where no map of R is known: rains of one depth differ by a factor of two.

    References
    ----------
    Renard & Freimund (1994), J. Hydrology 157, 287-306, doi:10.1016/0022-1694(94)90110-4 (values
    from memory)
    """
    if rain_mm < 850:
        return float(0.0483 * rain_mm**1.610)
    return float(587.8 - 1.219 * rain_mm + 0.004105 * rain_mm**2)


def settled(
    surface: NDArray[np.float32],
    directions: NDArray[np.uint8],
    area_m2: NDArray[np.float64],
    loss: NDArray[np.float32],
    capacity: NDArray[np.float32],
) -> NDArray[np.float32]:
    """Soil that comes to lie in each cell, carried down to all lower neighbours.

    A cell hands on what arrives and is loosened there, up to what its water can carry; the rest
    settles. Where loss or capacity is NaN (channels) everything goes on. What goes on is shared as
    `mfd_accumulation` shares water, so that it meets the capacity of the same water.

    Parameters
    ----------
    surface : float32 (rows, cols) that drains everywhere [m].
    directions, area_m2 : (rows, cols), of which each cell drains to one of larger area.
    loss, capacity : float32 (rows, cols), in one unit.

    Returns
    -------
    float32 (rows, cols)

    References
    ----------
    Van Oost, Govers & Desmet (2000), Landscape Ecology 15, doi:10.1023/A:1008198215674
    """
    checked_same_shape(
        surface=surface, directions=directions, area_m2=area_m2, loss=loss, capacity=capacity
    )
    known = np.flatnonzero(np.isfinite(area_m2.ravel()))
    order = known[np.lexsort((area_m2.ravel()[known], -surface.ravel()[known]))]
    arrays = (surface, directions, order, loss, capacity)
    left: NDArray[np.float32] = _kernels.carried(*(read_only(each) for each in arrays), _SPREAD)
    return left


def capacity(
    rain_and_soil: NDArray[np.float64],
    ls: NDArray[np.float64],
    slope: NDArray[np.float64],
    cover_factor: NDArray[np.float64],
    *,
    carry_m: tuple[float, float],
) -> NDArray[np.float64]:
    """Soil that the water of each metre of width can carry [t/(m y)].

    Parameters
    ----------
    rain_and_soil : R K of each cell [t/(ha y)].
    slope : rise over run.
    carry_m : transport coefficient on ground under cover (C up to 0.1) and on open ground [m].

    References
    ----------
    Van Oost, Govers & Desmet (2000), doi:10.1023/A:1008198215674 (values from memory)
    """
    rills = np.maximum(ls - 4.12 * slope**0.8, 0.0)
    reach = np.where(cover_factor <= _COVERED, *carry_m)
    found: NDArray[np.float64] = reach * rain_and_soil * rills / 10_000
    return found


def told_erosivity(
    stated: float | None, rain_mm: float | None
) -> tuple[float | None, list[Problem]]:
    """Return the factor R, as stated or from the mean rain of a year, and say what it rests on.

    Parameters
    ----------
    stated, rain_mm : None where nothing says it [MJ mm/(ha h y)], [mm].
    """
    if stated is not None:
        return stated, []
    if rain_mm is None:
        message = "nothing says how hard it rains, so no loss of soil is worked out"
        mend = "set soil_loss.erosivity, or give inputs.weather"
        return None, [Problem(Severity.NOTICE, message, mend, "soil")]
    found = erosivity_of(rain_mm)
    message = f"erosivity taken as {found:.0f} MJ mm/(ha h y) from {rain_mm:.0f} mm of rain"
    mend = (
        "set soil_loss.erosivity from a map of the region: it may be half or double, and a"
        " fifth where rain falls gently"
    )
    return found, [Problem(Severity.NOTICE, message, mend, "soil")]


@dataclass(frozen=True, slots=True, eq=False)
class ErodingGround:
    """Ground that rain takes soil of, all (rows, cols).

    Parameters
    ----------
    survey_m, drained_m : float32, as surveyed and as water runs over it [m]; NaN is nodata.
    directions : uint8, of the same water.
    sinks : where it stays.
    area_m2 : float64, that drains through each cell [m²].
    rises : float32, of the smoothed ground eastwards and northwards [m/m].
    cover, erodibility : factors C and K.
    """

    survey_m: Elevation
    drained_m: Elevation
    directions: Directions
    sinks: BoolGrid
    area_m2: NDArray[np.float64]
    rises: tuple[NDArray[np.float32], NDArray[np.float32]]
    cover: NDArray[np.float64]
    erodibility: NDArray[np.float64]
    cell_m: float

    def lost_and_left(
        self,
        erosivity: float,
        *,
        practice: float,
        most_length_m: float,
        carry_m: tuple[float, float],
        path_area_m2: float,
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return the soil that is lost and that settles in a year, float32 [t/ha].

        Parameters
        ----------
        erosivity, practice : factors R and P.
        most_length_m, carry_m : as `ls_factor` and `capacity` take them.
        path_area_m2 : ground beyond which water runs in a channel, for which nothing is told.
        """
        (east, north), cell_area_m2 = self.rises, self.cell_m * self.cell_m
        weights = np.full(self.survey_m.shape, cell_area_m2)
        area = mfd_accumulation(self.drained_m, weights, sinks=self.sinks)
        ls = ls_factor(area, east, north, cell_m=self.cell_m, most_length_m=most_length_m)
        loss = erosivity * self.erodibility * ls * self.cover * practice
        loss[self.area_m2 > path_area_m2] = np.nan
        slope = np.hypot(east, north).astype(np.float64)
        most = capacity(erosivity * self.erodibility, ls, slope, self.cover, carry_m=carry_m)
        # what reaches standing water settles there; elsewhere paths lead all of it on
        stands = self.drained_m - self.survey_m > _STANDING_M
        most = np.where(stands, 0.0, np.where(np.isnan(loss), np.nan, most * self.cell_m))
        per_cell = cell_area_m2 / 10_000
        left = settled(
            self.drained_m, self.directions, self.area_m2,
            (np.where(stands, 0.0, loss) * per_cell).astype(np.float32), most.astype(np.float32),
        )  # fmt: skip
        left = np.where(np.isnan(loss) & ~stands, np.float32(np.nan), left / np.float32(per_cell))
        return loss.astype(np.float32), left.astype(np.float32)
