"""The as-built survey held against the designed surface: by how much it differs, and where.

Built and designed level are compared where the survey is, not where a stake is. A surface is
compared with the design drawn on its own cells, so that what cells cannot resolve of a steep side
cancels out; a point is compared with the design at its own place, so that a pole held a little
beside a stake does no harm. The difference is then carried to the stake.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np
import shapely
from scipy import ndimage

from brimline.as_built.levels import SillLine
from brimline.lines.sample import on_grid, surface_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.as_built.levels import Asked
    from brimline.grid import Elevation, Grid
    from brimline.terrain.shaping import DesignSurface, LevelsAt

_SAME_PART_M: Final = 0.10  # a point whose designed level is this near a stake's is on its part
_CLEAR_M: Final = 1.0  # of any digging, for ground that nobody touched
_SILL_STEP_M: Final = 0.1
_CREST_STEP_M: Final = 0.5
_GAP: Final = 1.6  # times the usual distance: no crest is read between stakes farther apart
_NAMED: Final = 4  # times the usual reach: so far off, a point may still bear a stake's name
_ROLES: Final = frozenset({"sill", "floor", "crest", "edge"})


@dataclass(frozen=True, slots=True)
class FoundLevel:
    """A difference at a stake, and what it was taken from.

    Parameters
    ----------
    difference_m : built less asked; NaN where nothing lies near enough [m].
    distance_m : to the surveyed point; NaN for a surface [m].
    """

    difference_m: float
    distance_m: float = math.nan
    point: str = ""


class PointsWithLevels(Protocol):
    """Surveyed points in the run's CRS: place and level, name and role as written [m]."""

    @property
    def x(self) -> NDArray[np.float64]: ...  # noqa: D102
    @property
    def y(self) -> NDArray[np.float64]: ...  # noqa: D102
    @property
    def level_m(self) -> NDArray[np.float64]: ...  # noqa: D102
    @property
    def name(self) -> tuple[str, ...]: ...  # noqa: D102
    @property
    def role(self) -> tuple[str, ...]: ...  # noqa: D102


