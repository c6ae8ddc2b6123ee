"""Pipes, culverts and orifices: what they pass at a given level, whatever holds it back.

A pipe passes the lesser of what its inlet lets in (weir, then orifice) and what its barrel lets
through when full. Both come from FHWA Hydraulic Design Series 5 (HDS-5, 3rd edition 2012,
appendix A and chapter 3), for one circular barrel:

* inlet, not submerged (form 1): HW/D = Hc/D + K x^M + s, to x = 3.5;
* inlet, submerged: HW/D = c x² + Y + s, from x = 4.0; a straight line between the two;
  x = 1.811 Q/(A √D), Hc the specific head at critical depth, s = −0.5 S (mitred inlets +0.7 S);
* barrel full: HW = h_o + (1 + Ke + 19.63 n² L/R^1.33) V²/2g − fall, h_o the higher of the level
  beyond and half-way between critical depth and the crown.

HDS-5 trusts the last one from a headwater of 0.75 D upwards. Below, where it would hold water
back at no flow at all, the headwater is taken to fall with flow as over a weir (Q ∝ HW^1.5).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from brimline.elements._kernels import PIPE
from brimline.elements.outlet import OutletRow, flow_m3_s
from brimline.elements.sill import GRAVITY_M_S2

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.elements.storage import FloatArray

Inlet = Literal[
    "concrete-headwall",
    "concrete-groove-headwall",
    "concrete-groove-projecting",
    "corrugated-headwall",
    "corrugated-mitred",
    "corrugated-projecting",
]


@dataclass(frozen=True, slots=True)
class _InletLaw:
    """HDS-5 table A.1 (K, M, c, Y and the slope factor) and table C.2 (Ke)."""

    k: float
    m: float
    c: float
    y: float
    loss: float
    slope_factor: float = -0.5


INLETS: Final[dict[Inlet, _InletLaw]] = {
    "concrete-headwall": _InletLaw(0.0098, 2.0, 0.0398, 0.67, 0.5),
    "concrete-groove-headwall": _InletLaw(0.0018, 2.0, 0.0292, 0.74, 0.2),
    "concrete-groove-projecting": _InletLaw(0.0045, 2.0, 0.0317, 0.69, 0.2),
    "corrugated-headwall": _InletLaw(0.0078, 2.0, 0.0379, 0.69, 0.5),
    "corrugated-mitred": _InletLaw(0.0210, 1.33, 0.0463, 0.75, 0.7, 0.7),
    "corrugated-projecting": _InletLaw(0.0340, 1.50, 0.0553, 0.54, 0.9),
}

# Inside diameters that merchants stock, taken as equal to the nominal one (common practice).
NOMINAL_MM: Final = (
    50, 75, 100, 125, 150, 200, 225, 250, 300, 375, 400, 450, 500, 525, 600, 675, 750, 900, 1050,
    1200, 1350, 1500, 1800, 2100,
)  # fmt: skip

_KU: Final = 1.811  # HDS-5 unit constant for SI
_NOT_SUBMERGED: Final = 3.5
_SUBMERGED: Final = 4.0
_RELIABLE: Final = 0.75  # headwater over diameter from which the full-barrel law is trusted
_HIGHEST: Final = 40.0  # headwater over diameter where the rating ends


@dataclass(frozen=True, slots=True)
class Pipe:
    """A straight pipe or culvert of one circular barrel.

    Parameters
    ----------
    crest_m : invert level of the inlet [m].
    outlet_m : invert level of the outlet; not above the inlet's [m].
    diameter_m : inside diameter [m].
    length_m : length of the barrel [m].
    roughness : Manning's n; 0.013 concrete, 0.011 smooth plastic, 0.024 corrugated (HDS-5,
        table C.1; values from memory).
    inlet : shape of the inlet, one of `INLETS`.

    Raises
    ------
    ValueError
        If a size is not positive, the pipe rises, or the inlet is not known.
    """

    crest_m: float
    outlet_m: float
    diameter_m: float
    length_m: float
    roughness: float = 0.013
    inlet: Inlet = "concrete-headwall"

    def __post_init__(self) -> None:
        if not (self.diameter_m > 0 and self.length_m > 0 and self.roughness > 0):
            raise ValueError(
                f"a pipe needs a diameter, a length and a roughness above 0, got "
                f"{self.diameter_m} m, {self.length_m} m and {self.roughness}"
            )
        if self.outlet_m > self.crest_m:
            raise ValueError(
                f"the outlet of a pipe, {self.outlet_m} m, must not lie above its inlet, "
                f"{self.crest_m} m"
            )
        if self.inlet not in INLETS:
            raise ValueError(f"an inlet is one of {', '.join(INLETS)}, got {self.inlet!r}")

    @property
    def leaves_at_m(self) -> float:
        """Level from which the drop to the next spill level counts: its crest [m]."""
        return self.crest_m

    @property
    def is_pipe(self) -> bool:
        """A pipe can block and so needs a surface path beside it."""
        return True

    @property
    def fall(self) -> float:
        """Fall of the invert over the length, as a ratio."""
        return (self.crest_m - self.outlet_m) / self.length_m

    @property
    def area_m2(self) -> float:
        """Area of the barrel [m²]."""
        return math.pi * self.diameter_m**2 / 4

    @property
    def losses(self) -> float:
        """Inlet, friction and exit losses of the full barrel, in velocity heads."""
        radius_m = self.diameter_m / 4
        friction = 19.63 * self.roughness**2 * self.length_m / math.pow(radius_m, 1.33)
        return 1 + INLETS[self.inlet].loss + friction

    def full_flow_m3_s(self) -> float:
        """Flow of the barrel running just full at its own fall, by Manning [m³/s]."""
        radius_m = self.diameter_m / 4
        return self.area_m2 * math.pow(radius_m, 2 / 3) * math.sqrt(self.fall) / self.roughness

    def capacity_m3_s(self, level_m: float, tail_level_m: float = -math.inf) -> float:
        """Flow at a level above and one beyond [m³/s]."""
        return flow_m3_s(self, level_m, tail_level_m)

    def row(self) -> OutletRow:
        """Give the pipe as routing reads it."""
        heads, flows = _rating(self)
        coefficient = self.area_m2 * math.sqrt(2 * GRAVITY_M_S2 / self.losses)
        params = (coefficient, self.outlet_m, 0.0)
        return OutletRow(PIPE, self.crest_m, self.outlet_m, params, heads, flows)

    def raised(self, by_m: float) -> Pipe:
        """Return the same pipe, its inlet higher by `by_m`; the outlet stays where it is [m]."""
        crest_m = self.crest_m + by_m
        return replace(self, crest_m=crest_m, outlet_m=min(self.outlet_m, crest_m))


@dataclass(frozen=True, slots=True)
class Orifice:
    """A round hole in a wall or plate, or a pipe too short for friction.

    Full from a head of one diameter over its invert: Q = Cd A √(2g h), h to its centre; below
    that it falls as over a weir, Q ∝ H^1.5.

    Parameters
    ----------
    crest_m : lowest point of the hole [m].
    discharge_coefficient : Cd; 0.60 to 0.62 sharp-edged (common practice).
    """

    crest_m: float
    diameter_m: float
    discharge_coefficient: float = 0.61

    def __post_init__(self) -> None:
        if not (self.diameter_m > 0 and 0 < self.discharge_coefficient <= 1):
            raise ValueError(
                "an orifice needs a diameter above 0 and Cd up to 1, got "
                f"{self.diameter_m} m and {self.discharge_coefficient}"
            )

    @property
    def leaves_at_m(self) -> float:
        """Level from which the drop to the next spill level counts: its crest [m]."""
        return self.crest_m

    @property
    def is_pipe(self) -> bool:
        """An orifice can block and so needs a surface path beside it."""
        return True

    def row(self) -> OutletRow:
        """Give the orifice as routing reads it."""
        diameter = self.diameter_m
        area_m2 = math.pi * diameter**2 / 4
        coefficient = self.discharge_coefficient * area_m2 * math.sqrt(2 * GRAVITY_M_S2)
        heads = diameter * _orifice_heads()
        full = coefficient * np.sqrt(np.maximum(heads - diameter / 2, diameter / 2))
        flows = full * np.minimum(heads / diameter, 1.0) ** 1.5
        params = (coefficient, self.crest_m, 0.0)
        return OutletRow(PIPE, self.crest_m, self.crest_m, params, heads, flows)

    def raised(self, by_m: float) -> Orifice:
        """Return the same orifice, higher by `by_m` [m]."""
        return replace(self, crest_m=self.crest_m + by_m)


@cache
def _orifice_heads() -> FloatArray:
    return np.concatenate([np.linspace(0, 1, 17), 1 + np.geomspace(0.03, _HIGHEST, 48)])


@cache
def _rating(pipe: Pipe) -> tuple[FloatArray, FloatArray]:
    """Headwater over the inlet and flow, nothing drowning the outlet."""
    diameter, area = pipe.diameter_m, pipe.area_m2
    law = INLETS[pipe.inlet]
    highest_x = math.sqrt((_HIGHEST - law.y) / law.c)
    x = highest_x * np.linspace(0, 1, 97) ** 2
    flows = x * area * math.sqrt(diameter) / _KU
    critical = _critical_depth_m(diameter, flows)
    inlet = diameter * _inlet_headwater(law, x, critical, pipe)
    barrel = _barrel_headwater(pipe, flows, critical)
    heads = np.maximum.accumulate(np.maximum(inlet, barrel))
    heads += np.arange(heads.size) * 1e-9 * diameter  # strictly rising
    for array in (heads, flows):
        array.setflags(write=False)
    return heads, flows


def _inlet_headwater(
    law: _InletLaw, x: FloatArray, critical_m: FloatArray, pipe: Pipe
) -> FloatArray:
    """Headwater over diameter by inlet control."""
    diameter = pipe.diameter_m
    slope_part = law.slope_factor * pipe.fall
    critical_head = _critical_head_m(diameter, critical_m) / diameter

    def open_inlet(at_x: FloatArray, head: FloatArray) -> FloatArray:
        return np.asarray(np.maximum(head + law.k * at_x**law.m + slope_part, head))

    def closed_inlet(at_x: FloatArray) -> FloatArray:
        return np.asarray(law.c * at_x**2 + law.y + slope_part)

    ends = np.array([_NOT_SUBMERGED, _SUBMERGED])
    flow_at_end = ends[:1] * pipe.area_m2 * math.sqrt(diameter) / _KU
    head_at_end = _critical_head_m(diameter, _critical_depth_m(diameter, flow_at_end)) / diameter
    joined = np.array([open_inlet(ends[:1], head_at_end)[0], closed_inlet(ends[1:])[0]])
    between = np.interp(x, ends, joined)
    return np.where(
        x <= _NOT_SUBMERGED,
        open_inlet(x, critical_head),
        np.where(x >= _SUBMERGED, closed_inlet(x), between),
    )


def _barrel_headwater(pipe: Pipe, flows: FloatArray, critical_m: FloatArray) -> FloatArray:
    """Headwater over the inlet's invert by the full barrel [m]."""
    diameter = pipe.diameter_m
    speed_head = (flows / pipe.area_m2) ** 2 / (2 * GRAVITY_M_S2)
    full = (critical_m + diameter) / 2 + pipe.losses * speed_head - (pipe.crest_m - pipe.outlet_m)
    trusted = _RELIABLE * diameter
    flow_there = float(np.interp(trusted, full, flows))
    below = trusted * (flows / flow_there) ** (2 / 3) if flow_there > 0 else full
    return np.where(full >= trusted, full, below)


