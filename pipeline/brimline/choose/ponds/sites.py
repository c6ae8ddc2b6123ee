"""Search the ground for places where a bank holds much water for little earth."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
import shapely
from scipy import ndimage

from brimline._jit import side_by_side, thread_count
from brimline.choose.ponds import _kernels
from brimline.drainage.flow import checked_directions
from brimline.grid import checked_elevation, checked_same_shape, read_only
from brimline.terrain.smooth import smoothed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.choose.ponds.rules import BankRules
    from brimline.grid import Accumulation, BoolGrid, Directions, Elevation, Grid

SiteKind = Literal["valley", "bench", "hillside"]

_DOWN_M: Final = 15.0  # way of the water that tells which way a valley runs
_BENCH_SMOOTH_M: Final = 6.0  # of the ground before its slope is told
_BENCH_SHARE: Final = 0.6  # of the slope around it: gentler ground is a bench
_AROUND: Final = 4.0  # that slope is a mean over so many reaches
_FLATTEST_PCT: Final = 0.5  # flatter ground has no way down for a bank to lie across
_CHUNK: Final = 2048  # places that one call of a kernel looks at


@dataclass(frozen=True, slots=True)
class BankStage:
    """A bank of one height at a place.

    Parameters
    ----------
    depth_m : of the water at the middle of the bank [m].
    level_m, crest_m : of the water when full, and of the settled crest [m].
    storage_m3 : behind the bank's axis, over the ground as surveyed [m³].
    water_m2 : surface of the water [m²].
    fill_m3 : of the bank, allowance for settling included [m³].
    length_m : of the bank along its crest [m].
    height_m : crest over the lowest ground on the bank's axis [m].
    """

    depth_m: float
    level_m: float
    crest_m: float
    storage_m3: float
    water_m2: float
    fill_m3: float
    length_m: float
    height_m: float

    @property
    def storage_per_earth(self) -> float:
        """Water held for each cubic metre of bank."""
        return self.storage_m3 / self.fill_m3


@dataclass(frozen=True, slots=True, eq=False)
class PondSite:
    """A place for a pond.

    Parameters
    ----------
    kind : in a valley's floor, on ground gentler than what lies around it, or on an even slope.
    cell : row and column of the bank's middle.
    bank : axis of the bank.
    wet : int64 (2, cells); rows and columns under water when full.
    best : the stage that it is ranked by.
    stages : all that the same bank could be raised to, rising.
    catchment_m2 : ground that drains across the bank [m²].
    pays : water of a year that it could hold, for each cubic metre of bank; what it is ranked by.
    """

    kind: SiteKind
    cell: tuple[int, int]
    bank: shapely.LineString
    wet: NDArray[np.int64] = field(repr=False)
    best: BankStage
    stages: tuple[BankStage, ...]
    catchment_m2: float
    pays: float


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """What kernels are given of the ground."""

    dem: Elevation
    allowed: NDArray[np.uint8]
    codes: Directions
    area: Accumulation

    @property
    def arrays(self) -> tuple[Any, ...]:
        return self.dem, self.allowed, self.codes, self.area


def pond_sites(
    dem: Elevation,
    directions: Directions,
    area_m2: Accumulation,
    grid: Grid,
    rules: BankRules,
    *,
    allowed: BoolGrid | None = None,
    yearly_mm: float | None = None,
) -> list[PondSite]:
    """Find the places where a bank holds most water for its earth.

    A bank is a straight axis that runs on both sides until the ground comes up to its crest; where
    that does not happen within a half-length it turns square up the slope. Banks are tried on every
    cell of every valley floor, in all directions and at all depths, and on every cell of a hillside
    whose slope is the gentlest around. What stands behind each is told by flooding the ground. A
    place is dropped where the water would run out round the bank, leave the allowed ground, or
    reach farther than the rules say.

    Places are ranked by the water that they hold, or that a mean year brings if that is less, for
    each cubic metre of bank. Of places whose water or bank would overlap, the better stands.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; the surface as surveyed, NaN is nodata.
    directions : uint8 (rows, cols); codes of `brimline.grid.neighbours`.
    area_m2 : float64 (rows, cols); contributing area [m²].
    allowed : bool (rows, cols), where banks and water may lie; everywhere if left out.
    yearly_mm : runoff of a mean year [mm]; left out, water is taken to suffice.

    Returns
    -------
    Best first, at most `rules.most`. Storage is that behind the bank's axis over the ground as
    surveyed: the bank's water-side batter takes some of it, and the pit that its fill is dug from,
    if that lies under water, gives more.

    Raises
    ------
    GridError
        If an array does not lie on the grid.
    """
    surface = checked_elevation(dem)
    codes = checked_directions(directions)
    free = np.ones(surface.shape, dtype=np.uint8) if allowed is None else allowed.astype(np.uint8)
    checked_same_shape(dem=surface, directions=codes, area_m2=area_m2, allowed=free)
    area = np.ascontiguousarray(area_m2, dtype=np.float64)
    ground = _Ground(surface, read_only(free), read_only(codes), read_only(area))
    row, col, up, kinds = _candidates(ground, grid, rules)
    search = _BankSearch(ground, grid, rules)
    fill, way = search.banks(row, col, up)
    held, drains = search.storages(row, col, up, way)
    with np.errstate(divide="ignore", invalid="ignore"):
        counts = held if yearly_mm is None else np.minimum(held, drains * yearly_mm / 1000.0)
        pays = np.where(held >= rules.least_m3, counts / fill, -np.inf)
    pays[~np.isfinite(pays)] = -np.inf
    return search.chosen(row, col, up, kinds, way, pays)


def _candidates(
    ground: _Ground, grid: Grid, rules: BankRules
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64], NDArray[np.int8]]:
    """Cells where banks are tried, the way up the slope at each, and its kind."""
    known = np.isfinite(ground.dem) & (ground.allowed > 0)
    valley = known & (ground.area >= rules.path_area_m2)  # nodata compares False
    row, col = np.nonzero(valley)
    steps = np.int64(max(round(_DOWN_M / grid.cell_m), 1))
    up = _kernels.ways_up(ground.codes, row, col, steps)
    calm = smoothed(ground.dem, cell_m=grid.cell_m, sigma_m=_BENCH_SMOOTH_M).astype(np.float64)
    rise_row, rise_col = np.gradient(calm, grid.cell_m)
    slope = np.hypot(rise_row, rise_col)
    even = np.where(np.isfinite(slope), slope, np.inf)
    size = 2 * max(round(rules.bench_reach_m / grid.cell_m), 1) + 1
    least = ndimage.minimum_filter(even, size=size, mode="nearest")
    gentle = known & ~valley & (even == least) & (even <= rules.steepest_pct / 100)
    gentle &= even >= _FLATTEST_PCT / 100
    b_row, b_col = np.nonzero(gentle)
    there = np.isfinite(slope)
    wide = int(_AROUND * size)
    weight = ndimage.uniform_filter(there.astype(np.float64), wide, mode="nearest")
    mean = ndimage.uniform_filter(np.where(there, slope, 0.0), wide, mode="nearest")
    around = (mean / np.maximum(weight, 1e-9))[b_row, b_col]
    on = slope[b_row, b_col]
    b_up = np.column_stack([rise_row[b_row, b_col], rise_col[b_row, b_col]]) / on[:, None]
    kinds = np.concatenate(
        [np.zeros(len(row), np.int8), np.where(on < _BENCH_SHARE * around, 1, 2).astype(np.int8)]
    )
    return (
        np.concatenate([row, b_row]),
        np.concatenate([col, b_col]),
        np.concatenate([up, b_up]),
        kinds,
    )


_KINDS: Final[tuple[SiteKind, ...]] = ("valley", "bench", "hillside")


class _BankSearch:
    """Banks over one ground by one set of rules."""

    def __init__(self, ground: _Ground, grid: Grid, rules: BankRules) -> None:
        self._ground, self._grid, self._rules = ground, grid, rules
        cell_m = grid.cell_m
        self._depths = read_only(np.array(rules.depths_m))
        self._section = read_only(np.array([rules.top_m, rules.batters]))
        turns = [max(round(half / cell_m), 1) for half in rules.half_lengths_m]
        self._turns = read_only(np.array(turns, dtype=np.float64))
        self._wing = np.int64(round(rules.wing_m / cell_m))
        self._ways = np.int64(rules.ways)
        reach = round(rules.reach_m / cell_m)
        self._size = np.int64(2 * min(reach, max(grid.shape)) + 1)

    def banks(
        self, row: NDArray[np.int64], col: NDArray[np.int64], up: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
        """Fill [m³] and direction of the cheapest bank at each place and depth."""

        def some(part: slice) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
            found: tuple[NDArray[np.float64], NDArray[np.int32]] = _kernels.cheapest_ways(
                self._ground.dem, self._ground.allowed, row[part], col[part], up[part],
                self._depths, self._rules.over_m, self._section, self._ways, self._turns,
                self._wing,
            )  # fmt: skip
            return found

        found = side_by_side([partial(some, part) for part in _parts(len(row))])
        count = len(self._depths)
        fill = np.concatenate([np.empty((0, count)), *(one for one, _ in found)])
        way = np.concatenate([np.empty((0, count), np.int32), *(one for _, one in found)])
        return fill * self._fill_scale, way

    def storages(
        self,
        row: NDArray[np.int64],
        col: NDArray[np.int64],
        up: NDArray[np.float64],
        way: NDArray[np.int32],
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Storage [m³] behind each of those banks and the ground that drains to it [m²]."""

        def some(part: slice) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
            found: tuple[NDArray[np.float64], NDArray[np.float64]] = _kernels.storages(
                *self._ground.arrays, row[part], col[part], up[part], self._depths,
                self._rules.over_m, self._section, self._ways, self._turns, self._wing,
                way[part], self._size,
            )  # fmt: skip
            return found

        found = side_by_side([partial(some, part) for part in _parts(len(row))])
        count = len(self._depths)
        held = np.concatenate([np.empty((0, count)), *(one for one, _ in found)])
        drains = np.concatenate([np.empty((0, count)), *(one for _, one in found)])
        return held * self._grid.cell_area_m2, drains

    @property
    def _fill_scale(self) -> float:
        return self._grid.cell_m * (1.0 + self._rules.settlement_share)

    def chosen(
        self,
        row: NDArray[np.int64],
        col: NDArray[np.int64],
        up: NDArray[np.float64],
        kinds: NDArray[np.int8],
        way: NDArray[np.int32],
        pays: NDArray[np.float64],
    ) -> list[PondSite]:
        """Take places from the best down, none on the ground of another."""
        flat = pays.ravel()
        order = np.argsort(-flat, kind="stable")
        order = order[np.isfinite(flat[order])]
        places = _kernels.picked(
            *self._ground.arrays, row, col, up, self._depths, self._rules.over_m, self._section,
            self._ways, self._turns, self._wing, way, self._size, order, self._rules.most,
        )  # fmt: skip
        return [
            self._site(
                (int(row[n]), int(col[n])), up[n], int(way[n, k]), int(k), _KINDS[kinds[n]],
                float(pays[n, k]),
            )
            for n, k in zip(*np.unravel_index(places, pays.shape), strict=True)
        ]  # fmt: skip

    def _site(
        self,
        cell: tuple[int, int],
        up: NDArray[np.float64],
        way: int,
        best: int,
        kind: SiteKind,
        pays: float,
    ) -> PondSite:
        """Work one place out in full: the curve of its bank, its outline and what drains to it."""
        rules, cell_m, dem = self._rules, self._grid.cell_m, self._ground.dem
        row, col = cell
        angle = np.pi * (way % rules.ways) / rules.ways
        turn = float(self._turns[way // rules.ways])
        arms, _ = _kernels.arms_of(row, col, angle, float(up[0]), float(up[1]), turn)
        stages: list[BankStage] = []
        chosen: tuple[BankStage, NDArray[np.int64], shapely.LineString, float] | None = None
        for k, depth_m in enumerate(rules.depths_m):
            level = float(dem[cell]) + depth_m
            fill, reaches = _kernels.bank_reaches(
                dem, self._ground.allowed, arms, np.int64(turn + self._wing),
                level + rules.over_m, self._section,
            )  # fmt: skip
            if not np.isfinite(reaches).all():
                continue
            rows, cols, volume, across, holds = _kernels.one_pool(
                *self._ground.arrays, row, col, arms, reaches, level, self._size
            )
            if not holds:
                continue
            bank = self._line(arms, reaches)
            stage = BankStage(
                depth_m=depth_m,
                level_m=level,
                crest_m=level + rules.over_m,
                storage_m3=volume * self._grid.cell_area_m2,
                water_m2=len(rows) * self._grid.cell_area_m2,
                fill_m3=fill * self._fill_scale,
                length_m=float(reaches.sum()) * cell_m,
                height_m=level + rules.over_m - self._lowest(arms, reaches),
            )
            stages.append(stage)
            if k == best:
                chosen = stage, np.stack([rows, cols]), bank, float(across)
        assert chosen is not None  # it was held in the search
        return PondSite(kind, cell, chosen[2], chosen[1], chosen[0], tuple(stages), chosen[3], pays)

    def _line(self, arms: NDArray[np.float64], reaches: NDArray[np.float64]) -> shapely.LineString:
        """Axis of a bank, from the end of its second arm to that of its first."""
        places = []
        for side, way in ((1, -1), (0, 1)):
            turns = [t for t in (arms[side, 6],) if t < reaches[side]]
            marks = [0.0, *turns, float(reaches[side])]
            one = [_kernels.arm_place(arms[side], t) for t in marks[1:]]
            places += one[::way] if way < 0 else one
        rows, cols = np.array(places).T
        return shapely.LineString(np.column_stack(self._grid.xy(rows, cols)))

    def _lowest(self, arms: NDArray[np.float64], reaches: NDArray[np.float64]) -> float:
        levels = [
            _kernels.level_at(self._ground.dem, *_kernels.arm_place(arms[side], float(t)))
            for side in range(2)
            for t in range(int(reaches[side]) + 1)
        ]
        return float(np.nanmin(levels))


def _parts(count: int) -> list[slice]:
    """Parts of the places for calls side by side: the same for every number of threads."""
    size = max(_CHUNK, -(-count // (8 * thread_count()))) if count else 1
    return [slice(first, min(first + size, count)) for first in range(0, count, size)]