class Differences(Protocol):
    """By how much what was built differs from what was designed."""

    def error_of_mean_m(self, survey_error_m: float, count: int) -> float:
        """Return the standard error of the mean of so many levels of one element [m]."""
        ...

    def at(self, asked: Asked) -> FoundLevel:
        """Return the difference at a stake."""
        ...

    def along_sill(self, ends: NDArray[np.float64], level_m: float) -> SillLine | None:
        """Return a sill as built between its two ends; None where it was not surveyed."""
        ...

    def along_crest(
        self, crest: Sequence[Asked], design: LevelsAt, least_m: float
    ) -> NDArray[np.float64]:
        """Return differences along a crest, between its stakes too.

        Parameters
        ----------
        design, least_m : designed level at points; lower ones are a sill's notch, not the crest.
        """
        ...

    def over(
        self, element_id: str, x: NDArray[np.float64], y: NDArray[np.float64]
    ) -> NDArray[np.float64] | None:
        """Return differences over the inside of an element; None where it was not surveyed."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class FromSurface:
    """Differences of a surveyed surface.

    Parameters
    ----------
    change_m : float32 (rows, cols) on `grid`, built less designed [m]; NaN is not surveyed.
    """

    change_m: Elevation
    grid: Grid

    def error_of_mean_m(self, survey_error_m: float, count: int) -> float:  # noqa: ARG002
        """See `Differences`; the errors of a surface are alike over an element."""
        return survey_error_m

    def at(self, asked: Asked) -> FoundLevel:
        """See `Differences`."""
        return FoundLevel(float(surface_at(self.change_m, self.grid, asked.x, asked.y)))

    def along_sill(self, ends: NDArray[np.float64], level_m: float) -> SillLine | None:
        """See `Differences`."""
        width = float(np.hypot(*(ends[1] - ends[0])))
        count = max(2, math.ceil(width / _SILL_STEP_M) + 1)
        share = np.linspace(0.0, 1.0, count)
        points = ends[0] + share[:, np.newaxis] * (ends[1] - ends[0])
        found = surface_at(self.change_m, self.grid, points[:, 0], points[:, 1])
        if not np.isfinite(found).all():
            return None
        readings = math.ceil(width / self.grid.cell_m) + 1
        return SillLine(share * width, level_m + found, readings)

    def along_crest(
        self, crest: Sequence[Asked], design: LevelsAt, least_m: float
    ) -> NDArray[np.float64]:
        """See `Differences`."""
        points = shapely.get_coordinates(
            [shapely.segmentize(line, _CREST_STEP_M) for line in crest_lines(crest)]
        )
        if not len(points):
            points = np.array([(one.x, one.y) for one in crest]).reshape(-1, 2)
        points = points[design(points[:, 0], points[:, 1]) >= least_m]
        found = surface_at(self.change_m, self.grid, points[:, 0], points[:, 1])
        return np.asarray(found[np.isfinite(found)])

    def over(
        self,
        element_id: str,  # noqa: ARG002 - the surface does not ask whose it is
        x: NDArray[np.float64],
        y: NDArray[np.float64],
    ) -> NDArray[np.float64] | None:
        """See `Differences`."""
        found = surface_at(self.change_m, self.grid, x, y)
        known = np.isfinite(found)
        if known.mean() < 0.8:
            return None
        return np.where(known, found, np.median(found[known]))


def surface_change(
    ready: DesignSurface, built_m: Elevation, built_grid: Grid, *, refine: int, settled: bool
) -> tuple[FromSurface, NDArray[np.bool_]]:
    """Hold a surveyed surface against the design on the survey's own cells.

    Parameters
    ----------
    refine : parts that a cell of the run is split into; the survey's cells are split as finely.
    settled : whether banks had settled.

    Returns
    -------
    differences; and bool (rows, cols), cells a metre clear of all that was to be built.
    """
    ground = on_grid(ready.dem, ready.grid, built_grid)
    factor = max(2, round(refine * built_grid.cell_m / ready.grid.cell_m))
    shaped = replace(ready, dem=ground, grid=built_grid).surface(factor=factor, built=not settled)
    change = built_m.astype(np.float64) - shaped.design_m
    free = (shaped.dug_by == 0) & (shaped.heaped_by == 0)
    untouched = np.isfinite(change) & free
    if not free.all():
        clear_m = ndimage.distance_transform_edt(free) * built_grid.cell_m
        untouched &= clear_m > max(_CLEAR_M, built_grid.cell_m)
    return FromSurface(change.astype(np.float32), built_grid), untouched


@dataclass(frozen=True, slots=True, eq=False)
class FromPoints:
    """Differences of surveyed points.

    Parameters
    ----------
    x, y, change_m, design_m : float64 (n,); place, built less designed and designed level there;
        NaN where nothing is designed or surveyed before [m].
    name, role : as surveyed; a role that is one of ours binds the point to stakes of that role.
    owner : element whose digging or heap each lies on; empty for none.
    floors_m : designed level of the floor by element [m].
    reach_m : how near a point must lie to what it speaks for [m].
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    change_m: NDArray[np.float64]
    design_m: NDArray[np.float64]
    name: tuple[str, ...]
    role: tuple[str, ...]
    owner: tuple[str, ...]
    floors_m: dict[str, float]
    reach_m: float

    def error_of_mean_m(self, survey_error_m: float, count: int) -> float:
        """See `Differences`; each point errs by itself."""
        return survey_error_m / math.sqrt(max(count, 1))

    def at(self, asked: Asked) -> FoundLevel:
        """See `Differences`; a point that bears a stake's name speaks for it first."""
        apart = np.hypot(self.x - asked.x, self.y - asked.y)
        reach = asked.reach_m or self.reach_m
        fits = (apart <= reach) & (np.abs(self.design_m - asked.level_m) <= _SAME_PART_M)
        fits &= [role not in _ROLES or asked.role.startswith(role) for role in self.role]
        named = [place for place, name in enumerate(self.name) if name == asked.stake_id]
        near = [place for place in named if apart[place] <= max(reach, _NAMED * self.reach_m)]
        if not near:
            near = np.flatnonzero(fits & np.isfinite(self.change_m)).tolist()
        if not near:
            return FoundLevel(math.nan)
        best = min(near, key=lambda place: float(apart[place]))
        return FoundLevel(float(self.change_m[best]), float(apart[best]), self.name[best])

    def along_sill(self, ends: NDArray[np.float64], level_m: float) -> SillLine | None:
        """See `Differences`; between points, and from the outermost to the ends, it is even."""
        across = ends[1] - ends[0]
        width = float(np.hypot(*across))
        east, north = self.x - ends[0, 0], self.y - ends[0, 1]
        along = (east * across[0] + north * across[1]) / width
        aside = np.abs(east * across[1] - north * across[0]) / width
        fits = (aside <= self.reach_m) & (along >= -self.reach_m) & (along <= width + self.reach_m)
        fits &= np.abs(self.design_m - level_m) <= _SAME_PART_M
        fits &= np.isfinite(self.change_m)
        if not fits.any():
            return None
        order = np.argsort(along[fits], kind="stable")
        places = np.clip(along[fits][order], 0.0, width)
        levels = level_m + self.change_m[fits][order]
        places = np.concatenate([[0.0], places, [width]])
        levels = np.concatenate([levels[:1], levels, levels[-1:]])
        count = int(fits.sum())
        return SillLine(places, levels, count, count)

    def along_crest(
        self, crest: Sequence[Asked], design: LevelsAt, least_m: float
    ) -> NDArray[np.float64]:
        """See `Differences`."""
        lines = crest_lines(crest)
        shapes = lines or [shapely.Point(one.x, one.y) for one in crest]
        if not shapes:
            return np.zeros(0)
        apart = shapely.distance(shapely.union_all(shapes), shapely.points(self.x, self.y))
        fits = (apart <= self.reach_m) & (design(self.x, self.y) >= least_m)
        found = self.change_m[fits]
        return np.asarray(found[np.isfinite(found)])

    def over(
        self, element_id: str, x: NDArray[np.float64], y: NDArray[np.float64]
    ) -> NDArray[np.float64] | None:
        """See `Differences`; from points on the floor and sides, triangles between them."""
        from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator
        from scipy.spatial import QhullError

        mine = np.array([owner == element_id for owner in self.owner])
        mine &= np.isfinite(self.change_m)
        floor_m = self.floors_m.get(element_id, math.nan)
        if not (mine & (self.design_m <= floor_m + _SAME_PART_M)).any():
            return None
        places = np.column_stack([self.x[mine], self.y[mine]])
        values = self.change_m[mine]
        found = NearestNDInterpolator(places, values)(x, y)
        if len(places) >= 4:
            try:
                between = LinearNDInterpolator(places, values)(x, y)
            except QhullError:  # all on one line
                return np.asarray(found)
            found = np.where(np.isfinite(between), between, found)
        return np.asarray(found)