def _critical_depth_m(diameter_m: float, flows_m3_s: FloatArray) -> FloatArray:
    """Critical depth in a circular pipe, by reading its exact flow-depth curve backwards."""
    depth, flow = _critical_curve()
    return np.asarray(diameter_m * np.interp(flows_m3_s / diameter_m**2.5, flow, depth))


def _critical_head_m(diameter_m: float, depth_m: FloatArray) -> FloatArray:
    """Specific head at critical depth: the depth and half the mean depth [m]."""
    half_angle = np.arccos(np.clip(1 - 2 * depth_m / diameter_m, -1.0, 1.0))
    area = diameter_m**2 / 4 * (half_angle - np.sin(half_angle) * np.cos(half_angle))
    width = np.maximum(diameter_m * np.sin(half_angle), 1e-12)
    return np.asarray(depth_m + np.minimum(area / width / 2, diameter_m))


@cache
def _critical_curve() -> tuple[FloatArray, FloatArray]:
    """Depth over diameter, and Q/D^2.5 from Q² T = g A³, for a circular section."""
    half_angle = np.linspace(0, math.pi * 0.985, 1500)
    area = (half_angle - np.sin(half_angle) * np.cos(half_angle)) / 4
    width = np.sin(half_angle)
    flow = np.zeros_like(area)
    flow[1:] = np.sqrt(GRAVITY_M_S2 * area[1:] ** 3 / width[1:])
    return (1 - np.cos(half_angle)) / 2, flow


def smallest_pipe(
    pipe: Pipe, peak_m3_s: float, level_m: float, *, sizes_mm: Sequence[int] = NOMINAL_MM
) -> Pipe | None:
    """Return the smallest stocked size that passes a peak at a level; None if none does."""
    for size_mm in sizes_mm:
        larger = replace(pipe, diameter_m=size_mm / 1000)
        if larger.capacity_m3_s(level_m) >= peak_m3_s:
            return larger
    return None
