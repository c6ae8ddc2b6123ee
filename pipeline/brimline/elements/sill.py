"""Sills: broad-crested, sharp-crested and notched; their flow, size and drowning.

All use one law, q = (C b + K H) H^1.5 with H the head over the crest:

* broad-crested: C = 1.705 Cd, from (2/3)^1.5 √g (critical flow over the crest), and for sides
  that slope at z to 1, K = 1.268 Cd z, from (16/25) √(2g/5) (critical flow in a triangle; Bos
  1989, Discharge Measurement Structures, ILRI 20, broad-crested weirs; value from memory). The
  two parts added pass a little less than the trapezoid really does, which is on the safe side.
* sharp-crested: C = 1.84 (Francis; Chow 1959, section 14-1; value from memory).
* V notch: K = 8/15 Cd √(2g) tan(θ/2), which is 1.38 for 90° with Cd 0.585.

A level beyond that stands above the crest drowns a sill by Villemonte (1947, Engineering
News-Record 139): Q/Q_free = (1 − (H2/H1)^n)^0.385, n the exponent of the free law.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, Literal

from brimline.elements._kernels import WEIR
from brimline.elements.outlet import OutletRow, head_for_m

GRAVITY_M_S2: Final = 9.81
BROAD: Final = (2 / 3) ** 1.5 * math.sqrt(GRAVITY_M_S2)  # 1.705
BROAD_SIDE: Final = 16 / 25 * math.sqrt(0.4 * GRAVITY_M_S2)  # 1.268
SHARP: Final = 1.84
NOTCH: Final = 8 / 15 * math.sqrt(2 * GRAVITY_M_S2)  # 2.362, times Cd tan(θ/2)
NOTCH_CD: Final = 0.585  # 90° notch (Bos 1989; value from memory)

Form = Literal["broad", "sharp", "notch"]


@dataclass(frozen=True, slots=True)
class Sill:
    """A level edge over which an element spills.

    Parameters
    ----------
    crest_m : level of the crest [m].
    width_m : width of the level crest across the flow; 0 for a notch [m].
    form : broad (an armoured earth or stone sill), sharp (a plate) or notch (a V in a plate).
    side : horizontal run of each sloping end per metre of rise, broad sills only; for a notch,
        the tangent of half its angle (1 is 90°).
    discharge_coefficient : Cd of a broad sill. 0.85 is for a rough or grassed earth crest; a
        smooth one reaches 0.95 and more (Bos 1989; value from memory).

    Raises
    ------
    ValueError
        If a size is outside its range.
    """

    crest_m: float
    width_m: float
    form: Form = "broad"
    side: float = 0.0
    discharge_coefficient: float = 0.85

    def __post_init__(self) -> None:
        if self.form not in ("broad", "sharp", "notch"):
            raise ValueError(f"a sill is broad, sharp or notch, got {self.form!r}")
        if not (self.width_m >= 0 and self.side >= 0) or self.width_m + self.side == 0:
            raise ValueError(
                f"a sill needs a width or sloping sides, got {self.width_m} m and {self.side} to 1"
            )
        if not 0 < self.discharge_coefficient <= 1.1:
            raise ValueError(f"Cd must lie between 0 and 1.1, got {self.discharge_coefficient}")

    @property
    def leaves_at_m(self) -> float:
        """Level from which the drop to the next spill level counts: its crest [m]."""
        return self.crest_m

    @property
    def is_pipe(self) -> bool:
        """A sill is open and cannot block unseen."""
        return False

    @property
    def coefficients(self) -> tuple[float, float]:
        """C b and K of the law q = (C b + K H) H^1.5 [m³/s with H in m]."""
        if self.form == "sharp":
            return SHARP * self.width_m, 0.0
        if self.form == "notch":
            return 0.0, NOTCH * NOTCH_CD * self.side
        cd = self.discharge_coefficient
        return BROAD * cd * self.width_m, BROAD_SIDE * cd * self.side

    def row(self) -> OutletRow:
        """Give the sill as routing reads it."""
        level_part, sloping_part = self.coefficients
        exponent = 1.5 if level_part > 0 else 2.5
        return OutletRow(WEIR, self.crest_m, self.crest_m, (level_part, sloping_part, exponent))

    def raised(self, by_m: float) -> Sill:
        """Return the same sill, higher by `by_m` [m]."""
        return replace(self, crest_m=self.crest_m + by_m)

    def head_for_m(self, flow_m3_s: float) -> float:
        """Head that passes a flow freely [m]."""
        return head_for_m(self, flow_m3_s)


def width_for_m(
    peak_m3_s: float,
    head_m: float,
    *,
    form: Form = "broad",
    side: float = 0.0,
    discharge_coefficient: float = 0.85,
) -> float:
    """Width of level crest that passes a peak at a head [m]; 0 where the sides alone do.

    Raises
    ------
    ValueError
        If the head is not positive, the peak is negative, or the form is a notch.
    """
    if not head_m > 0 or not peak_m3_s >= 0:
        raise ValueError(
            f"a sill is sized for a peak of 0 m³/s or more and a head above 0 m, "
            f"got {peak_m3_s} m³/s and {head_m} m"
        )
    if form == "notch":
        raise ValueError("a notch has no width; compare its flow at the head with the peak")
    one = Sill(0.0, 1.0, form, side, discharge_coefficient)
    per_metre, sloping = one.coefficients
    return max((peak_m3_s / math.pow(head_m, 1.5) - sloping * head_m) / per_metre, 0.0)


def critical_speed_m_s(head_m: float) -> float:
    """Speed of water over a broad crest, √(2/3 g H), for choosing its armour [m/s]."""
    return math.sqrt(2 / 3 * GRAVITY_M_S2 * max(head_m, 0.0))
