"""The scale of a job: its profile, as stated or by the size of its site and its cells."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from brimline.config.profiles import LEAST_CELLS, profile_for, with_profile
from brimline.engine import files_of
from brimline.errors import InputError
from brimline.io import paths as paths_of
from brimline.io.paths import VectorSource, is_levels, is_points

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from brimline.config import Loaded, Settings
    from brimline.config.tables import Profile
    from brimline.engine import Digests, KnownParts

_DEGREE_M: Final = 111_320.0  # of a meridian, near enough to tell a garden from a catchment


def at_scale(
    loaded: Loaded, known: KnownParts | None = None, digests: Digests | None = None
) -> tuple[Loaded, str]:
    """Return the settings with the defaults of their profile, and what is to be told of it.

    Where the boundary or the elevation cannot be read the profile is that of a farm, and the run
    itself says what is wrong.

    Parameters
    ----------
    known, digests : remember what the files said, so that files that stayed the same are not
        opened; None opens them.

    Raises
    ------
    ConfigError
        If a stated value does not go with a default of the profile.
    """
    of = None if digests is None else _files_told(loaded, digests)
    if known is None or of is None:
        found = _measured(loaded)
    else:
        found = known.recall("scale", of, lambda: _measured(loaded))
    settings = loaded.settings
    profile, told, cell_m = found
    plain, made = (with_profile(settings, profile, side_m) for side_m in (None, cell_m))
    raised = [
        f"{table}.{key} {float(f'{getattr(getattr(made, table), key):.3g}'):g}"
        for table, keys in LEAST_CELLS.items()
        for key in keys
        if getattr(getattr(made, table), key) != getattr(getattr(plain, table), key)
    ]
    if raised:
        told += f"; raised to what cells of {cell_m:.3g} m can tell: {', '.join(raised)}"
    return replace(loaded, settings=_turned(made)), told.removeprefix("; ")


def _turned(settings: Settings) -> Settings:
    """Return the settings with the north that known points of a local grid tell."""
    if settings.sun.grid_north_deg is not None or not settings.terrain.known_points:
        return settings
    from brimline.io.placed import placed_crs

    try:
        _, north_deg, _ = placed_crs(settings.terrain.known_points)
    except InputError:
        return settings  # the run itself says what is wrong
    sun = settings.sun.model_copy(update={"grid_north_deg": round(north_deg, 2)})
    return settings.model_copy(update={"sun": sun})


def _measured(loaded: Loaded) -> tuple[Profile, str, float | None]:
    """Return the profile, what is told of it, and the side of cells [m], as the files say."""
    settings = loaded.settings
    profile, told, terrain = settings.site.profile, "", settings.terrain
    files = [loaded.resolve(name) for name in settings.inputs.elevation]
    if profile is None:
        entry = settings.inputs.boundary
        boundary = VectorSource(loaded.resolve(entry.file), entry.layer, entry.where)
        profile, told = fitting(files, boundary, crs=terrain.crs, cell_m=terrain.cell_m)
    try:
        return profile, told, terrain.cell_m or _cell_m(paths_of.spread(files)[0], terrain.crs)
    except (InputError, IndexError):
        return profile, told, None  # the run itself says what is wrong


def _files_told(loaded: Loaded, digests: Digests) -> list[Any] | None:
    """Return all that the scale follows from; None where a file is not there."""
    settings = loaded.settings
    entry, inputs = settings.inputs.boundary, settings.inputs
    said = [loaded.resolve(name) for name in (*inputs.elevation, entry.file)]
    try:
        content = [digests.content(file) for path in said for file in files_of(path)]
    except InputError:
        return None
    stated = [settings.site.profile, settings.terrain.crs, settings.terrain.cell_m]
    return [content, *stated, entry.model_dump(mode="json"), [str(path) for path in said]]


def fitting(
    elevation: Sequence[Path],
    boundary: VectorSource,
    *,
    crs: str | None,
    cell_m: float | None = None,
) -> tuple[Profile, str]:
    """Return the profile that inputs ask for, and why, in words; a farm where they are unreadable.

    Parameters
    ----------
    elevation : files or patterns.
    crs, cell_m : as the configuration states them.
    """
    from brimline.io.elevation import run_crs
    from brimline.io.vectors import read_layer

    try:
        own_crs = run_crs(elevation, crs=crs)
        shapes = read_layer(
            boundary, kinds={"polygon"}, crs=own_crs, default_layer="boundary"
        ).usable()
        first = paths_of.spread(elevation)[0]
        side_m = cell_m or _cell_m(first, crs)
    except InputError:
        return "farm", ""
    area_m2 = float(shapes.geometry.area.sum())
    profile = profile_for(area_m2, side_m)
    cells = "single levels or points" if side_m is None else f"cells of {side_m:.2g} m"
    return profile, (
        f"profile {profile}, for {area_m2 / 1e4:.3g} ha on {cells}; site.profile states another"
    )


def _cell_m(path: Path, crs: str | None) -> float | None:
    """Side of a raster's cells in the unit of its map [m]; None of levels and clouds."""
    if is_levels(path) or is_points(path):
        return None
    from brimline.io._raster_source import read_header
    from brimline.io.crs import plan_unit

    header = read_header(path, vertical_unit="m", crs=crs)
    step = math.sqrt(abs(header.transform.determinant))
    if header.crs.is_geographic:
        _, north_deg = header.transform * (header.cols / 2, header.rows / 2)
        return step * _DEGREE_M * math.sqrt(max(math.cos(math.radians(north_deg)), 0.0))
    return step * plan_unit(header.crs).metres
