"""Time of concentration: how long water takes from the far end of a catchment to its outlet."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

import numpy as np

from brimline.rainfall._checks import above_zero, not_below_zero, rising, series
from brimline.units import ACRE_M2, FOOT_M, HECTARE_M2, INCH_MM

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike, NDArray

SHEET_LIMIT_M: Final = 100 * FOOT_M  # NRCS, National Engineering Handbook 630, chapter 15 (2010)
# what Kirpich measured: seven farms in Tennessee (from memory)
KIRPICH_SLOPES: Final = (0.03, 0.10)
KIRPICH_AREAS_M2: Final = (ACRE_M2, 112 * ACRE_M2)
LEAST_CONCENTRATION_H: Final = 0.1  # TR-55, chapter 3
LAG_SHARE: Final = 0.6  # lag / time of concentration; NEH 630, equation 15-3

_S_PER_H: Final = 3600.0
_PAVED_M_S: Final = 20.3282 * FOOT_M  # V = 20.3282 √s [ft/s]: TR-55, appendix F
_UNPAVED_M_S: Final = 16.1345 * FOOT_M

Kind: TypeAlias = Literal["sheet", "shallow", "channel"]


def sheet_flow_h(n: float, length_m: float, slope: float, rain_2y_24h_mm: float) -> float:
    """Travel time of sheet flow over a plane surface [h].

    Parameters
    ----------
    n : Manning's n for sheet flow, as TR-55, table 3-1, has it by surface.
    length_m : length of flow [m], at most 30.48 (100 ft); beyond it water has gathered.
    slope : fall over length [m/m].
    rain_2y_24h_mm : depth of the 2-year 24-hour rain [mm].

    Raises
    ------
    ValueError
        If a value is outside its range.

    References
    ----------
    NRCS (1986), TR-55, equation 3-3: 0.007 (n L)^0.8 / (P2^0.5 s^0.4), L in ft, P2 in inches; the
    limit of 100 ft is that of NEH 630, chapter 15 (2010), TR-55 itself says 300 ft
    """
    above_zero(n, "n")
    not_below_zero(length_m, "length_m", "m")
    if length_m > SHEET_LIMIT_M * (1 + 1e-9):
        raise ValueError(
            f"sheet flow is at most {SHEET_LIMIT_M} m long, got {length_m} m; "
            "take the rest as shallow concentrated flow"
        )
    above_zero(slope, "slope", "m/m")
    above_zero(rain_2y_24h_mm, "rain_2y_24h_mm", "mm")
    rain_in = rain_2y_24h_mm / INCH_MM
    return float(0.007 * (n * length_m / FOOT_M) ** 0.8 / (rain_in**0.5 * slope**0.4))


def shallow_flow_h(length_m: float, slope: float, *, paved: bool = False) -> float:
    """Travel time of shallow concentrated flow [h].

    Raises
    ------
    ValueError
        If the length [m] is below 0 or the slope [m/m] is not above 0.

    References
    ----------
    NRCS (1986), TR-55, figure 3-1 and appendix F: V = 16.1345 √s unpaved, 20.3282 √s paved [ft/s]
    """
    not_below_zero(length_m, "length_m", "m")
    above_zero(slope, "slope", "m/m")
    speed_m_s = (_PAVED_M_S if paved else _UNPAVED_M_S) * slope**0.5
    return float(length_m / speed_m_s / _S_PER_H)


def manning_velocity_m_s(hydraulic_radius_m: float, slope: float, n: float) -> float:
    """Mean velocity of uniform flow, R^(2/3) s^(1/2) / n [m/s].

    Raises
    ------
    ValueError
        If a value is not above 0.

    References
    ----------
    Chow (1959), Open-Channel Hydraulics, equation 5-6
    """
    above_zero(hydraulic_radius_m, "hydraulic_radius_m", "m")
    above_zero(slope, "slope", "m/m")
    above_zero(n, "n")
    return float(hydraulic_radius_m ** (2 / 3) * slope**0.5 / n)


def channel_flow_h(length_m: float, slope: float, n: float, hydraulic_radius_m: float) -> float:
    """Travel time in a channel that runs bankfull [h].

    Raises
    ------
    ValueError
        If the length [m] is below 0 or another value is not above 0.

    References
    ----------
    NRCS (1986), TR-55, equation 3-4
    """
    not_below_zero(length_m, "length_m", "m")
    return length_m / manning_velocity_m_s(hydraulic_radius_m, slope, n) / _S_PER_H


def kirpich_h(length_m: float, slope: float) -> float:
    """Time of concentration of a small rural catchment with a defined channel [h].

    Parameters
    ----------
    length_m : longest flow path [m].
    slope : fall over its whole length [m/m].

    Raises
    ------
    ValueError
        If a value is not above 0.

    References
    ----------
    Kirpich (1940), Time of concentration of small agricultural watersheds: 0.0195 L^0.77 S^-0.385
    minutes; Chow, Maidment & Mays (1988), Table 15.1.2
    """
    above_zero(length_m, "length_m", "m")
    above_zero(slope, "slope", "m/m")
    return float(0.0195 * length_m**0.77 * slope**-0.385 / 60.0)


def kirpich_doubts(slope: float, area_m2: float) -> tuple[str, ...]:
    """Say where a catchment lies outside those that Kirpich's relation was found on.

    Parameters
    ----------
    slope : fall over the length of the longest flow path [m/m].
    area_m2 : catchment [m²].

    References
    ----------
    Kirpich (1940): seven farms in Tennessee of 1 to 112 acres, slopes of 3 to 10 % (from memory)
    """
    found = []
    low, high = KIRPICH_SLOPES
    if not low <= slope <= high:
        found.append(f"a slope of {100 * slope:.1f} % is outside {100 * low:g} to {100 * high:g} %")
    least, most = KIRPICH_AREAS_M2
    if not least <= area_m2 <= most:
        found.append(
            f"{area_m2 / HECTARE_M2:.2f} ha are outside {least / HECTARE_M2:.1f} to"
            f" {most / HECTARE_M2:.0f} ha"
        )
    return tuple(found)


def sheet_limit_m(n: float, slope: float) -> float:
    """Longest sheet flow before water gathers [m]: 100 √s / n feet, at most 100 ft.

    Parameters
    ----------
    n : Manning's n for sheet flow, as TR-55, table 3-1, has it by surface.
    slope : fall over length [m/m].

    Raises
    ------
    ValueError
        If a value is not above 0.

    References
    ----------
    McCuen & Spiess (1995), Assessment of kinematic wave time of concentration; NRCS (2010), NEH
    630, equation 15-9 and the limit of 100 ft (from memory)
    """
    above_zero(n, "n")
    above_zero(slope, "slope", "m/m")
    return min(float(100 * slope**0.5 / n * FOOT_M), SHEET_LIMIT_M)


def lag_h(concentration_h: float) -> float:
    """Time from the middle of the excess rain to the peak, 0.6 of the time of concentration [h].

    Raises
    ------
    ValueError
        If the time is below 0 h.

    References
    ----------
    NRCS (2010), NEH 630, equation 15-3
    """
    return LAG_SHARE * not_below_zero(concentration_h, "concentration_h", "h")


@dataclass(frozen=True, slots=True)
class PathFlow:
    """What the segments of a flow path are like.

    Parameters
    ----------
    rain_2y_24h_mm : depth of the 2-year 24-hour rain [mm].
    sheet_n : Manning's n for sheet flow.
    paved : shallow concentrated flow runs over paving.
    channel_area_m2 : contributing area where a channel begins [m²]. Where channels are seen or
        mapped, take the area found there (common practice, no source).
    channel_n : Manning's n of the channel.
    channel_radius_m : hydraulic radius of the bankfull channel [m].
    least_slope : floor under the slope of a segment [m/m]: a surveyed flat is never quite flat
        (common practice, no source).
    """

    rain_2y_24h_mm: float
    sheet_n: float = 0.24
    paved: bool = False
    channel_area_m2: float = 50_000.0
    channel_n: float = 0.05
    channel_radius_m: float = 0.2
    least_slope: float = 0.001

    def __post_init__(self) -> None:
        above_zero(self.rain_2y_24h_mm, "rain_2y_24h_mm", "mm")
        above_zero(self.sheet_n, "sheet_n")
        above_zero(self.channel_area_m2, "channel_area_m2", "m²")
        above_zero(self.channel_n, "channel_n")
        above_zero(self.channel_radius_m, "channel_radius_m", "m")
        above_zero(self.least_slope, "least_slope", "m/m")


@dataclass(frozen=True, slots=True)
class Segment:
    """One stretch of a flow path: kind, from where to where, slope and travel time."""

    kind: Kind
    from_m: float
    to_m: float
    slope: float
    travel_h: float

    @property
    def length_m(self) -> float:
        """Length along the path [m]."""
        return self.to_m - self.from_m


def segments_along_path(
    chainage_m: ArrayLike,
    elevation_m: ArrayLike,
    area_m2: ArrayLike,
    flow: PathFlow,
    *,
    sheet_n: ArrayLike | None = None,
) -> tuple[Segment, ...]:
    """Split a catchment's longest flow path into sheet, shallow and channel flow.

    From the divide water runs as a sheet, until it has run as far as `sheet_limit_m` allows on the
    ground that it came over. Channel flow begins where the contributing area reaches
    `flow.channel_area_m2`, and shallow concentrated flow lies between.

    Parameters
    ----------
    chainage_m : float (points,) [m]
        Distance from the divide along the path, rising, at least two points.
    elevation_m : float (points,) [m]
        Ground at each point.
    area_m2 : float (points,) [m²]
        Contributing area at each point.
    flow : what the segments are like.
    sheet_n : float (points,)
        Manning's n for sheet flow of the ground at each point; that of `flow` where None.

    Returns
    -------
    One to three segments from the divide to the outlet, without gaps.

    Raises
    ------
    ValueError
        If the arrays differ in length, hold fewer than two points or a value that is not finite,
        or the chainage does not rise.

    References
    ----------
    NRCS (1986), TR-55, chapter 3; McCuen & Spiess (1995) for the length of sheet flow (from memory)
    """
    chainage = rising(series(chainage_m, "chainage_m", "m", least=2), "chainage_m", "m")
    area = series(area_m2, "area_m2", "m²", least=2)
    elevation = np.asarray(elevation_m, dtype=np.float64)
    if not chainage.shape == area.shape == elevation.shape:
        raise ValueError(
            "chainage_m, elevation_m and area_m2 must have one length, "
            f"got {chainage.size}, {elevation.size} and {area.size}"
        )
    if not np.isfinite(elevation).all():
        raise ValueError("elevation_m holds a value that is not finite; fill voids in the path")
    start, end = float(chainage[0]), float(chainage[-1])
    in_channel = area >= flow.channel_area_m2
    channel_at = float(chainage[int(np.argmax(in_channel))]) if in_channel.any() else end
    roughness = np.full(chainage.shape, flow.sheet_n) if sheet_n is None else np.asarray(sheet_n)
    if roughness.shape != chainage.shape or not (roughness > 0).all():
        raise ValueError(f"sheet_n must be above 0 at each of {chainage.size} points")
    sheet_m, over_n = _sheet(chainage - start, elevation, roughness, flow.least_slope)
    sheet_to = min(start + sheet_m, channel_at)
    stretches: tuple[tuple[Kind, float, float], ...] = (
        ("sheet", start, sheet_to),
        ("shallow", sheet_to, channel_at),
        ("channel", channel_at, end),
    )
    return tuple(
        _segment(kind, from_m, to_m, chainage, elevation, replace(flow, sheet_n=over_n))
        for kind, from_m, to_m in stretches
        if to_m > from_m
    )


def _sheet(
    run_m: NDArray[np.float64],
    elevation: NDArray[np.float64],
    roughness: NDArray[np.float64],
    least_slope: float,
) -> tuple[float, float]:
    """Length of sheet flow from the divide [m], and the mean roughness of its ground."""
    # the ground between two points is taken as that of the lower one
    so_far = np.concatenate([[0.0], np.cumsum(roughness[1:] * np.diff(run_m))])
    length_m = float(run_m[-1])
    for place in range(1, run_m.size):
        slope = max(float(elevation[0] - elevation[place]) / float(run_m[place]), least_slope)
        limit_m = sheet_limit_m(float(so_far[place] / run_m[place]), slope)
        if run_m[place] >= limit_m:
            length_m = max(limit_m, float(run_m[place - 1]))
            break
    return length_m, float(np.interp(length_m, run_m, so_far)) / length_m


def _segment(
    kind: Kind,
    from_m: float,
    to_m: float,
    chainage: NDArray[np.float64],
    elevation: NDArray[np.float64],
    flow: PathFlow,
) -> Segment:
    high, low = np.interp([from_m, to_m], chainage, elevation)
    length_m = to_m - from_m
    slope = max(float(high - low) / length_m, flow.least_slope)
    if kind == "sheet":
        travel_h = sheet_flow_h(flow.sheet_n, length_m, slope, flow.rain_2y_24h_mm)
    elif kind == "shallow":
        travel_h = shallow_flow_h(length_m, slope, paved=flow.paved)
    else:
        travel_h = channel_flow_h(length_m, slope, flow.channel_n, flow.channel_radius_m)
    return Segment(kind, from_m, to_m, slope, travel_h)


def concentration_h(segments: Iterable[Segment]) -> float:
    """Time of concentration along a path: the sum of travel times, at least 0.1 h.

    References
    ----------
    NRCS (1986), TR-55, equation 3-2 and the least value of chapter 3
    """
    return max(sum(one.travel_h for one in segments), LEAST_CONCENTRATION_H)