def crest_lines(crest: Sequence[Asked]) -> list[shapely.LineString]:
    """Join neighbouring stakes of a crest; where some are missing it is broken."""
    if len(crest) < 2:
        return []
    order = sorted(crest, key=lambda one: one.chainage_m)
    gaps = np.diff([one.chainage_m for one in order])
    usual = float(np.median(gaps))
    return [
        shapely.LineString([(one.x, one.y), (other.x, other.y)])
        for one, other, gap in zip(order, order[1:], gaps, strict=False)
        if 0 < gap <= _GAP * usual
    ]


def points_change(
    ready: DesignSurface,
    ground: LevelsAt,
    points: PointsWithLevels,
    *,
    floors_m: dict[str, float],
    reach_m: float,
    settled: bool,
) -> tuple[FromPoints, NDArray[np.bool_]]:
    """Hold surveyed points against the design at their own places.

    Returns
    -------
    differences; and bool (n,), points on ground on which nothing was to be built.
    """
    x, y = points.x, points.y
    here = ready.at(x, y, ground(x, y), built=not settled)
    labels = np.where(here.dug_by > 0, here.dug_by, here.heaped_by)
    owner = tuple(ready.elements[label - 1] if label else "" for label in labels.tolist())
    change = points.level_m - here.level_m
    free = np.isfinite(change) & (labels == 0)
    for turn in np.arange(8) * math.pi / 4:  # nor near any digging
        east, north = x + _CLEAR_M * math.cos(turn), y + _CLEAR_M * math.sin(turn)
        beside = ready.at(east, north, ground(east, north))
        free &= (beside.dug_by == 0) & (beside.heaped_by == 0)
    roles = tuple(role.casefold().rstrip("0123456789") for role in points.role)
    found = FromPoints(x, y, change, here.level_m, points.name, roles, owner, floors_m, reach_m)
    return found, free


def without(
    differences: FromSurface | FromPoints, shift_m: float | NDArray[np.float64]
) -> FromSurface | FromPoints:
    """Return differences with a shift of the whole survey, one number or a surface, taken off."""
    if isinstance(differences, FromPoints):
        return replace(differences, change_m=differences.change_m - shift_m)
    return replace(differences, change_m=(differences.change_m - shift_m).astype(np.float32))
