"""Water-harvesting earthworks from a terrain model, as plugin-free batch stages.

The package is a library of small rooms that depend on each other one way only (see
DEVELOPERS.md) and a command, ``brimline``, that runs them over a site. What people use most of
the library stands here under short names; each is imported when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from brimline.balance.evapotranspiration import ReferenceEt, reference_et
    from brimline.balance.periods import Calendar, calendar
    from brimline.balance.simulate import simulate
    from brimline.balance.sizing import SizeCurve, size_curve
    from brimline.balance.system import System
    from brimline.cascade import Discharge, Link, Network, Routed, check, route, size_sills
    from brimline.drainage.catchments import (
        Snapped,
        Subcatchments,
        distance_to_intake,
        height_above_drainage,
        longest_paths,
        snap,
        subcatchments,
    )
    from brimline.drainage.certainty import CatchmentChance, catchment_chance
    from brimline.drainage.flow import (
        accumulate,
        dinf_accumulation,
        flow_directions,
        mfd_accumulation,
        wetness_index,
    )
    from brimline.drainage.hollows import Hollows, find_hollows
    from brimline.drainage.paths import FlowPaths, flow_paths
    from brimline.elements import Basin, Drain, Element, Mound, Pipe, Pond, Sill, Soak, Swale, Tank
    from brimline.errors import BrimlineError, GridError, InputError
    from brimline.grid import Grid
    from brimline.lines.contours import contour_levels, contours
    from brimline.lines.graded import GradedLine, graded_between, graded_line
    from brimline.lines.keyline import (
        CultivationLine,
        Keyline,
        Keypoint,
        cultivation_lines,
        find_keypoints,
        keyline,
        keylines,
    )
    from brimline.lines.level_lines import LevelLine, level_lines
    from brimline.lines.limits import limits
    from brimline.lines.relief import RidgeLine, ValleyLine, ridge_lines, valley_lines
    from brimline.lines.rows import Duty, SwaleRow, swale_rows
    from brimline.rainfall import (
        DepthTable,
        Hydrograph,
        Storm,
        curve_number,
        design_storm,
        excess_mm,
        hydrograph,
        runoff_depth_mm,
    )
    from brimline.terrain.conditioning import Conditioned, breach, burn, condition, fill
    from brimline.terrain.earthwork import Earth, earth_between
    from brimline.terrain.slope import contour_curvature, hillshade, slope_pct
    from brimline.terrain.smooth import smoothed
    from brimline.terrain.voids import span_voids

__version__ = "0.1.0"

__all__ = [
    "Basin",
    "BrimlineError",
    "Calendar",
    "CatchmentChance",
    "Conditioned",
    "CultivationLine",
    "DepthTable",
    "Discharge",
    "Drain",
    "Duty",
    "Earth",
    "Element",
    "FlowPaths",
    "GradedLine",
    "Grid",
    "GridError",
    "Hollows",
    "Hydrograph",
    "InputError",
    "Keyline",
    "Keypoint",
    "LevelLine",
    "Link",
    "Mound",
    "Network",
    "Pipe",
    "Pond",
    "ReferenceEt",
    "RidgeLine",
    "Routed",
    "Sill",
    "SizeCurve",
    "Snapped",
    "Soak",
    "Storm",
    "Subcatchments",
    "Swale",
    "SwaleRow",
    "System",
    "Tank",
    "ValleyLine",
    "accumulate",
    "breach",
    "burn",
    "calendar",
    "catchment_chance",
    "check",
    "condition",
    "contour_curvature",
    "contour_levels",
    "contours",
    "cultivation_lines",
    "curve_number",
    "design_storm",
    "dinf_accumulation",
    "distance_to_intake",
    "earth_between",
    "excess_mm",
    "fill",
    "find_hollows",
    "find_keypoints",
    "flow_directions",
    "flow_paths",
    "graded_between",
    "graded_line",
    "height_above_drainage",
    "hillshade",
    "hydrograph",
    "keyline",
    "keylines",
    "level_lines",
    "limits",
    "longest_paths",
    "mfd_accumulation",
    "reference_et",
    "ridge_lines",
    "route",
    "runoff_depth_mm",
    "simulate",
    "size_curve",
    "size_sills",
    "slope_pct",
    "smoothed",
    "snap",
    "span_voids",
    "subcatchments",
    "swale_rows",
    "valley_lines",
    "wetness_index",
]

_HOMES: Final = {
    "balance.evapotranspiration": (
        "ReferenceEt",
        "reference_et",
    ),
    "balance.periods": (
        "Calendar",
        "calendar",
    ),
    "balance.simulate": ("simulate",),
    "balance.sizing": (
        "SizeCurve",
        "size_curve",
    ),
    "balance.system": ("System",),
    "cascade": (
        "Discharge",
        "Link",
        "Network",
        "Routed",
        "check",
        "route",
        "size_sills",
    ),
    "drainage.catchments": (
        "Snapped",
        "Subcatchments",
        "distance_to_intake",
        "height_above_drainage",
        "longest_paths",
        "snap",
        "subcatchments",
    ),
    "drainage.certainty": (
        "CatchmentChance",
        "catchment_chance",
    ),
    "drainage.flow": (
        "accumulate",
        "dinf_accumulation",
        "flow_directions",
        "mfd_accumulation",
        "wetness_index",
    ),
    "drainage.hollows": (
        "Hollows",
        "find_hollows",
    ),
    "drainage.paths": (
        "FlowPaths",
        "flow_paths",
    ),
    "elements": (
        "Basin",
        "Drain",
        "Element",
        "Mound",
        "Pipe",
        "Pond",
        "Sill",
        "Soak",
        "Swale",
        "Tank",
    ),
    "errors": (
        "BrimlineError",
        "GridError",
        "InputError",
    ),
    "grid": ("Grid",),
    "lines.contours": (
        "contour_levels",
        "contours",
    ),
    "lines.graded": (
        "GradedLine",
        "graded_between",
        "graded_line",
    ),
    "lines.keyline": (
        "CultivationLine",
        "Keyline",
        "Keypoint",
        "cultivation_lines",
        "find_keypoints",
        "keyline",
        "keylines",
    ),
    "lines.level_lines": (
        "LevelLine",
        "level_lines",
    ),
    "lines.limits": ("limits",),
    "lines.relief": (
        "RidgeLine",
        "ValleyLine",
        "ridge_lines",
        "valley_lines",
    ),
    "lines.rows": (
        "Duty",
        "SwaleRow",
        "swale_rows",
    ),
    "rainfall": (
        "DepthTable",
        "Hydrograph",
        "Storm",
        "curve_number",
        "design_storm",
        "excess_mm",
        "hydrograph",
        "runoff_depth_mm",
    ),
    "terrain.conditioning": (
        "Conditioned",
        "breach",
        "burn",
        "condition",
        "fill",
    ),
    "terrain.earthwork": (
        "Earth",
        "earth_between",
    ),
    "terrain.slope": (
        "contour_curvature",
        "hillshade",
        "slope_pct",
    ),
    "terrain.smooth": ("smoothed",),
    "terrain.voids": ("span_voids",),
}
_HOME_OF: Final = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - whatever is asked for
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = globals()[name] = getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
