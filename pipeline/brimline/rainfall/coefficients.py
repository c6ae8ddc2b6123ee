"""Runoff coefficients for the rational method, by cover, steepness and return period.

Values of Chow, Maidment & Mays (1988), Applied Hydrology, Table 15.1.1 (standards used by the
city of Austin, Texas), written from memory.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from brimline.rainfall._checks import area_shares, not_below_zero, series, within
from brimline.rainfall.covers import condition_of, cover

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

RETURN_PERIODS_Y: Final = (2.0, 5.0, 10.0, 25.0, 50.0, 100.0, 500.0)
SLOPE_CLASSES_PCT: Final = (2.0, 7.0)  # flat to 2 %, average to 7 %, steep above

_Row: TypeAlias = tuple[float, float, float, float, float, float, float]
_BySlope: TypeAlias = tuple[_Row, _Row, _Row]  # flat, average, steep

_ASPHALT: Final = (0.73, 0.77, 0.81, 0.86, 0.90, 0.95, 1.00)
_CONCRETE_ROOF: Final = (0.75, 0.80, 0.83, 0.88, 0.92, 0.97, 1.00)
_WATER: Final = (1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0)
_GRASS_POOR: Final = (
    (0.32, 0.34, 0.37, 0.40, 0.44, 0.47, 0.58),
    (0.37, 0.40, 0.43, 0.46, 0.49, 0.53, 0.61),
    (0.40, 0.43, 0.45, 0.49, 0.52, 0.55, 0.62),
)
_GRASS_FAIR: Final = (
    (0.25, 0.28, 0.30, 0.34, 0.37, 0.41, 0.53),
    (0.33, 0.36, 0.38, 0.42, 0.45, 0.49, 0.58),
    (0.37, 0.40, 0.42, 0.46, 0.49, 0.53, 0.60),
)
_GRASS_GOOD: Final = (
    (0.21, 0.23, 0.25, 0.29, 0.32, 0.36, 0.49),
    (0.29, 0.32, 0.35, 0.39, 0.42, 0.46, 0.56),
    (0.34, 0.37, 0.40, 0.44, 0.47, 0.51, 0.58),
)
_CULTIVATED: Final = (
    (0.31, 0.34, 0.36, 0.40, 0.43, 0.47, 0.57),
    (0.35, 0.38, 0.41, 0.44, 0.48, 0.51, 0.60),
    (0.39, 0.42, 0.44, 0.48, 0.51, 0.54, 0.61),
)
_PASTURE: Final = _GRASS_FAIR  # the table's rows for pasture or range are the same
_WOODS: Final = (
    (0.22, 0.25, 0.28, 0.31, 0.35, 0.39, 0.48),
    (0.31, 0.34, 0.36, 0.40, 0.43, 0.47, 0.56),
    (0.35, 0.39, 0.41, 0.45, 0.48, 0.52, 0.58),
)

# Cover to condition to rows; the key "" serves every condition. Covers that the table does not
# list (gravel, bare ground, orchard, farmstead ...) are left out on purpose: they are refused.
_TABLE: Final[dict[str, dict[str, _BySlope]]] = {
    "roof": {"": (_CONCRETE_ROOF,) * 3},
    "paving": {"": (_ASPHALT,) * 3},
    "water": {"": (_WATER,) * 3},
    "lawn": {"poor": _GRASS_POOR, "fair": _GRASS_FAIR, "good": _GRASS_GOOD},
    "meadow": {"": _GRASS_GOOD},
    "pasture": {"": _PASTURE},
    "row crops": {"": _CULTIVATED},
    "contoured row crops": {"": _CULTIVATED},
    "terraced row crops": {"": _CULTIVATED},
    "small grain": {"": _CULTIVATED},
    "contoured small grain": {"": _CULTIVATED},
    "rotation meadow": {"": _CULTIVATED},
    "woods": {"": _WOODS},
}


def runoff_coefficient(
    cover_name: str, condition: str = "", *, slope_pct: float, return_period_y: float
) -> float:
    """Runoff coefficient of a ground cover.

    Between the tabulated return periods it is interpolated over the logarithm of the return
    period; below 2 years it stays at the 2-year value.

    Parameters
    ----------
    cover_name : a name of `covers.COVERS` that the table lists.
    condition : hydrologic condition of a lawn; other covers have one row for all conditions.
    slope_pct : mean steepness of the ground [%].
    return_period_y : return period of the storm [years], to 500.

    Raises
    ------
    ValueError
        If the cover is unknown or the table does not list it, the condition is unknown, the slope
        is below 0 % or the return period is not above 0 and at most 500 years.

    References
    ----------
    Chow, Maidment & Mays (1988), Applied Hydrology, Table 15.1.1 (from memory); meadow as grass in
    good condition and water as 1 are ours
    """
    one = cover(cover_name)
    if one.name not in _TABLE:
        raise ValueError(
            f"no runoff coefficient is tabulated for {one.name!r}; give the coefficient itself, or "
            f"use curve numbers; listed: {', '.join(_TABLE)}"
        )
    not_below_zero(slope_pct, "slope_pct", "%")
    if not 0 < return_period_y <= RETURN_PERIODS_Y[-1]:
        raise ValueError(
            f"return_period_y must be above 0 and at most {RETURN_PERIODS_Y[-1]:g} years, "
            f"got {return_period_y} years"
        )
    rows = _TABLE[one.name]
    known = condition_of(one, condition)
    by_slope = rows[known if known in rows else ""]
    row = by_slope[int(np.searchsorted(SLOPE_CLASSES_PCT, slope_pct))]
    return float(np.interp(np.log(return_period_y), np.log(RETURN_PERIODS_Y), row))


def composite_coefficient(coefficients: ArrayLike, areas_m2: ArrayLike) -> float:
    """Area-weighted mean of runoff coefficients.

    Raises
    ------
    ValueError
        If the lists differ in length, an area is below 0 m² or all are 0 m², or a coefficient is
        outside 0 to 1.
    """
    values = series(coefficients, "coefficients", "")
    within(float(values.max()), 0.0, 1.0, "runoff coefficient")
    return float(area_shares(areas_m2, values.size, "coefficients") @ values)
