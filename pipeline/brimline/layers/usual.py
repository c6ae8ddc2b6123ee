"""What numbers of drawn columns usually are: values beyond are told, since a unit may be wrong.

Common practice, no source: wide enough that no sound design is told of, narrow enough that a wrong
unit (mm for m, litres for m³, a percent for a share) falls outside.
"""

from __future__ import annotations

from typing import Final

USUAL_RANGES: Final[dict[str, tuple[float, float]]] = {
    "bottom_m": (0.0, 50.0),
    "depth_m": (0.02, 30.0),
    "diameter_m": (0.05, 6.0),
    "diameter_mm": (10.0, 3000.0),
    "fall_pct": (0.0, 30.0),
    "freeboard_m": (0.0, 3.0),
    "height_m": (0.0, 150.0),
    "most_m3_d": (0.0, 10_000.0),
    "overflow_mm": (10.0, 3000.0),
    "peak_m3_s": (0.0, 500.0),
    "root_depth_m": (0.01, 5.0),
    "roughness": (0.005, 0.3),
    "row_spacing_m": (0.05, 200.0),
    "seepage_mm_per_h": (0.0, 500.0),
    "setback_m": (0.0, 500.0),
    "side": (0.0, 10.0),
    "sill_width_m": (0.05, 200.0),
    "soak_mm_per_h": (0.0, 2000.0),
    "spacing_m": (0.02, 100.0),
    "top_m": (0.05, 50.0),
    "volume_m3": (0.01, 1e6),
    "wall_m": (0.05, 3.0),
    "width_m": (0.5, 20.0),
}
