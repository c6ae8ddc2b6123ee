"""Zones, rows and single places as drawn, made into plants that stand somewhere."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.errors import Problem, Severity
from brimline.planting.setting_out import along_line, filled, round_centre
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.planting.plants import Guild, Plant
    from brimline.planting.setting_out import Pattern

_CLOSEST: Final = 20.0  # of what plants ask for: closer is a slip of the unit
_MOST: Final = 50_000  # plants of one row or zone, each of which is asked what shades it
_HAIR: Final = 1e-6  # so that rows exactly as far apart as asked stay


@dataclass(frozen=True, slots=True)
class DrawnPlanting:
    """What was drawn to be planted.

    Parameters
    ----------
    place : where it was drawn, for messages.
    shape : a polygon that is filled, a line that is followed, or a point.
    plants : names of plants or guilds, in turn along each row.
    lines : of a polygon: rows follow these instead of a pattern, each where it is as far as rows
        are from those before it.
    spacing_m, row_spacing_m, bearing_deg : None follows from the plants and the shape.
    edge_m : kept free along a polygon's edge [m].
    """

    name: str
    place: str
    shape: BaseGeometry
    plants: tuple[str, ...]
    pattern: Pattern = "triangular"
    lines: tuple[BaseGeometry, ...] | None = None
    spacing_m: float | None = None
    row_spacing_m: float | None = None
    bearing_deg: float | None = None
    offset_m: float = 0.0
    edge_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Standing:
    """One plant and where it stands.

    Parameters
    ----------
    zone_id : name of what it was drawn under.
    is_set_out : the tool chose the place, a person did not point at it.
    """

    plant: Plant
    x: float
    y: float
    zone_id: str
    guild: str = ""
    is_set_out: bool = True


def laid_out(
    wanted: Sequence[DrawnPlanting], plants: Mapping[str, Plant], guilds: Mapping[str, Guild]
) -> tuple[list[Standing], list[Problem]]:
    """Set out everything that was drawn; what is wrong with a row is told with its name."""
    found: list[Standing] = []
    problems: list[Problem] = []
    for one in wanted:
        wrong = row_problems(one, plants, guilds)
        problems += wrong
        if not wrong:
            found += _laid(one, plants, guilds)
    return found, problems


def row_problems(
    drawn: DrawnPlanting, plants: Mapping[str, Plant], guilds: Mapping[str, Guild]
) -> list[Problem]:
    """Say which names of a drawn row are no plant or guild, and where plants would be countless."""
    problems = []
    for name in drawn.plants:
        if name in plants or name in guilds:
            continue
        near = get_close_matches(name, [*plants, *guilds], n=1)
        hint = f"did you mean {near[0]}?" if near else "add it to the plants file"
        message = f"{drawn.name}: there is no plant or guild {name}"
        problems.append(Problem(Severity.ERROR, message, hint, "plan", drawn.place))
    if problems:
        return problems
    asked_m = max(centre.spacing_m for centre in _centres(drawn, plants, guilds))
    spacing_m = drawn.spacing_m or asked_m
    each_m2 = spacing_m * (drawn.row_spacing_m or spacing_m)
    area_m2 = drawn.shape.area
    count = area_m2 / each_m2 if area_m2 else drawn.shape.length / spacing_m
    message = ""
    if spacing_m < asked_m / _CLOSEST:
        message = f"{spacing_m:g} m between plants that ask for {asked_m:g} m"
    elif count > _MOST:
        message = f"about {count:.0f} plants, more than {_MOST} in one row or zone"
    if message:
        mend = "correct spacing_m and row_spacing_m, which are in metres, or draw several zones"
        problem = Problem(Severity.ERROR, f"{drawn.name}: {message}", mend, "plan", drawn.place)
        problems.append(problem)
    return problems


def _centres(
    one: DrawnPlanting, plants: Mapping[str, Plant], guilds: Mapping[str, Guild]
) -> list[Plant]:
    return [plants[guilds[name].centre if name in guilds else name] for name in one.plants]


def _laid(
    one: DrawnPlanting, plants: Mapping[str, Plant], guilds: Mapping[str, Guild]
) -> list[Standing]:
    centres = _centres(one, plants, guilds)
    spacing_m = one.spacing_m or max(centre.spacing_m for centre in centres)
    is_point = one.shape.geom_type == "Point"
    found: list[Standing] = []
    for row in _rows(one, spacing_m):
        for at, (x, y) in enumerate(row):
            name, centre = one.plants[at % len(centres)], centres[at % len(centres)]
            guild = guilds.get(name)
            in_guild = guild.name if guild else ""
            found.append(Standing(centre, x, y, one.name, in_guild, is_set_out=not is_point))
            for companion in guild.companions if guild else ():
                ring = round_centre((x, y), companion.count, companion.radius_m)
                found += [
                    Standing(plants[companion.plant], float(a), float(b), one.name, in_guild)
                    for a, b in ring
                ]
    return found


def _rows(one: DrawnPlanting, spacing_m: float) -> list[list[tuple[float, float]]]:
    """Places of each row, in order."""
    shape = one.shape
    if shape.geom_type == "Point":
        return [[(shape.x, shape.y)]]
    if shape.geom_type in {"LineString", "MultiLineString"}:
        return [_pairs(along_line(shape, spacing_m, offset_m=one.offset_m))]
    inner = shape.buffer(-one.edge_m) if one.edge_m else shape
    if one.lines is not None:
        gap_m = one.row_spacing_m or spacing_m
        return [_pairs(along_line(part, spacing_m)) for part in _apart(one, inner, gap_m)]
    places, row_of = filled(
        inner, spacing_m, pattern=one.pattern, row_spacing_m=one.row_spacing_m,
        bearing_deg=one.bearing_deg,
    )  # fmt: skip
    return [_pairs(places[row_of == row]) for row in np.unique(row_of)]


def _apart(one: DrawnPlanting, inner: BaseGeometry, gap_m: float) -> list[BaseGeometry]:
    """Parts of the lines in the zone that lie no nearer to those before them than rows do."""
    found: list[BaseGeometry] = []
    taken: BaseGeometry = shapely.Polygon()
    for line in one.lines or ():
        beside = shapely.offset_curve(line, one.offset_m) if one.offset_m else line
        inside = shapely.intersection(beside, inner)
        free = shapely.line_merge(shapely.difference(inside, taken))
        parts = [part for part in shapely.get_parts(free) if part.geom_type == "LineString"]
        if parts:
            found += parts
            taken = shapely.union_all([taken, *shapely.buffer(parts, gap_m * (1 - _HAIR))])
    return found


def _pairs(places: NDArray[np.float64]) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in places]


@dataclass(frozen=True, slots=True)
class Around:
    """What plants must keep clear of.

    Parameters
    ----------
    inside : ground of the site.
    kept_clear : areas, setbacks included.
    buildings, pipes, water_lines, water_areas : shapes.
    line_clear_m, pipe_clear_m : distances to lines that lead water and, for trees and shrubs, to
        pipes [m].
    """

    inside: BaseGeometry
    kept_clear: tuple[BaseGeometry, ...]
    buildings: tuple[BaseGeometry, ...]
    pipes: tuple[BaseGeometry, ...]
    water_lines: tuple[BaseGeometry, ...]
    water_areas: tuple[BaseGeometry, ...]
    line_clear_m: float
    pipe_clear_m: float


def in_the_way(
    standing: Sequence[Standing], around: Around, on_mound: NDArray[np.bool_]
) -> list[list[str]]:
    """Return flag codes of what each place is too near to.

    Parameters
    ----------
    on_mound : bool (plants,): the place lies on the bank of a pond.
    """
    points = shapely.points([(one.x, one.y) for one in standing])
    woody = np.array([one.plant.is_woody for one in standing], dtype=bool)
    aquatic = np.array([one.plant.layer == "aquatic" for one in standing], dtype=bool)
    crown = np.array([one.plant.crown_m / 2 for one in standing])
    told = {
        "outside-boundary": ~shapely.intersects(around.inside, points),
        "in-setback": _distance(around.kept_clear, points) <= 0,
        "near-building": _distance(around.buildings, points) < crown,
        "near-pipe": woody & (_distance(around.pipes, points) < around.pipe_clear_m),
        "in-water": ~aquatic
        & (
            (_distance(around.water_lines, points) < around.line_clear_m)
            | (_distance(around.water_areas, points) <= 0)
        ),
        "on-mound": woody & on_mound,
    }
    return [[code for code, holds in told.items() if holds[at]] for at in range(len(standing))]


def _distance(shapes: Sequence[BaseGeometry], points: NDArray[np.object_]) -> NDArray[np.float64]:
    """Distance of each point to the nearest shape [m]; endless where there are none."""
    away = np.full(len(points), np.inf)
    if len(shapes) and len(points):
        pairs, nearest = shapely.STRtree(list(shapes)).query_nearest(
            points, return_distance=True, all_matches=False
        )
        away[pairs[0]] = nearest
    return away


@dataclass(frozen=True, slots=True)
class SetOut:
    """What is set out where nothing is in the way; what a person drew alone stays in any case.

    Parameters
    ----------
    standing : the plants.
    blocked : flag codes of what each is too near to.
    left_out : places that were left out, by zone and plant.
    """

    standing: list[Standing]
    blocked: list[list[str]]
    left_out: Counter[tuple[str, Plant]]

    def told(self) -> list[Problem]:
        """Say how many places were left out."""
        if not self.left_out:
            return []
        count = self.left_out.total()
        places, every = counted(count, "place"), len(self.standing) + count
        return [
            Problem(
                Severity.NOTICE,
                f"{places} of {every} were left out: something is in the way there",
                "see left_out of plant_schedule; draw what must stand there in drawn_plants",
                "planting",
            )
        ]


def set_out(every: Sequence[Standing], around: Around, on_mound: NDArray[np.bool_]) -> SetOut:
    """Leave out what would be set out where something is in the way; see `in_the_way`."""
    found = SetOut([], [], Counter())
    for one, why in zip(every, in_the_way(every, around, on_mound), strict=True):
        if one.is_set_out and why:
            found.left_out[one.zone_id, one.plant] += 1
        else:
            found.standing.append(one)
            found.blocked.append(why)
    return found
