"""How much water a root zone holds.

Ranges by texture are those of FAO Irrigation and Drainage Paper 56 (Allen et al. 1998), table 19;
values from memory. The water available to plants has a range of its own there, narrower than the
ranges of its two ends allow, because soils that hold more at field capacity hold more at the
wilting point too. What evaporates from the surface is given there for a layer of 0.10 m.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from brimline.rainfall._checks import named

Within = Literal["low", "middle", "high"]  # where in the range of a texture

Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class RootSoil:
    """Water in a soil by volume [m³/m³], each as (least, most).

    Parameters
    ----------
    field_capacity : held against drainage.
    wilting_point : held against roots.
    available : between the two.
    readily : that evaporates from the uppermost 0.10 m without hindrance [mm].
    evaporable : that can evaporate from it at all [mm].
    """

    name: str
    field_capacity: Range
    wilting_point: Range
    available: Range
    readily: Range
    evaporable: Range

    def available_mm(self, root_depth_m: float, within: Within = "middle") -> float:
        """Water that roots can reach when the soil is at field capacity [mm].

        Parameters
        ----------
        within : the low end, the middle or the high end of what soils of this texture hold.

        Raises
        ------
        ValueError
            If the depth is not positive.
        """
        if not root_depth_m > 0:
            raise ValueError(f"root_depth_m must be above 0 m, got {root_depth_m}")
        return 1000 * _at(self.available, within) * root_depth_m

    def evaporable_mm(self, within: Within = "middle") -> tuple[float, float]:
        """Water that evaporates from the wetted surface: without hindrance, and at all [mm]."""
        return _at(self.readily, within), _at(self.evaporable, within)


def _at(limits: Range, within: Within) -> float:
    low, high = limits
    return {"low": low, "middle": (low + high) / 2, "high": high}[within]


TEXTURES: Final[dict[str, RootSoil]] = {
    one.name: one
    for one in (
        RootSoil("sand", (0.07, 0.17), (0.02, 0.07), (0.05, 0.11), (2, 7), (6, 12)),
        RootSoil("loamy sand", (0.11, 0.19), (0.03, 0.10), (0.06, 0.12), (4, 8), (9, 14)),
        RootSoil("sandy loam", (0.18, 0.28), (0.06, 0.16), (0.11, 0.15), (6, 10), (15, 20)),
        RootSoil("loam", (0.20, 0.30), (0.07, 0.17), (0.13, 0.18), (8, 10), (16, 22)),
        RootSoil("silt loam", (0.22, 0.36), (0.09, 0.21), (0.13, 0.19), (8, 11), (18, 25)),
        RootSoil("silt", (0.28, 0.36), (0.12, 0.22), (0.16, 0.20), (8, 11), (22, 26)),
        RootSoil("silty clay loam", (0.30, 0.37), (0.17, 0.24), (0.13, 0.18), (8, 11), (22, 27)),
        RootSoil("silty clay", (0.30, 0.42), (0.17, 0.29), (0.13, 0.19), (8, 12), (22, 28)),
        RootSoil("clay", (0.32, 0.40), (0.20, 0.24), (0.12, 0.20), (8, 12), (22, 29)),
        # not in table 19: ours, between their neighbours in the texture triangle
        RootSoil("clay loam", (0.27, 0.36), (0.15, 0.22), (0.12, 0.18), (8, 11), (18, 26)),
        RootSoil("sandy clay loam", (0.22, 0.30), (0.13, 0.19), (0.09, 0.15), (7, 10), (15, 21)),
        RootSoil("sandy clay", (0.28, 0.36), (0.18, 0.24), (0.10, 0.16), (7, 9), (19, 24)),
    )
}


def texture(name: str) -> RootSoil:
    """Return the soil texture of that name, whatever its case, hyphens or underscores.

    Raises
    ------
    ValueError
        If there is none; the message gives the nearest.
    """
    return TEXTURES[named(name, TEXTURES, "soil texture")]
