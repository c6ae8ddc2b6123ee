"""Defaults for sites of another size than a hillside farm: a garden, a whole catchment.

The tables' own defaults are those of a farm. Every value here is common practice, no source; each
gives way to what the site's file states.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from pydantic import ValidationError

from brimline.errors import ConfigError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.config.tables import Profile, Settings

GARDEN_M2: Final = 10_000.0  # a site up to this is a garden, where its cells are fine enough
GARDEN_CELL_M: Final = 0.5
CATCHMENT_M2: Final = 4_000_000.0  # a site from this on is a catchment
CATCHMENT_CELL_M: Final = 5.0  # coarser ground shows no swale

Defaults = dict[str, dict[str, Any]]

_GARDEN: Final[Defaults] = {
    "terrain": {
        "span_voids_m2": 5.0,
        "curvature_smooth_m": 1.0,
        "ground_step_m": 0.1,  # a kerb is ground, a bench is not
        "ground_window_m": 20.0,
    },
    "conditioning": {
        "breach_depth_m": 0.05,  # kerbs and walls go on damming
        "breach_length_m": 2.0,
        "hollow_depth_m": 0.03,
        "hollow_area_m2": 0.5,
    },
    "drainage": {"path_area_m2": 50.0, "snap_radius_m": 1.0, "snap_area_m2": 10.0},
    "survey": {"correlation_m": 2.0, "correlations_m": (0.5, 2.0, 6.0)},
    "contours": {"interval_m": 0.1, "smooth_m": 0.4},
    "lines": {
        "smooth_m": 0.5,
        "level_tolerance_m": 0.02,
        "min_length_m": 3.0,
        "boundary_setback_m": 0.5,
        "path_area_m2": 200.0,
        "path_clearance_m": 0.5,
    },
    "springs": {"over_m": 1.0, "least_above_m": 15.0, "apart_m": 8.0},
    "wind": {"reach_m": 60.0},
    "growing": {"machine_width_m": 1.2},
    "access": {"cell_m": 1.0, "margin_m": 20.0, "crossing_m": 10.0},
    "swales": {
        "interval_m": 0.3,
        "min_spacing_m": 2.0,
        "max_spacing_m": 12.0,
        "min_length_m": 4.0,
    },
    "drains": {
        "run_per_fall": 100.0,
        "least_fall_pct": 0.5,
        "most_fall_pct": 2.0,
        "max_length_m": 100.0,
        "fall_tolerance_m": 0.01,
    },
    "cultivation": {
        "valley_area_m2": 200.0,
        "profile_smooth_m": 2.0,
        "valley_smooth_m": 0.8,
        "keyline_smooth_m": 0.6,
        "width_m": 1.2,
        "reach_m": 12.0,
        "turning_radius_m": 1.0,
        "guides_apart_m": 4.0,
        "guide_least_m": 60.0,
        "shortest_m": 8.0,
    },
    "earthworks": {
        "bank_top_m": 0.3,
        "wing_m": 1.5,
        "batter_limit_m": 5.0,
        "section_interval_m": 0.5,
        "sill_stone_m": 0.1,
        "sill_apron_m": 0.5,
    },
    "ponds": {
        "depths_m": (0.2, 0.4, 0.6, 0.8),
        "freeboard_m": 0.2,
        "top_m": 0.6,
        "half_lengths_m": (3.0, 8.0),
        "wing_m": 8.0,
        "reach_m": 30.0,
        "path_area_m2": 100.0,
        "least_m3": 2.0,
    },
    "stakes": {
        "interval_m": 2.0,
        "offset_m": 0.5,
        "rod_m": 4.0,
        "surface_error_m": 0.005,
        "text_m": 0.1,
    },
    "proof": {"tolerance_m": 0.01},
    "works": {
        "usual_cover": "lawn",
        "smooth_m": 0.3,  # a hollow of a few metres is what a garden's basin is dug in
        "sill_head_m": 0.03,
        "pond_edge": "sunken",
        "swale_depth_m": 0.15,
        "swale_bottom_m": 0.2,
        "swale_top_m": 0.8,
        "swale_freeboard_m": 0.03,
        "drain_depth_m": 0.15,
        "drain_bottom_m": 0.2,
        "drain_freeboard_m": 0.03,
        "pond_depth_m": 0.6,
        "pond_side": 2.0,
        "pond_shelf_m": 0.3,
        "basin_depth_m": 0.2,
        "basin_edge": "sunken",
        "basin_freeboard_m": 0.03,
        "tank_volume_m3": 1.0,
        "tank_height_m": 1.2,
        "min_drop_m": 0.03,
        "near_building_m": 3.0,
        "pond_depth_range_m": (0.3, 1.2),
        "swale_depth_range_m": (0.1, 0.4),
        "basin_depth_range_m": (0.1, 0.4),
        "tank_volume_range_m3": (0.2, 10.0),
    },
}
_CATCHMENT: Final[Defaults] = {
    "terrain": {"span_voids_m2": 2000.0, "curvature_smooth_m": 25.0},
    "conditioning": {
        "breach_depth_m": 3.0,
        "breach_length_m": 150.0,
        "hollow_depth_m": 0.5,
        "hollow_area_m2": 500.0,
    },
    "drainage": {"path_area_m2": 50_000.0, "snap_radius_m": 50.0, "snap_area_m2": 10_000.0},
    "survey": {"correlation_m": 30.0, "correlations_m": (10.0, 30.0, 100.0)},
    "contours": {"interval_m": 10.0, "smooth_m": 10.0},
    "lines": {"smooth_m": 10.0, "min_length_m": 100.0, "path_area_m2": 50_000.0},
    "swales": {"min_length_m": 100.0},
    "springs": {"over_m": 10.0, "least_above_m": 200.0, "apart_m": 150.0},
    "wind": {"reach_m": 1000.0},
    "access": {"cell_m": 10.0, "margin_m": 500.0},
    "cultivation": {
        "valley_area_m2": 50_000.0,
        "profile_smooth_m": 50.0,
        "valley_smooth_m": 20.0,
        "keyline_smooth_m": 15.0,
    },
    "stakes": {"text_m": 5.0},
}
# metres mean nothing below the cells: least number of cells, along (_m) or in area (_m2)
LEAST_CELLS: Final[dict[str, dict[str, float]]] = {
    "conditioning": {"hollow_area_m2": 4.0},
    "drainage": {"path_area_m2": 50.0, "snap_radius_m": 2.0, "snap_area_m2": 10.0},
    "lines": {"path_area_m2": 50.0},
    "cultivation": {"valley_area_m2": 50.0},
}
PROFILES: Final[dict[Profile, Defaults]] = {
    "garden": _GARDEN,
    "farm": {},
    "catchment": _CATCHMENT,
}


def profile_for(area_m2: float, cell_m: float | None) -> Profile:
    """Return the profile that a site's size and cells ask for.

    Parameters
    ----------
    area_m2 : inside the boundary.
    cell_m : side of a cell; None where it follows from single levels or points, which is fine.
    """
    if area_m2 <= GARDEN_M2 and (cell_m is None or cell_m <= GARDEN_CELL_M):
        return "garden"
    if area_m2 >= CATCHMENT_M2 or (cell_m is not None and cell_m > CATCHMENT_CELL_M):
        return "catchment"
    return "farm"


def _least(table: str, cell_m: float | None) -> dict[str, float]:
    """Return the least values of a table's keys on cells of a size."""
    if cell_m is None:
        return {}
    return {
        key: cells * (cell_m**2 if key.endswith("_m2") else cell_m)
        for key, cells in LEAST_CELLS.get(table, {}).items()
    }


def with_profile(settings: Settings, profile: Profile, cell_m: float | None = None) -> Settings:
    """Return settings in which what was left out has the defaults of a profile.

    Parameters
    ----------
    cell_m : side of a cell; what is left out is raised to what such cells can tell.

    Raises
    ------
    ConfigError
        If a stated value does not go with a default of the profile.
    """
    tables: dict[str, Any] = {
        "site": settings.site.model_copy(update={"profile": profile}),
    }
    for name in {**PROFILES[profile], **(LEAST_CELLS if cell_m else {})}:
        table = getattr(settings, name)
        said: Mapping[str, Any] = table.model_dump(exclude_unset=True)
        try:
            made = type(table).model_validate({**PROFILES[profile].get(name, {}), **said})
            least = _least(name, cell_m)
            raised = {
                key: value
                for key, value in least.items()
                if key not in said and getattr(made, key) < value
            }
            tables[name] = made.model_copy(update=raised)
        except ValidationError as error:
            first = error.errors(include_url=False)[0]["msg"].removeprefix("Value error, ")
            raise ConfigError.of(
                f"with the profile {profile}: {first}",
                mend="state both keys, or another site.profile",
                source="configuration",
                place=name,
            ) from error
    return settings.model_copy(update=tables)
