"""The table for banks: from which size a person must look, and how far their water is followed."""

from __future__ import annotations

from pydantic import Field

from brimline.config.base import ConfigTable, Positive


class Hazard(ConfigTable):
    """Thresholds for water that is held above ground; local law goes before them."""

    engineer_height_volume_m4: Positive = Field(
        1.128e6,
        description="Height of a bank times the volume that it holds back, from which a licensed"
        " engineer is asked for: NRCS Code 378, 3 000 acre-feet times feet.",
    )
    embankment_water_m: Positive = Field(
        0.91,
        description="Water against fill from which it counts as an embankment pond, which needs a"
        " low outlet and an emergency way over natural ground: NRCS Code 378, 3 feet.",
    )
    danger_rating_m2_s: Positive = Field(
        0.75,
        description="Flood hazard rating right below a failed bank from which buildings and roads"
        " in its way are flagged: Defra and Environment Agency FD2320, dangerous for some (value"
        " from memory).",
    )
    fence_depth_m: Positive = Field(
        0.6,
        description="Standing water deeper than this asks for a fence or a shelf: 24 inches of many"
        " pool codes in the United States (value from memory); elsewhere 0.3 m.",
    )
    spread_m: Positive = Field(
        30.0,
        description="How far beside its way a failed bank's water may spread, no higher than four"
        " ninths of the bank's height (common practice, no source).",
    )
    follow_m: Positive = Field(
        1000.0,
        description="How far a failed bank's water is followed (common practice, no source).",
    )
