"""How fast held water soaks away: a constant design rate, or Green and Ampt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from brimline.units import MM_PER_H_M_S

if TYPE_CHECKING:
    from brimline.rainfall.infiltration import GreenAmpt


@dataclass(frozen=True, slots=True)
class Soak:
    """Soakage through the wetted plan area of an element.

    With `suction_mm` and `deficit` at zero the rate is constant. Otherwise it follows Green and
    Ampt (1911): fast while the ground is dry, falling to the conductivity.

    Parameters
    ----------
    rate_mm_per_h : tested soakage rate, or saturated conductivity; 0 is sealed [mm/h].
    safety_factor : by which the rate is divided for design; at least 1. 2 to 3 where failure is
        a nuisance (common practice, no source; local standards decide).
    suction_mm : suction head at the wetting front [mm].
    deficit : volume of air-filled pores over volume of soil, before the storm.

    Raises
    ------
    ValueError
        If a value is outside its range.
    """

    rate_mm_per_h: float
    safety_factor: float = 2.0
    suction_mm: float = 0.0
    deficit: float = 0.0

    def __post_init__(self) -> None:
        if not self.rate_mm_per_h >= 0:
            raise ValueError(f"a soakage rate must be 0 or more, got {self.rate_mm_per_h} mm/h")
        if not self.safety_factor >= 1:
            raise ValueError(f"a safety factor must be at least 1, got {self.safety_factor}")
        if not (self.suction_mm >= 0 and 0 <= self.deficit < 1):
            raise ValueError(
                "suction must be 0 mm or more and the deficit between 0 and 1, "
                f"got {self.suction_mm} mm and {self.deficit}"
            )

    @property
    def design_mm_per_h(self) -> float:
        """Rate after the safety factor [mm/h]."""
        return self.rate_mm_per_h / self.safety_factor

    @property
    def design_m_s(self) -> float:
        """Rate after the safety factor [m/s]."""
        return self.design_mm_per_h * MM_PER_H_M_S

    @classmethod
    def into(cls, soil: GreenAmpt, *, safety_factor: float = 2.0) -> Soak:
        """Soak into a soil by Green and Ampt, its conductivity divided by the safety factor."""
        return cls(soil.conductivity_mm_per_h, safety_factor, soil.suction_mm, soil.deficit)


SEALED: Final = Soak(0.0, 1.0)
