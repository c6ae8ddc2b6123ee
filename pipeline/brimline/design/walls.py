"""What a design does to walls and kerbs that stand: digs them away, undermines or loads them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.cascade import Finding
from brimline.elements import Tank
from brimline.grid.shapes import cells_inside
from brimline.lines.sample import along
from brimline.terrain.objects import wall_heights

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from brimline.design.earth import DesignedGround
    from brimline.grid import Elevation, Grid

_STEP_M: Final = 0.1  # along a wall, and away from it
_REACH_M: Final = 2.0  # beside a wall; deeper digs are told as deep digs anyhow
_MOVED_M: Final = 0.03  # less is within what a survey tells
_HEAPED_M: Final = 0.2  # against a wall that was not built to hold ground (common practice)


@dataclass(frozen=True, slots=True, eq=False)
class StandingWall:
    """A wall or kerb as it stands.

    Parameters
    ----------
    height_m : over the ground beside it [m].
    """

    name: str
    line: shapely.LineString
    height_m: float


@dataclass(frozen=True, slots=True, eq=False)
class StandingWalls:
    """All walls of a site, and where on its grid they rise over the ground.

    Parameters
    ----------
    cells : int64 (cells,), places in a flat grid.
    heights_m : float32 (cells,), over the ground [m].
    """

    walls: tuple[StandingWall, ...]
    cells: NDArray[np.int64]
    heights_m: NDArray[np.float32]

    @classmethod
    def of(cls, walls: Sequence[StandingWall], grid: Grid) -> StandingWalls:
        """Lay walls on a grid."""
        lines = ((cells_inside([one.line], grid, all_touched=True), one.height_m) for one in walls)
        heights = wall_heights(grid.shape, lines).ravel()
        cells = np.flatnonzero(heights)
        return cls(tuple(walls), cells, heights[cells])

    def taken_off(self, surface: Elevation) -> Elevation:
        """Return the ground that a surface with the walls on it, (rows, cols), leaves [m]."""
        if not self.cells.size:
            return surface
        bare = surface.ravel().copy()
        bare[self.cells] -= self.heights_m
        return bare.reshape(surface.shape)

    def put_on(self, made_m: Elevation, ground_m: Elevation, factor: int = 1) -> Elevation:
        """Stand the walls on a designed surface, but for where the ground beneath is dug away.

        Parameters
        ----------
        made_m, ground_m : float32 (factor * rows, factor * cols), designed and bare ground [m].
        factor : parts that the side of a cell is split into.
        """
        if not self.cells.size:
            return made_m
        rows, cols = np.divmod(self.cells, made_m.shape[1] // factor)
        walled = made_m.copy()
        for down, right in np.ndindex(factor, factor):
            at = rows * factor + down, cols * factor + right
            stands = made_m[at] >= ground_m[at] - _MOVED_M
            top = np.maximum(made_m[at], ground_m[at] + self.heights_m)
            walled[at] = np.where(stands, top, made_m[at])
        return walled


@dataclass(slots=True)
class _Touch:
    """What one element does along one wall, each by its length or its worst."""

    cut_m: float = 0.0
    under_m: float = 0.0  # how deep the dig is
    under_off_m: float = 0.0  # how far from the wall, there
    heaped_m: float = 0.0


def at_walls(site: DesignedGround, walls: Iterable[StandingWall]) -> Iterator[Finding]:
    """Find walls that elements dig away, dig beneath, or heap earth against.

    A dig endangers a wall where it is deeper than it is far from it: it cuts the ground that
    spreads the wall's load at 45° (common practice, no source). A wall's foot is taken to lie at
    the level of the ground; pits and trenches count as they are while they are open.

    Parameters
    ----------
    site : on ground without the walls.
    """
    for wall in walls:
        found: dict[str, _Touch] = {}
        _on_the_ground(site, wall, found)
        _in_the_ground(site, wall, found)
        for name, touch in found.items():
            yield from _told(name, wall, touch)


def _on_the_ground(site: DesignedGround, wall: StandingWall, found: dict[str, _Touch]) -> None:
    """Compare the designed surface with the ground on the wall and beside it."""
    middle = along(wall.line, _STEP_M)
    names = site.ready.elements
    change, owner = _change(site, middle)
    step_m = wall.line.length / max(len(middle) - 1, 1)
    for label in np.unique(owner[change < -_MOVED_M]):
        mine = (owner == label) & (change < -_MOVED_M)
        found.setdefault(names[label - 1], _Touch()).cut_m += float(mine.sum()) * step_m
    if len(middle) < 2:
        return
    forward = np.gradient(middle, axis=0)
    sideways = np.column_stack([-forward[:, 1], forward[:, 0]])
    sideways /= np.maximum(np.hypot(*sideways.T), 1e-12)[:, None]
    for off_m in np.arange(_STEP_M, _REACH_M, _STEP_M):
        for side in (-1.0, 1.0):
            change, owner = _change(site, middle + side * off_m * sideways)
            for label in np.unique(owner[owner > 0]):
                touch = found.setdefault(names[label - 1], _Touch())
                here = change[owner == label]
                deep_m = float(-here.min())
                if deep_m - off_m > touch.under_m - touch.under_off_m:
                    touch.under_m, touch.under_off_m = deep_m, float(off_m)
                touch.heaped_m = max(touch.heaped_m, float(here.max()))


def _change(
    site: DesignedGround, points: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Designed level over the ground at points [m], and whose earth that is; 0 is nobody's."""
    x, y = points.T
    ground = site.ground(x, y)
    made = site.ready.at(x, y, ground)
    return np.nan_to_num(made.level_m - ground), np.maximum(made.dug_by, made.heaped_by)


def _in_the_ground(site: DesignedGround, wall: StandingWall, found: dict[str, _Touch]) -> None:
    """Take pits and trenches, which are filled again."""
    digs = []
    for one in site.design.placed:
        tank = one.element.shape
        if isinstance(tank, Tank) and tank.pit is not None:
            bottom = one.shape.centroid.buffer(tank.pit_side_m / 2, cap_style="square")
            digs.append((one.name, tank.pit.depth_m, float(bottom.distance(wall.line))))
    for trench in site.trenches:
        points = along(trench.line, _STEP_M)
        at = shapely.line_locate_point(trench.line, shapely.points(points))
        depth = np.nan_to_num(site.ground(*points.T) - trench.bottom_m(at))
        off = shapely.distance(shapely.points(points), wall.line) - trench.wide_m / 2
        off = np.maximum(off, 0.0)
        worst = int(np.argmax(depth - off))
        digs.append((trench.element_id, float(depth[worst]), float(off[worst])))
    for name, deep_m, off_m in digs:
        touch = found.setdefault(name, _Touch())
        if deep_m - off_m > touch.under_m - touch.under_off_m:
            touch.under_m, touch.under_off_m = deep_m, off_m


def _told(name: str, wall: StandingWall, touch: _Touch) -> Iterator[Finding]:
    if touch.cut_m > 0:
        text = f"digs {touch.cut_m:.1f} m of {wall.name} away, which stops no water there any more"
        yield Finding("cuts-wall", name, text)
    elif touch.under_m > touch.under_off_m + _MOVED_M:
        text = f"is dug {touch.under_m:.2f} m deep {touch.under_off_m:.1f} m from {wall.name}"
        yield Finding("undermines-wall", name, text)
    if touch.heaped_m > _HEAPED_M:
        text = f"heaps {touch.heaped_m:.2f} m of earth within {_REACH_M:g} m of {wall.name}"
        yield Finding("loads-wall", name, text)
