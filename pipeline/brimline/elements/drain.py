"""Drains: uniform flow by Manning, vegetation, and the speed that a lining stands."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from brimline.elements.element import Caution, Element, Kind
from brimline.elements.rating import Rating
from brimline.elements.section import Section, Trapezoid, hydraulic_radius_m
from brimline.elements.soak import SEALED, Soak
from brimline.elements.storage import sampled
from brimline.units import FOOT_M

# Manning's n, normal values of Chow (1959), table 5-6, C excavated or dredged (value from memory).
ROUGHNESS: Final[dict[str, float]] = {
    "bare-new": 0.018,  # earth, straight and uniform, clean, recently completed
    "bare-weathered": 0.022,  # the same after weathering
    "gravel": 0.025,  # gravel, uniform section, clean
    "short-grass": 0.027,  # earth with short grass, few weeds
    "grass-and-weeds": 0.030,  # winding, grass, some weeds
    "dense-weeds": 0.035,  # winding, dense weeds in a deep channel
    "stony": 0.035,  # earth winding, stony bottom and weedy banks
    "unkept-brush": 0.050,  # not maintained, clean bottom, brush on sides
    "unkept-weeds": 0.080,  # not maintained, dense weeds as high as the flow
}

# Retardance curve index C_I of the vegetal retardance classes (Temple, Robinson, Ahring & Davis
# 1987, Stability Design of Grass-Lined Open Channels, USDA Agriculture Handbook 667, table 3.1;
# value from memory): A grass of 75 cm and more, B 30 to 60, C 15 to 30, D 5 to 15, E below 5 cm.
RETARDANCE: Final[dict[str, float]] = {"A": 10.0, "B": 7.64, "C": 5.60, "D": 4.44, "E": 2.88}

# Speed that bare channels carrying clear water stand after aging [m/s] (Fortier & Scobey 1926;
# Chow 1959, table 7-3, in ft/s; value from memory).
PERMISSIBLE_M_S: Final[dict[str, float]] = {
    soil: feet * FOOT_M
    for soil, feet in {
        "fine-sand": 1.50,
        "sandy-loam": 1.75,
        "silt-loam": 2.00,
        "alluvial-silt": 2.00,
        "firm-loam": 2.50,
        "fine-gravel": 2.50,
        "stiff-clay": 3.75,
        "coarse-gravel": 4.00,
        "cobbles": 5.00,
        "hardpan": 6.00,
    }.items()
}

# The same under a good sod, by fall of the bed to 5 %, to 10 % and beyond, each for soil that
# resists erosion and soil that is easily eroded [m/s]; NaN where it is not to be used (SCS-TP-61
# 1954, as Chow 1959, table 7-6, in ft/s).
_GRASS_FALLS: Final = (0.05, 0.10)
PERMISSIBLE_GRASS_M_S: Final[dict[str, tuple[tuple[float, float], ...]]] = {
    grass: tuple((hard * FOOT_M, soft * FOOT_M) for hard, soft in rows)
    for grass, rows in {
        "bermuda-grass": ((8.0, 6.0), (7.0, 5.0), (6.0, 4.0)),
        "sod-forming-grass": ((7.0, 5.0), (6.0, 4.0), (5.0, 3.0)),
        "grass-mixture": ((5.0, 4.0), (4.0, 3.0), (math.nan, math.nan)),
        "bunch-grass": ((3.5, 2.5), (math.nan, math.nan), (math.nan, math.nan)),
    }.items()
}
EASILY_ERODED: Final = frozenset({"fine-sand", "sandy-loam", "silt-loam", "alluvial-silt"})


def permissible_m_s(soil: str, fall: float, grass: str = "") -> float:
    """Speed that a bed stands [m/s].

    Parameters
    ----------
    soil : one of `PERMISSIBLE_M_S`.
    fall : fall of the bed, as a ratio.
    grass : one of `PERMISSIBLE_GRASS_M_S`, grown and kept; empty is bare.

    Returns
    -------
    The value for grass; that of the bare soil where it is bare, or where the grass is not to be
    used on such a fall.

    Raises
    ------
    KeyError
        If the soil or the grass is not known.
    """
    bare = PERMISSIBLE_M_S[soil]
    if not grass:
        return bare
    steepness = sum(fall > limit for limit in _GRASS_FALLS)
    under_grass = PERMISSIBLE_GRASS_M_S[grass][steepness][soil in EASILY_ERODED]
    return bare if math.isnan(under_grass) else max(under_grass, bare)


def vegetal_roughness(retardance: str, speed_m_s: float, radius_m: float) -> float:
    """Manning's n of a grass lining, which bends as the flow grows.

    n = exp(C_I (0.0133 ln² q − 0.0954 ln q + 0.297) − 4.16), q = V R in ft²/s, used between
    q = 0.0025 C_I^2.5 and 36 and held beyond (Temple et al. 1987, equation 1.4; value from
    memory).

    Raises
    ------
    KeyError
        If `retardance` is not a class from A to E.
    """
    index = RETARDANCE[retardance]
    product = speed_m_s * radius_m / FOOT_M**2
    log_q = math.log(min(max(product, 0.0025 * index**2.5), 36.0))
    return math.exp(index * (0.0133 * log_q**2 - 0.0954 * log_q + 0.297) - 4.16)


def flow_at_m3_s(section: Section, depth_m: float, fall: float, roughness: float | str) -> float:
    """Uniform flow at a depth: Q = A R^(2/3) S^(1/2)/n [m³/s].

    Parameters
    ----------
    fall : fall of the bed, as a ratio.
    roughness : Manning's n, or a vegetal retardance class from A to E.
    """
    if depth_m <= 0 or fall <= 0:
        return 0.0
    radius_m = hydraulic_radius_m(section, depth_m)
    smooth_m_s = math.pow(radius_m, 2 / 3) * math.sqrt(fall)
    if isinstance(roughness, str):
        roughness = _settled_roughness(roughness, smooth_m_s, radius_m)
    return section.area_m2(depth_m) * smooth_m_s / roughness


def _settled_roughness(retardance: str, smooth_m_s: float, radius_m: float) -> float:
    """Find the n that agrees with its own speed: V n = R^(2/3) S^(1/2)."""

    def disagreement(log_n: float) -> float:
        speed = smooth_m_s / math.exp(log_n)
        return math.log(vegetal_roughness(retardance, speed, radius_m)) - log_n

    from scipy.optimize import brentq

    root: Any = brentq(disagreement, math.log(1e-3), math.log(10.0), xtol=1e-10)
    return math.exp(float(root))


def normal_depth_m(
    section: Section, flow_m3_s: float, fall: float, roughness: float | str
) -> float:
    """Depth at which a flow runs uniformly [m].

    Raises
    ------
    ValueError
        If the fall is not positive or the flow is negative.
    """
    if not fall > 0 or not flow_m3_s >= 0:
        raise ValueError(
            f"uniform flow needs a fall above 0 and a flow of 0 or more, got {fall} and "
            f"{flow_m3_s} m³/s"
        )
    if flow_m3_s == 0:
        return 0.0
    high = 0.1
    while flow_at_m3_s(section, high, fall, roughness) < flow_m3_s:
        high *= 2
    from scipy.optimize import brentq

    root: Any = brentq(
        lambda depth: flow_at_m3_s(section, depth, fall, roughness) - flow_m3_s,
        0.0,
        high,
        xtol=1e-10,
    )
    return float(root)


_USUAL: Final = Trapezoid(0.4, 2.0)


@dataclass(frozen=True, slots=True)
class Drain:
    """A graded drain that carries water along the slope.

    Parameters
    ----------
    from_level_m, to_level_m : bed levels of its upper and lower end [m].
    length_m : length along the bed [m].
    section : cross-section.
    depth_m : from bed to bank [m].
    roughness : Manning's n, or a vegetal retardance class from A to E.
    permissible_m_s : speed that its lining stands [m/s].
    freeboard_m : height that must stay dry below the bank [m].
    soil : what it is dug in, one of `PERMISSIBLE_M_S`; for what it would stand under grass.
    """

    element_id: str
    from_level_m: float
    to_level_m: float
    length_m: float
    section: Section = _USUAL
    depth_m: float = 0.4
    roughness: float | str = ROUGHNESS["short-grass"]
    permissible_m_s: float = PERMISSIBLE_M_S["sandy-loam"]
    freeboard_m: float = 0.10
    soak: Soak = SEALED
    soil: str = "sandy-loam"

    def __post_init__(self) -> None:
        if not (self.length_m > 0 and self.depth_m > self.freeboard_m >= 0):
            raise ValueError(
                f"{self.element_id}: a drain needs a length above 0 m and a depth above its "
                f"freeboard, got {self.length_m} m, {self.depth_m} m and {self.freeboard_m} m"
            )
        if not self.from_level_m > self.to_level_m:
            raise ValueError(
                f"{self.element_id}: a drain must fall; its ends lie at {self.from_level_m} m "
                f"and {self.to_level_m} m"
            )

    @property
    def fall(self) -> float:
        """Mean fall of the bed, as a ratio."""
        return (self.from_level_m - self.to_level_m) / self.length_m

    def flow_at_m3_s(self, depth_m: float) -> float:
        """Uniform flow at a depth [m³/s]."""
        return flow_at_m3_s(self.section, depth_m, self.fall, self.roughness)

    def capacity_m3_s(self) -> float:
        """Uniform flow that leaves the freeboard dry [m³/s]."""
        return self.flow_at_m3_s(self.depth_m - self.freeboard_m)

    def depth_for_m(self, flow_m3_s: float) -> float:
        """Depth of a uniform flow [m]."""
        return normal_depth_m(self.section, flow_m3_s, self.fall, self.roughness)

    def speed_m_s(self, flow_m3_s: float) -> float:
        """Mean speed of a uniform flow [m/s]."""
        depth_m = self.depth_for_m(flow_m3_s)
        return flow_m3_s / self.section.area_m2(depth_m) if depth_m > 0 else 0.0

    def reach_m(self) -> float:
        """Characteristic length Q/(B S c) when half full, c being dQ/dA [m].

        Over it, storage and outflow of a real channel go together (Kalinin & Milyukov 1957).
        """
        depth_m = 0.5 * (self.depth_m - self.freeboard_m)
        flows = [self.flow_at_m3_s(depth_m * share) for share in (0.99, 1.01)]
        areas = [self.section.area_m2(depth_m * share) for share in (0.99, 1.01)]
        celerity = max(flows[1] - flows[0], 1e-9) / (areas[1] - areas[0])
        return flows[1] / (self.section.top_width_m(depth_m) * self.fall * celerity)

    def travel_s(self, flow_m3_s: float) -> float:
        """Time that a uniform flow takes through it [s]; infinite for none."""
        speed = self.speed_m_s(flow_m3_s)
        return self.length_m / speed if speed > 0 else math.inf

    def under_grass(self, grass: str = "grass-mixture", retardance: str = "C") -> Drain:
        """Return the same drain, sown and kept: rougher, and its bed stands more."""
        stands = permissible_m_s(self.soil, self.fall, grass)
        return replace(self, roughness=retardance, permissible_m_s=stands)

    def deeper(self, by_m: float) -> Drain:
        """Return the same drain with its bed lower and its banks where they are."""
        return replace(
            self,
            from_level_m=self.from_level_m - by_m,
            to_level_m=self.to_level_m - by_m,
            depth_m=self.depth_m + by_m,
        )

    def outlet(self) -> Rating:
        """Give its lower end as an outlet: uniform flow by depth."""
        depths = 1.5 * self.depth_m * np.linspace(0, 1, 61) ** 1.5
        flows = np.array([self.flow_at_m3_s(float(depth)) for depth in depths])
        # a grass lining that bends can let one depth pass less than a smaller one would
        flows = np.maximum.accumulate(flows)
        return Rating(self.from_level_m, depths, flows, outlet_m=self.to_level_m)

    def element(self) -> Element:
        """Work out storage and levels.

        The drain is a pool of the same depth along its length, its levels being those of its
        upper end, with uniform flow leaving at the lower one. What it holds is then a function
        of what leaves it, and the mean delay dS/dQ is L/(dQ/dA): the travel time of a kinematic
        wave (Lighthill & Whitham 1955). A long one is routed as several such pools in a row.
        """
        bed, length, section = self.from_level_m, self.length_m, self.section
        stages = sampled(
            bed,
            bed + 1.5 * self.depth_m,
            lambda at: length * section.area_m2(at - bed),
            lambda at: length * section.top_width_m(at - bed),
            also_at_m=(bed + self.depth_m - self.freeboard_m, bed + self.depth_m),
        )
        return Element(
            self.element_id,
            Kind.DRAIN,
            stages,
            bed + self.depth_m - self.freeboard_m,
            bed + self.depth_m,
            length,
            self.freeboard_m,
            length * section.top_width_m(self.depth_m),
            self.soak,
            form="drain",
            shape=self,
        )

    def speed_caution(self, peak_m3_s: float) -> Caution | None:
        """Say where a peak runs faster than the lining stands; None where it does not."""
        speed = self.speed_m_s(peak_m3_s)
        if speed <= self.permissible_m_s:
            return None
        fall_pct = 100 * self.permissible_fall(peak_m3_s)
        text = (
            f"{peak_m3_s:.3f} m³/s runs at {speed:.2f} m/s where the lining stands "
            f"{self.permissible_m_s:.2f} m/s; a fall of {fall_pct:.2f} % or less would do"
        )
        return Caution("fast-flow", text)

    def permissible_fall(self, peak_m3_s: float) -> float:
        """Steepest fall at which a peak stays within the permissible speed, as a ratio."""
        low, high = 1e-5, self.fall
        for _ in range(60):
            middle = math.sqrt(low * high)
            flatter = replace(self, to_level_m=self.from_level_m - middle * self.length_m)
            if flatter.speed_m_s(peak_m3_s) > self.permissible_m_s:
                high = middle
            else:
                low = middle
        return low
