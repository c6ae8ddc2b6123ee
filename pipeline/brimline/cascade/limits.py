"""The limits that a cascade is judged by; every one is a parameter."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

_STRICTER_SHARE: Final = 0.99


@dataclass(frozen=True, slots=True)
class CascadeLimits:
    """When a person must look.

    Parameters
    ----------
    min_drop_m : least drop from a sill to the next spill level; 0.10 m survives digging by
        machine (common practice, no source) [m].
    drawdown_h : longest that water may stand after the storm; 24 to 72 h, mosquitoes breed
        beyond (common practice, no source) [h].
    residual_m : depth over the floor that counts as gone [m].
    engineer_height_m : height of fill from which a licensed engineer is asked for; local law
        decides. 1.8 m is the 6 ft under which the United States' dam inventory takes no dam
        (33 U.S.C. 467; value from memory) [m].
    engineer_volume_m3 : volume held back above ground from which the same is asked for; 10 000
        m³ is the lowest figure of the United Kingdom's reservoir acts (value from memory) [m³].
    steep_slope_pct : ground steeper than this is not wetted without an engineer; swales are dug
        to about 15 %, with care to 20 %, none above 30 % (common practice, no source) [%].
    drowned_m : height of water beyond over a crest from which it counts as drowned [m].
    level_slack_m : a level may stand this far over the freeboard or the crest before it is called
        over; below 0, it must keep clear of it by as much [m].
    fence_depth_m : standing water deeper than this is told; 24 in of many pool codes (value from
        memory) [m].
    embankment_water_m : water against fill from which it counts as an embankment pond; 3 ft, NRCS
        Code 378 [m].
    largest_sill_m, highest_raise_m : how far a mend may go before another is looked for [m].
    keeps_freeboard : whether water within the freeboard is told; a greater storm may use it up.
    """

    min_drop_m: float = 0.10
    drawdown_h: float = 72.0
    residual_m: float = 0.01
    engineer_height_m: float = 1.8
    engineer_volume_m3: float = 10_000.0
    steep_slope_pct: float = 20.0
    drowned_m: float = 0.02
    level_slack_m: float = 1e-6
    fence_depth_m: float = 0.6
    embankment_water_m: float = 0.91
    largest_sill_m: float = 100.0
    highest_raise_m: float = 3.0
    keeps_freeboard: bool = True

    def stricter(self, by_m: float) -> CascadeLimits:
        """Return limits that a coarser routing may be judged by.

        Parameters
        ----------
        by_m : what levels must keep clear of their limits by [m].
        """
        return replace(
            self,
            drowned_m=self.drowned_m - by_m,
            level_slack_m=-by_m,
            drawdown_h=_STRICTER_SHARE * self.drawdown_h,
        )
