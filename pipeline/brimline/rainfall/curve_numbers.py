"""Curve numbers: by cover and soil, composite by area, and adjusted for how wet the ground is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.rainfall._checks import area_shares, named, series, within
from brimline.rainfall.covers import SOIL_GROUPS, condition_of, cover, soil_group

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

# retention as a multiple of the retention at the average condition
_ANTECEDENT: Final = {"dry": 2.281, "average": 1.0, "wet": 0.427}


def curve_number(cover_name: str, condition: str = "", group: str = "D") -> int:
    """Curve number of a ground cover on a soil.

    Parameters
    ----------
    cover_name : a name of `covers.COVERS`, such as ``"pasture"``.
    condition : ``"poor"``, ``"fair"`` or ``"good"``; empty takes the cover's usual one.
    group : hydrologic soil group, A (drains freely) to D (hardly drains), or a dual group.

    Returns
    -------
    Curve number for the average antecedent condition, 30 to 100.

    Raises
    ------
    ValueError
        If the cover, the condition or the group is not in the table.

    References
    ----------
    NRCS (1986), TR-55, Tables 2-2a to 2-2c
    """
    one = cover(cover_name)
    row = one.curve_numbers[condition_of(one, condition)]
    return row[SOIL_GROUPS.index(soil_group(group))]


def composite_curve_number(curve_numbers: ArrayLike, areas_m2: ArrayLike) -> float:
    """Area-weighted mean of curve numbers.

    Where the numbers differ by much (roofs beside meadow), weight the *runoff* instead
    (`runoff.MixedGround`): the composite number hides what the sealed ground sheds in a
    small storm.

    Raises
    ------
    ValueError
        If the lists differ in length, an area is below 0 m² or all are 0 m², or a number is
        outside 0 to 100.

    References
    ----------
    NRCS (1986), TR-55, chapter 2, worksheet 2
    """
    numbers = series(curve_numbers, "curve_numbers", "")
    within(float(numbers.max()), 0.0, 100.0, "curve number")
    return float(area_shares(areas_m2, numbers.size, "curve numbers") @ numbers)


def antecedent_curve_number(number: float, condition: str) -> float:
    """Curve number for ground that is drier or wetter than average before the storm.

    The retention of dry ground (condition I) is 2.281 times, that of wet ground (condition III)
    0.427 times the retention at the average condition (II).

    Parameters
    ----------
    number : curve number at the average condition, above 0, to 100.
    condition : ``"dry"``, ``"average"`` or ``"wet"``.

    Raises
    ------
    ValueError
        If the number is outside its range or the condition is unknown.

    References
    ----------
    Hawkins, Hjelmfelt & Zevenbergen (1985), Runoff probability, storm depth, and curve numbers,
    doi:10.1061/(ASCE)0733-9437(1985)111:4(330); a fit within 2 of SCS NEH-4
    Table 10.1
    """
    _checked(number)
    ratio = _ANTECEDENT[named(condition, _ANTECEDENT, "antecedent condition")]
    return 100.0 * number / (100.0 * ratio + (1.0 - ratio) * number)


def curve_number_for_ratio_005(number: float) -> float:
    """Curve number to use with an initial abstraction of 0.05 S, from the tabulated one.

    The tables hold for 0.2 S only. Trials over many watersheds found 0.05 S nearer to what was
    measured; a curve number must be converted before that ratio is used.

    Raises
    ------
    ValueError
        If the number is not above 0 and at most 100.

    References
    ----------
    Woodward et al. (2003), Runoff curve number method: examination of the initial abstraction
    ratio, equation 8: S(0.05) = 1.33 S(0.2)^1.15 with S in inches
    """
    _checked(number)
    retention_in = 1000.0 / number - 10.0
    return float(1000.0 / (1.33 * retention_in**1.15 + 10.0))


def _checked(number: float) -> None:
    if not 0 < number <= 100:
        raise ValueError(f"curve number must be above 0 and at most 100, got {number}")
