"""Reading every input once, to tell all problems together before anything is computed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np

from brimline.balance.planted import planted_zones, zones_off
from brimline.design import Plan
from brimline.errors import InputError, Problem, Severity
from brimline.inputs.doubts import (
    benchmark_doubt,
    ground_doubts,
    refuse_countless_contours,
    unknown_sizes,
    unknown_storm,
)
from brimline.inputs.drawn import SOURCES, layer_problems, read_site
from brimline.inputs.notes import read_notes
from brimline.inputs.plan import read_plan
from brimline.inputs.planting import wanted_of
from brimline.inputs.rows import plan_of
from brimline.inputs.searching import search_problems
from brimline.inputs.storms import storms_asked
from brimline.inputs.tile_index import read_footprints
from brimline.inputs.walls import low_walls, read_walls
from brimline.inputs.weather import layout_of, made_up
from brimline.inputs.year import place_of, refuse_place, stated_latitude, textures_of, zone_rows
from brimline.io.built import is_surface, read_built_points, read_built_surface
from brimline.io.crs import is_local, parsed
from brimline.io.elevation import read_elevation
from brimline.io.inflows import inflow_doubts, read_inflows
from brimline.io.machine import free_bytes, needs
from brimline.io.placed import placed_crs, stated_crs
from brimline.io.rainfall import read_depth_table
from brimline.io.weather import read_weather
from brimline.planting.laying import row_problems
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from brimline.config import Settings
    from brimline.engine import Source
    from brimline.grid import Elevation, Grid
    from brimline.io.vectors import VectorSource


@dataclass(slots=True)
class CheckedInputs:
    """What was found in the inputs.

    Parameters
    ----------
    facts : what was read, in words, for a person who wants to be sure it was the right thing.
    drawn : names of the plan; None where it could not be read.
    """

    problems: list[Problem] = field(default_factory=list)
    facts: list[str] = field(default_factory=list)
    drawn: tuple[str, ...] | None = None

    def count(self, severity: Severity) -> int:
        """Return how many problems are of one severity."""
        return sum(problem.severity is severity for problem in self.problems)


def check_inputs(
    settings: Settings,
    sources: Mapping[str, Source],
    *,
    near: tuple[Elevation, Grid] | None = None,
) -> CheckedInputs:
    """Read every input that the site's file names; nothing is computed or written.

    Parameters
    ----------
    sources : as `sources_of` returns them.
    near : ground around the site, in place of an elevation that is too large to be read.
    """
    found = CheckedInputs()
    survey = near or _elevation(settings, sources, found)
    if survey is not None:
        _layers(settings, sources, *survey, found)
    _weather(settings, sources, found)
    _storms(settings, sources["rainfall"].value if "rainfall" in sources else None, found)
    if "as_built" in sources:
        _as_built(settings, sources["as_built"].value, survey, found)
    found.problems.sort(key=lambda problem: list(Severity).index(problem.severity))
    return found


def _elevation(
    settings: Settings, sources: Mapping[str, Source], found: CheckedInputs
) -> tuple[Elevation, Grid] | None:
    terrain = settings.terrain
    try:
        read = read_elevation(
            sources["elevation"].value,
            cell_m=terrain.cell_m,
            vertical_unit=terrain.vertical_unit,
            crs=stated_crs(terrain),
            breaklines=sources["breaklines"].value if "breaklines" in sources else None,
        )
    except InputError as error:
        found.problems += error.problems
        found.facts.append("without elevation there is no grid: where things lie was not checked")
        local = terrain.crs is not None and is_local(parsed(terrain.crs))
        found.problems += layer_problems(
            {name: sources[name].value for name in SOURCES if name in sources},
            terrain.crs if local else None,
        )
        return None
    found.problems += read.notices
    if terrain.known_points:
        found.problems.append(placed_crs(terrain.known_points)[2])
    low, high = float(np.nanmin(read.dem)), float(np.nanmax(read.dem))
    found.facts.append(
        f"elevation: {read.grid.rows} × {read.grid.cols} cells of {read.grid.cell_m:g} m,"
        f" {low:.2f} to {high:.2f} m, {read.grid.crs.splitlines()[0][:60]}"
    )
    found.facts.append(_foreseen(read.grid.rows * read.grid.cols))
    return read.dem, read.grid


def _foreseen(cells: int) -> str:
    """Tell what a first run will take, and what the machine has."""
    ahead, free = needs(cells), free_bytes()
    has = "" if free is None else f" of {free / 1e6:.0f} MB that are free"
    return (
        f"a first run: about {ahead.memory_bytes / 1e6:.0f} MB of memory{has}, and"
        f" {ahead.core_s:.0f} s of one core"
    )


def _storms(settings: Settings, path: Path | None, found: CheckedInputs) -> None:
    """Ask the rainfall table for every storm of a run, and for the one to size for."""
    try:
        table = None if path is None else read_depth_table(path)
        asked, problems = storms_asked(settings.storm, table, str(path))
        found.problems += [*problems, *unknown_storm(settings.works, asked)]
    except InputError as error:
        found.problems += error.problems
        return
    further = [one.name for one in (*asked.checks, *asked.beyond)]
    if found.drawn is not None:
        found.problems += search_problems(settings.search, settings.rates, found.drawn, further)
    if table is None:
        return
    hours, years = table.durations_h, table.return_periods_y
    found.facts.append(
        f"rainfall: {hours[0]:g} to {hours[-1]:g} h, {years[0]:g} to {years[-1]:g} years"
    )


def _inflows(path: Path | None, plan: Plan, found: CheckedInputs) -> None:
    try:
        flows = {} if path is None else read_inflows(path)
    except InputError as error:
        found.problems += error.problems
        return
    found.problems += plan.dry_inflows(flows)
    found.problems += inflow_doubts(flows, [row.name for row in plan.inflows], str(path))
    if not flows:
        return
    told = ", ".join(f"{name} {one.volume_m3:.0f} m³" for name, one in flows.items())
    found.facts.append(f"inflows: {told}")


def _as_built(
    settings: Settings,
    source: VectorSource,
    survey: tuple[Elevation, Grid] | None,
    found: CheckedInputs,
) -> None:
    """Read what was built, and hold it against where the site is and how high its ground."""
    if survey is None:
        return  # without elevation there is no CRS to bring it to
    dem, grid = survey
    crs, unit = settings.as_built.crs, settings.as_built.vertical_unit
    try:
        if is_surface(source.path):
            read = read_built_surface(source, dem, grid, grid.bounds, crs=crs, vertical_unit=unit)
            found.problems += read.notices
            cells = f"{read.grid.rows} × {read.grid.cols} cells of {read.grid.cell_m:g} m"
            found.facts.append(f"as built: {cells}")
        else:
            points = read_built_points(source, dem, grid, grid.bounds, crs=crs, vertical_unit=unit)
            found.problems += points.problems
            found.facts.append(f"as built: {points.x.size} points")
    except InputError as error:
        found.problems += error.problems


def _weather(settings: Settings, sources: Mapping[str, Source], found: CheckedInputs) -> None:
    params = settings.weather
    if "weather" in sources:
        read = read_weather(sources["weather"].value, layout_of(params))
        found.problems += read.problems
        if read.weather is not None:
            years = read.weather.days / 365.25
            found.facts.append(f"weather: {years:.1f} years from {read.weather.first_day}")
    elif params.has_normals:
        try:
            made_up(params)
        except InputError as error:
            found.problems += error.problems
        found.facts.append(f"weather: {params.made_up_years} years made up from monthly normals")


def _planting(
    sources: Mapping[str, Source], drawn: Mapping[str, gpd.GeoDataFrame], found: CheckedInputs
) -> None:
    """Read plants and guilds, and hold what is drawn of them against their names."""
    plants, guilds = (
        sources[name].value if name in sources else None for name in ("plants", "guilds")
    )
    nothing = gpd.GeoDataFrame(geometry=[])  # lines to plant along come only of a run
    try:
        wanted, known, grouped = wanted_of(lambda name: drawn.get(name, nothing), plants, guilds)
    except InputError as error:
        found.problems += error.problems
        return
    found.problems += [one for row in wanted for one in row_problems(row, known, grouped)]
    if known:
        found.facts.append(f"plants: {counted(len(known), 'kind')}")


def _layers(
    settings: Settings,
    sources: Mapping[str, Source],
    dem: Elevation,
    grid: Grid,
    found: CheckedInputs,
) -> None:
    read = read_site(
        {name: sources[name].value if name in sources else None for name in SOURCES}, dem, grid
    )
    found.problems += read.problems
    for name, reader in (("walls", read_walls), ("notes", read_notes)):
        if name in sources:
            one = reader(sources[name].value, grid.crs)
            found.problems += one.problems
            found.problems += ground_doubts(one.frame, name, dem, grid, str(one.source))
            if name == "walls":
                found.problems += low_walls(one, settings.conditioning)
    if "tile_index" in sources:
        try:
            read_footprints(sources["tile_index"].value, grid.crs)
        except InputError as error:
            found.problems += error.problems
    found.problems += benchmark_doubt(settings.stakes.benchmark_level_m, dem)
    try:
        refuse_countless_contours(settings.contours.interval_m, dem)
    except InputError as error:
        found.problems += error.problems
    with_weather = "weather" in sources or settings.weather.has_normals
    plan = Plan()
    drawn: dict[str, gpd.GeoDataFrame] = {}
    if "plan" in sources:
        drawn, problems = read_plan(sources["plan"].value, dem, grid)
        found.problems += problems
        read.layers |= drawn
        plan = plan_of(drawn, settings.works)
        found.problems += plan.repeated_names()
        roofs = [name for name in read.layers["surfaces"]["name"] if isinstance(name, str)]
        found.problems += [*plan.lost_names(roofs), *plan.lost_words()]
        found.problems += unknown_sizes(settings.works, plan.names)
        zones = planted_zones(
            zone_rows(drawn["planting_zones"]),
            textures_of(read.layers["soils"]),
            plan.names,
            settings.year.rules(),
        )
        found.problems += [*zones.problems, *zones_off(zones.zones, grid)]
        if zones.zones and with_weather:
            try:
                stated_latitude(settings.year, settings.site, grid)
            except InputError as error:
                found.problems += error.problems
    latitude_deg, height_m = place_of(dem, grid, settings.site.latitude_deg)
    if with_weather and latitude_deg is not None:
        try:
            refuse_place(latitude_deg, height_m)
        except InputError as error:
            found.problems += error.problems
    found.drawn = plan.names
    _inflows(sources["inflows"].value if "inflows" in sources else None, plan, found)
    _planting(sources, drawn, found)
    found.facts += [
        f"{name}: {counted(len(rows), 'row')}" for name, rows in read.layers.items() if len(rows)
    ]
