"""Soaking in: Green-Ampt infiltration, soils by texture, and tested rates made safe."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.rainfall import _kernels
from brimline.rainfall._checks import above_zero, named, not_below_zero, series, within
from brimline.rainfall._kernels import green_ampt_step

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "TEXTURES",
    "GreenAmpt",
    "Texture",
    "design_rate_mm_per_h",
    "green_ampt_step",
    "soaked_under_rain_mm",
    "texture",
]

_S_PER_H: Final = 3600.0
_MM_PER_CM: Final = 10.0


@dataclass(frozen=True, slots=True)
class Texture:
    """A soil texture with its mean Green-Ampt parameters.

    Parameters
    ----------
    name : texture class.
    porosity : pore volume / soil volume.
    effective_porosity : porosity less the water that never drains.
    suction_mm : suction head at the wetting front [mm].
    conductivity_mm_per_h : hydraulic conductivity [mm/h]. Compaction and cover change it by a
        factor of ten; a test on site goes before the table.
    """

    name: str
    porosity: float
    effective_porosity: float
    suction_mm: float
    conductivity_mm_per_h: float


def _soil(name: str, porosity: float, effective: float, suction_cm: float, k: float) -> Texture:
    return Texture(name, porosity, effective, suction_cm * _MM_PER_CM, k * _MM_PER_CM)


# Rawls, Brakensiek & Miller (1983), Green-Ampt infiltration parameters from soils data,
# doi:10.1061/(ASCE)0733-9429(1983)109:1(62), Table 2, in cm and cm/h; so Chow, Maidment & Mays
# (1988), Table 4.3.1 (values from memory)
_ALL: Final = (
    _soil("sand", 0.437, 0.417, 4.95, 11.78),
    _soil("loamy sand", 0.437, 0.401, 6.13, 2.99),
    _soil("sandy loam", 0.453, 0.412, 11.01, 1.09),
    _soil("loam", 0.463, 0.434, 8.89, 0.34),
    _soil("silt loam", 0.501, 0.486, 16.68, 0.65),
    _soil("sandy clay loam", 0.398, 0.330, 21.85, 0.15),
    _soil("clay loam", 0.464, 0.309, 20.88, 0.10),
    _soil("silty clay loam", 0.471, 0.432, 27.30, 0.10),
    _soil("sandy clay", 0.430, 0.321, 23.90, 0.06),
    _soil("silty clay", 0.479, 0.423, 29.22, 0.05),
    _soil("clay", 0.475, 0.385, 31.63, 0.03),
)
TEXTURES: Final = {one.name: one for one in _ALL}


def texture(name: str) -> Texture:
    """Return the soil texture of that name.

    Raises
    ------
    ValueError
        If there is none; the message gives the nearest.
    """
    return TEXTURES[named(name, TEXTURES, "soil texture")]


@dataclass(frozen=True, slots=True)
class GreenAmpt:
    """A soil before the storm, as Green and Ampt see it.

    Parameters
    ----------
    conductivity_mm_per_h : hydraulic conductivity [mm/h].
    suction_mm : suction head at the wetting front [mm].
    deficit : moisture that the soil still takes, volume / volume, 0 to 1.

    Raises
    ------
    ValueError
        If a value is outside its range.

    References
    ----------
    Green & Ampt (1911); Chow, Maidment & Mays (1988), Applied Hydrology, sections 4.3 and 4.4
    """

    conductivity_mm_per_h: float
    suction_mm: float
    deficit: float

    def __post_init__(self) -> None:
        not_below_zero(self.conductivity_mm_per_h, "conductivity_mm_per_h", "mm/h")
        not_below_zero(self.suction_mm, "suction_mm", "mm")
        within(self.deficit, 0.0, 1.0, "deficit")

    @classmethod
    def of_texture(cls, name: str, *, effective_saturation: float) -> GreenAmpt:
        """Take the mean parameters of a texture.

        Parameters
        ----------
        name : a name of `TEXTURES`.
        effective_saturation : how full the drainable pores are before the storm, 0 to 1.

        Raises
        ------
        ValueError
            If the texture is unknown or the saturation outside 0 to 1.
        """
        soil = texture(name)
        within(effective_saturation, 0.0, 1.0, "effective_saturation")
        deficit = (1.0 - effective_saturation) * soil.effective_porosity
        return cls(soil.conductivity_mm_per_h, soil.suction_mm, deficit)

    @property
    def pull_mm(self) -> float:
        """Suction head × moisture deficit [mm]."""
        return self.suction_mm * self.deficit

    def soaked_mm(self, time_h: float) -> float:
        """Depth soaked by a time with shallow water standing from time 0 [mm].

        Raises
        ------
        ValueError
            If the time is below 0 h.
        """
        times = np.array([not_below_zero(time_h, "time_h", "h")])
        done = _kernels.green_ampt_ponded(times, self.pull_mm, self.conductivity_mm_per_h)
        return float(done[0])

    def capacity_mm_per_h(self, soaked_mm: float) -> float:
        """Rate at which the soil can take water after a depth has soaked in [mm/h].

        Raises
        ------
        ValueError
            If the depth is not above 0 mm: dry soil has no limit.
        """
        above_zero(soaked_mm, "soaked_mm", "mm")
        return self.conductivity_mm_per_h * (1.0 + self.pull_mm / soaked_mm)

    def ponding_time_h(self, rain_mm_per_h: float) -> float:
        """Time until water stands under steady rain [h]; infinite where it never does.

        Raises
        ------
        ValueError
            If the rain is not above 0 mm/h.

        References
        ----------
        Chow, Maidment & Mays (1988), equation 4.4.2
        """
        above_zero(rain_mm_per_h, "rain_mm_per_h", "mm/h")
        beyond = rain_mm_per_h - self.conductivity_mm_per_h
        if beyond <= 0:
            return float("inf")
        return self.conductivity_mm_per_h * self.pull_mm / (rain_mm_per_h * beyond)


def soaked_under_rain_mm(
    depth_mm: ArrayLike, step_s: float, soil: GreenAmpt, *, soaked_before_mm: float = 0.0
) -> NDArray[np.float64]:
    """Depth soaked by the end of each step of a rain; what does not soak in runs off.

    Ponding begins within a step where it does.

    Parameters
    ----------
    depth_mm : float (steps,) [mm]
        Rain of each step.
    step_s : length of a step [s].
    soil : the soil before the storm.
    soaked_before_mm : depth that has soaked in already [mm].

    Returns
    -------
    float64 (steps,) [mm]
        Never falling; no more than `soaked_before_mm` and the rain so far.

    Raises
    ------
    ValueError
        If a value is outside its range.

    References
    ----------
    Chow, Maidment & Mays (1988), Applied Hydrology, section 5.4
    """
    rain = series(depth_mm, "depth_mm", "mm")
    above_zero(step_s, "step_s", "s")
    not_below_zero(soaked_before_mm, "soaked_before_mm", "mm")
    soaked: NDArray[np.float64] = _kernels.green_ampt_rain(
        rain, soil.pull_mm, soil.conductivity_mm_per_h, step_s / _S_PER_H, soaked_before_mm
    )
    return soaked


def design_rate_mm_per_h(tested_mm_per_h: float, *, safety_factor: float = 2.0) -> float:
    """Infiltration rate to design with: the tested rate over a safety factor [mm/h].

    Parameters
    ----------
    tested_mm_per_h : rate measured on site [mm/h].
    safety_factor : 1 or more; 2 to 3 where failure is a nuisance, more where it harms (common
        practice; local standards decide).

    Raises
    ------
    ValueError
        If the rate is below 0 mm/h or the factor below 1.
    """
    not_below_zero(tested_mm_per_h, "tested_mm_per_h", "mm/h")
    if not safety_factor >= 1:
        raise ValueError(f"safety_factor must be 1 or more, got {safety_factor}")
    return tested_mm_per_h / safety_factor
