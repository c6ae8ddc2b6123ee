"""A sill that is not level: what it passes follows from its level from side to side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.elements.rating import Rating
from brimline.elements.sill import BROAD, Sill

if TYPE_CHECKING:
    from brimline.elements.outlet import Outlet
    from brimline.elements.storage import FloatArray

_LEVEL_M: Final = 0.001  # less from lowest to highest is a level sill
_STRIPS: Final = 200
_HEADS: Final = 61
_HIGHEST_M: Final = 1.5  # head up to which the rating is worked out, over the highest place


def built_sill(
    along_m: FloatArray, level_m: FloatArray, *, discharge_coefficient: float = 0.85
) -> Outlet:
    """Make the outlet of a broad sill from its levels from side to side.

    Each strip of its width is a broad-crested sill at its own level, q = 1.705 Cd (h - z)^1.5 a
    metre; together they are a rating over the lowest place. A level one stays a sill.

    Parameters
    ----------
    along_m : float64 (n,), rising distance across the flow [m].
    level_m : float64 (n,), linear between [m].
    discharge_coefficient : Cd, as `Sill`.

    Raises
    ------
    ValueError
        If there are fewer than two places or the sill has no width.
    """
    along, level = np.asarray(along_m, np.float64), np.asarray(level_m, np.float64)
    if along.ndim != 1 or along.shape != level.shape or along.size < 2:
        raise ValueError(
            f"a sill needs two places or more, got {along.shape} and levels {level.shape}"
        )
    width = float(along[-1] - along[0])
    if not width > 0 or not (np.diff(along) >= 0).all() or not np.isfinite(level).all():
        raise ValueError("a sill's places must rise along its width and have a level each")
    lowest, highest = float(level.min()), float(level.max())
    if highest - lowest <= _LEVEL_M:
        middle = float(np.trapezoid(level, along)) / width
        return Sill(middle, width, discharge_coefficient=discharge_coefficient)
    strips = along[0] + width * (np.arange(_STRIPS) + 0.5) / _STRIPS
    over = np.interp(strips, along, level) - lowest
    heads = (highest - lowest + _HIGHEST_M) * np.linspace(0, 1, _HEADS) ** 2
    depth = np.maximum(heads[:, np.newaxis] - over, 0.0)
    flows = BROAD * discharge_coefficient * (depth**1.5).mean(axis=1) * width
    return Rating(lowest, heads, flows)
