"""What downpipes and troughs carry.

A pipe passes the lesser of its upright part, a third full, and its flat part, full:

* upright: Q = 2.5e-4 kb^-0.167 d^2.667 f^1.667 l/s (Wyly and Eaton; EN 12056-3:2000, 6.1.1: kb
  0.25 mm, f 0.33, which gives 10.7 l/s at 100 mm, its table 8; values from memory);
* flat: Manning, full, n 0.011 (smooth plastic, HDS-5, table C.1; value from memory).

A trough is half round and runs full: Manning with n 0.013.
"""

from __future__ import annotations

import math
from typing import Final

from brimline.elements.pipe import NOMINAL_MM

_ROUGH_MM: Final = 0.25
_FILLED: Final = 0.33
_PIPE_N: Final = 0.011
_TROUGH_N: Final = 0.013


def carries_m3_s(diameter_mm: float, form: str, fall_pct: float) -> float:
    """Most that a downpipe or trough carries [m³/s].

    Parameters
    ----------
    diameter_mm : inside diameter of a pipe, width of a trough [mm].
    form : "pipe" or "trough".
    fall_pct : of the trough, or of the flat part of the pipe [%].

    Raises
    ------
    ValueError
        If the diameter or the fall is not above 0.
    """
    if not (diameter_mm > 0 and fall_pct > 0):
        raise ValueError(
            f"a downpipe needs a diameter and a fall above 0, got {diameter_mm} mm, {fall_pct} %"
        )
    wide_m = diameter_mm / 1000
    falling: float = (wide_m / 4) ** (2 / 3) * math.sqrt(
        fall_pct / 100
    )  # R = d/4, full and half round
    if form == "trough":
        return math.pi * wide_m**2 / 8 * falling / _TROUGH_N
    upright: float = 2.5e-7 * _ROUGH_MM**-0.167 * diameter_mm**2.667 * _FILLED**1.667
    return min(upright, math.pi * wide_m**2 / 4 * falling / _PIPE_N)


def diameter_for_mm(peak_m3_s: float, form: str, fall_pct: float) -> float:
    """Smallest stocked diameter that carries a peak [mm]; the largest where none does."""
    fits = (size for size in NOMINAL_MM if carries_m3_s(size, form, fall_pct) >= peak_m3_s)
    return float(next(fits, NOMINAL_MM[-1]))
