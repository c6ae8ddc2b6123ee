"""How much water a root zone holds.

Field capacity and wilting point by texture are the middle of the ranges of FAO-56 (Allen et al.
1998), table 19; values from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Texture:
    """Water content of a soil at field capacity and at the wilting point [m³/m³]."""

    name: str
    field_capacity: float
    wilting_point: float


def _middle(name: str, capacity: tuple[float, float], wilting: tuple[float, float]) -> Texture:
    return Texture(name, sum(capacity) / 2, sum(wilting) / 2)


TEXTURES: Final[dict[str, Texture]] = {
    texture.name: texture
    for texture in (
        _middle("sand", (0.07, 0.17), (0.02, 0.07)),
        _middle("loamy sand", (0.11, 0.19), (0.03, 0.10)),
        _middle("sandy loam", (0.18, 0.28), (0.06, 0.16)),
        _middle("loam", (0.20, 0.30), (0.07, 0.17)),
        _middle("silt loam", (0.22, 0.36), (0.09, 0.21)),
        _middle("silt", (0.28, 0.36), (0.12, 0.22)),
        _middle("silty clay loam", (0.30, 0.37), (0.17, 0.24)),
        _middle("silty clay", (0.30, 0.42), (0.17, 0.29)),
        _middle("clay", (0.32, 0.40), (0.20, 0.24)),
        # not in table 19: between its neighbours
        _middle("clay loam", (0.27, 0.36), (0.15, 0.22)),
        _middle("sandy clay loam", (0.22, 0.30), (0.13, 0.19)),
        _middle("sandy clay", (0.28, 0.36), (0.18, 0.24)),
    )
}


def total_available_mm(field_capacity: float, wilting_point: float, root_depth_m: float) -> float:
    """Water that roots can reach between field capacity and wilting point [mm].

    Raises
    ------
    ValueError
        If the contents are not in order or the depth is not positive.

    References
    ----------
    FAO-56 (Allen et al. 1998), equation 82: TAW = 1000 (θFC − θWP) Zr
    """
    if not 0 <= wilting_point < field_capacity <= 0.6:
        raise ValueError(
            "field capacity must lie above the wilting point and both between 0 and 0.6: "
            f"{field_capacity}, {wilting_point}"
        )
    if not root_depth_m > 0:
        raise ValueError(f"root_depth_m must be above 0 m, got {root_depth_m}")
    return 1000 * (field_capacity - wilting_point) * root_depth_m
