"""What ground sheds each day, by how wet it is that morning: curve numbers that follow the soil."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.balance import _kernels
from brimline.balance.soil import texture
from brimline.rainfall import antecedent_curve_number, retention_mm, runoff_depth_mm
from brimline.rainfall.infiltration import TEXTURES as PORES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from brimline.balance.soil import Within
    from brimline.rainfall import MixedGround

GRASS_ROOTS_M: Final = 1.0  # FAO-56, table 22: grazing pasture, the middle of 0.5 to 1.5 m
_SATURATED_MM: Final = 2.54  # retention of saturated soil: curve number 99
_YEAR_D: Final = 365


@dataclass(frozen=True, slots=True)
class WettingSoil:
    """The soil whose water tells how wet ground is.

    Parameters
    ----------
    available_mm : water between wilting point and field capacity [mm].
    drainable_mm : water between field capacity and saturation [mm].

    Raises
    ------
    ValueError
        If one of them is not above 0 mm.
    """

    available_mm: float
    drainable_mm: float

    def __post_init__(self) -> None:
        for name, value in (
            ("available_mm", self.available_mm),
            ("drainable_mm", self.drainable_mm),
        ):
            if not value > 0:
                raise ValueError(f"{name} must be above 0 mm, got {value}")

    @classmethod
    def of(
        cls, textures: Mapping[str, float], root_depth_m: float, within: Within = "middle"
    ) -> WettingSoil:
        """Take both from textures and their shares.

        Pores are those of Rawls, Brakensiek & Miller (1983); silt, which they do not list, has
        those of silt loam.
        """
        available = drainable = 0.0
        for name, share in textures.items():
            soil = texture(name)
            pores = PORES["silt loam" if soil.name == "silt" else soil.name].porosity
            available += share * soil.available_mm(root_depth_m, within)
            full = sum(soil.field_capacity) / 2
            drainable += share * 1000 * root_depth_m * (pores - full)
        return cls(available, drainable)


def retention_by_wetness(curve_number: float, soil: WettingSoil) -> tuple[float, float, float]:
    """Return the parameters of retention against soil water: driest S [mm], w1 and w2 [1/mm].

    S = S1 (1 - W / (W + exp(w1 - w2 W))), W being the water above the wilting point: S1 of dry
    ground (condition I) at the wilting point, that of wet ground (III) at field capacity, 2.54 mm
    at saturation. S1 is NaN for ground so nearly sealed that wetness makes no difference.

    Raises
    ------
    ValueError
        If the curve number is not above 0 and at most 100.

    References
    ----------
    Neitsch, Arnold, Kiniry & Williams (2011), Soil and Water Assessment Tool, theoretical
    documentation, equations 2:1.1.6 to 2:1.1.8; conditions I and III as
    `rainfall.antecedent_curve_number`
    """
    dry, wet = (
        retention_mm(antecedent_curve_number(curve_number, condition))
        for condition in ("dry", "wet")
    )
    if wet <= _SATURATED_MM:
        return np.nan, 0.0, 0.0
    full = soil.available_mm
    saturated = full + soil.drainable_mm
    at_full = np.log(full / (1 - wet / dry) - full)
    at_saturated = np.log(saturated / (1 - _SATURATED_MM / dry) - saturated)
    w2 = (at_full - at_saturated) / soil.drainable_mm
    return dry, float(at_full + w2 * full), float(w2)


def daily_runoff_mm(
    rain_mm: NDArray[np.float64],
    drunk_mm: NDArray[np.float64],
    curve_numbers: NDArray[np.float64],
    soil: WettingSoil,
) -> NDArray[np.float64]:
    """Runoff of each day from ground of each curve number, float64 (numbers, days) [mm/d].

    A soil under each number takes the day's rain less its runoff, gives up what plants drink as
    long as they find it (half of the available water without stress: FAO-56, equation 84), and
    drains what is above field capacity. The curve number of a day follows the soil's water that
    morning. The first year runs once before, uncounted.

    Parameters
    ----------
    rain_mm, drunk_mm : (days,) rain, and evapotranspiration without stress [mm/d].
    curve_numbers : (numbers,) at average wetness, above 0, to 100.

    Raises
    ------
    ValueError
        If a value is outside its range or the lengths differ.
    """
    if rain_mm.shape != drunk_mm.shape or not (rain_mm >= 0).all() or not (drunk_mm >= 0).all():
        raise ValueError("rain_mm and drunk_mm need one depth, not below 0 mm, for each day")
    parts = [
        (retention_mm(float(number)), *retention_by_wetness(float(number), soil))
        for number in curve_numbers
    ]
    days = np.array([rain_mm, drunk_mm])
    warm = min(_YEAR_D, rain_mm.size)
    found: NDArray[np.float64] = _kernels.shed_by_wetness(
        np.concatenate([days[:, :warm], days], axis=1),
        np.array(parts).reshape(-1, 4),
        soil.available_mm,
    )
    return found[:, warm:]


def shed_mm(
    ground: MixedGround,
    rain_mm: NDArray[np.float64],
    drunk_mm: NDArray[np.float64],
    soil: WettingSoil | None,
) -> NDArray[np.float64]:
    """Runoff of each day from mixed ground, each part for itself, float64 (days,) [mm/d].

    Parameters
    ----------
    soil : None takes ground at average wetness on every day.
    """
    numbers = np.array(ground.curve_numbers)
    if soil is None:
        return ground.mean(runoff_depth_mm(rain_mm, numbers[:, np.newaxis]))
    return ground.mean(daily_runoff_mm(rain_mm, drunk_mm, numbers, soil))
