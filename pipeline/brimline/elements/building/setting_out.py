"""Which stakes an element needs, and the error of level that each of them bears."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.elements.building.pads import grid_inside
from brimline.lines.staking import (
    ANY_ERROR,
    BuildLimits,
    Reason,
    Stations,
    Tolerance,
    crest_tolerance,
    fall_tolerance,
    floor_tolerance,
    offset_stakes,
    sill_tolerance,
    stakes_on,
    stations_along,
    stations_around,
    storage_error_m,
)
from brimline.terrain.shaping import Bank, Bowl, Channel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.lines.staking import Stake
    from brimline.terrain.shaping import DesignSurface, LevelsAt, Placed

_USUAL: Final = BuildLimits()
_SAME_M: Final = 0.001
_STEP_M: Final = 0.1  # along a sill, to find the crest that it opens


@dataclass(frozen=True, slots=True)
class Margins:
    """Levels that an element's own levels must keep clear of [m].

    Parameters
    ----------
    peak_level_m : highest water in any storm.
    feeder_levels_m : spill levels of the elements that spill to it.
    receiver_level_m : spill level of what it spills to; minus infinity where that is not known.
    storage_m3 : to its spill level; NaN where its levels cost none [m³].
    """

    spill_level_m: float
    floor_level_m: float
    crest_level_m: float
    peak_level_m: float
    feeder_levels_m: tuple[float, ...] = ()
    receiver_level_m: float = -math.inf
    storage_m3: float = math.nan


_NO_WATER: Final = Margins(math.inf, -math.inf, math.inf, -math.inf)


@dataclass(frozen=True, slots=True)
class StakeSpacing:
    """How stakes are spaced.

    Parameters
    ----------
    interval_m, turn_deg : as `stations_along`.
    clear_m : offset stakes stand this far outside the digging; 0 sets none [m].
    """

    interval_m: float = 5.0
    turn_deg: float = 15.0
    clear_m: float = 3.0


def set_out(
    ready: DesignSurface,
    label: int,
    ground: LevelsAt,
    margins: Margins | None,
    spacing: StakeSpacing,
    limits: BuildLimits = _USUAL,
) -> list[Stake]:
    """Put stakes on an element: floor, crest and edge lines, and both ends of every sill.

    Levels are those of the whole design at the stake, exact rather than a grid's.

    Parameters
    ----------
    label : number of the element in the design.
    margins : None for a pad, which holds no water.
    limits : how far built levels may be off; a stake's tolerance is the least of its limit, of the
        error that costs as much storage as may be short, and of what keeps water on its way.

    Raises
    ------
    ValueError
        If the design has no such element.
    """
    if not 1 <= label <= len(ready.elements):
        raise ValueError(f"the design has no element number {label}")
    crew = _Crew(ready, ready.elements[label - 1], ground, margins or _NO_WATER, spacing, limits)
    mine = [one for one in ready.placed if one.label == label]
    first = mine[0].shape
    if isinstance(first, Channel):
        found = crew.line(first, mine)
    elif isinstance(first, Bowl):
        found = crew.outline(first, mine[0].reach_m)
    elif isinstance(first, Bank):
        found = crew.bank(first)
    else:
        found = crew.plane(first.core, mine[0].reach_m)
    ways = [s for one in mine if isinstance(s := one.shape, Channel) and s.through]
    sills = [way for way in ways if way.is_level and not way.in_path]  # a drain's outfall falls
    water_m2 = _water_m2(first, (margins or _NO_WATER).spill_level_m)
    for number, sill in enumerate(sills, start=1):
        others = [float(other.floor.level_m[0]) for other in sills if other is not sill]
        found += crew.sill(sill, number, others, water_m2)
    for number, dip in enumerate((way for way in ways if way.in_path), start=1):
        found += crew.dip(dip, number)
    return found


def _water_m2(shape: object, spill_level_m: float) -> float:
    """Water surface of an element at its spill level; 0 where it has none [m²]."""
    if isinstance(shape, Bowl):
        return float(shape.outline.area)
    if isinstance(shape, Channel) and shape.is_level:
        depth_m = max(spill_level_m - float(shape.floor.level_m[0]), 0.0)
        width_m = shape.bottom_m + (shape.left + shape.right) * depth_m
        return float(shape.line.length) * width_m
    return 0.0


def _heaped(crest: Sequence[Stake], level_m: NDArray[np.float64]) -> list[Stake]:
    """Leave out crest stakes on ground that is higher, and where a sill or ditch goes through."""
    return [
        stake
        for stake, wanted in zip(crest, level_m.tolist(), strict=True)
        if stake.design_m > stake.ground_m and stake.design_m > wanted - _SAME_M
    ]


def _grid_inside(outline: shapely.Polygon, step_m: float) -> Stations:
    """Points on a square grid inside an outline, about half a step or more from its edge."""
    x, y = grid_inside(outline, step_m)
    inner = shapely.contains_xy(outline.buffer(-0.45 * step_m), x, y)
    x, y = x[inner], y[inner]
    reason = np.full(x.size, Reason.INTERVAL, dtype=np.int8)
    return Stations(np.zeros(x.size), x, y, np.ones(x.size), np.zeros(x.size), reason)


@dataclass(frozen=True, slots=True)
class _Crew:
    """What all stakes of an element have in common."""

    ready: DesignSurface
    element_id: str
    ground: LevelsAt
    margins: Margins
    spacing: StakeSpacing
    limits: BuildLimits

    def line(self, channel: Channel, mine: Sequence[Placed]) -> list[Stake]:
        """Floor and crest along a ditch or drain, and offset stakes for its floor."""
        stations = stations_along(
            channel.line, self.spacing.interval_m, turn_deg=self.spacing.turn_deg
        )
        on_floor = stations.moved(channel.offset_m)
        length_m = float(channel.line.length)
        short_m = storage_error_m(
            self.margins.storage_m3, self.limits.storage_pct, length_m * channel.bottom_m,
            spread_m=length_m * (channel.left + channel.right) / 2,
        )  # fmt: skip
        found = self._stakes("floor", on_floor, self._floor(channel), short_m)
        clear_m = self.spacing.clear_m
        if clear_m:
            beside = [one for one in mine if one.shape.core is channel.line]
            out_m = max(one.reach_m for one in beside) + clear_m
            floor = list(found)
            for side_m in (out_m, -out_m):  # measured from the floor's own stakes
                left_m = side_m - channel.offset_m
                found += self._untouched(offset_stakes(floor, on_floor, left_m, self.ground))
        bank = next((s for one in mine if isinstance(s := one.shape, Bank)), None)
        if bank is not None and bank.line is channel.line:
            crest = self._stakes("crest", stations.moved(bank.offset_m), self._crest())
            found += _heaped(crest, bank.crest.at(stations.chainage_m))
        return found

    def bank(self, bank: Bank) -> list[Stake]:
        """Crest of a dam along its axis, and the toes of both sides square to each stake."""
        stations = stations_along(
            bank.line, self.spacing.interval_m, turn_deg=self.spacing.turn_deg
        )
        crest = self._stakes("crest", stations, self._crest())
        found = _heaped(crest, bank.crest.at(stations.chainage_m))
        x, y = (np.asarray(stations.x), np.asarray(stations.y))
        high_m = np.maximum(bank.crest.at(stations.chainage_m) - self.ground(x, y), 0.0)
        for side, batter in ((1.0, bank.left), (-1.0, bank.right)):
            toe_m = bank.top_m / 2 + batter * np.nanmax(high_m, initial=0.0) + self.spacing.clear_m
            if self.spacing.clear_m:
                found += self._untouched(offset_stakes(crest, stations, side * toe_m, self.ground))
        return found

    def outline(self, bowl: Bowl, reach_m: float) -> list[Stake]:
        """Edge and crest round a pond or basin, and offset stakes for its edge."""
        stations = stations_around(
            bowl.outline, self.spacing.interval_m, turn_deg=self.spacing.turn_deg
        )
        found = self._stakes("edge", stations, ANY_ERROR)
        if self.spacing.clear_m:
            out_m = reach_m + self.spacing.clear_m
            found += self._untouched(offset_stakes(found, stations, out_m, self.ground))
        if bowl.crest_m is not None:
            out_m = bowl.core_reach_m - bowl.top_m / 2
            crest = self._stakes("crest", stations.moved(out_m), self._crest())
            found += _heaped(crest, np.full(len(crest), bowl.crest_m))
        return found

    def plane(self, outline: shapely.Geometry, reach_m: float) -> list[Stake]:
        """Round a pad and on a square grid inside it, and offset stakes for its edge."""
        if not isinstance(outline, shapely.Polygon):
            return []
        around = stations_around(outline, self.spacing.interval_m, turn_deg=self.spacing.turn_deg)
        inside = _grid_inside(outline, self.spacing.interval_m)
        edge = self._stakes("edge", around, ANY_ERROR)
        found = edge + self._stakes("plane", inside, ANY_ERROR)
        if self.spacing.clear_m:
            out_m = reach_m + self.spacing.clear_m
            found += self._untouched(offset_stakes(edge, around, out_m, self.ground))
        return found

    def sill(
        self, sill: Channel, number: int, others: Sequence[float], water_m2: float
    ) -> list[Stake]:
        """Both ends of a sill, where it opens the crest."""
        along = np.arange(0, sill.line.length + _STEP_M / 2, _STEP_M)
        middle = shapely.get_coordinates(shapely.line_interpolate_point(sill.line, along))
        steep = max(sill.left, sill.right)
        edge_m = sill.bottom_m / 2
        (x0, y0), (x1, y1) = sill.line.coords[0], sill.line.coords[-1]
        across = np.array([-(y1 - y0), x1 - x0]) / math.hypot(x1 - x0, y1 - y0)
        beside = [middle + side * (edge_m + steep) * across for side in (1, -1)]
        top = np.max([self._level(points) for points in beside], axis=0)
        # inside the element, and where the ground is lower, the sill is not what water meets
        level_m = float(sill.floor.level_m[0])
        top[np.abs(self._level(middle) - level_m) > _SAME_M] = -np.inf
        crest = middle[int(np.argmax(np.where(np.isnan(top), -np.inf, top)))]
        ends = np.array([crest + side * edge_m * across for side in (1, -1)])
        stations = Stations(
            np.array([0.0, sill.bottom_m]), ends[:, 0], ends[:, 1], np.full(2, across[0]),
            np.full(2, across[1]), np.full(2, Reason.ASKED, dtype=np.int8),
        )  # fmt: skip
        m = self.margins
        tolerance = sill_tolerance(
            level_m, m.peak_level_m, m.crest_level_m,
            feeder_levels_m=m.feeder_levels_m, receiver_level_m=m.receiver_level_m,
            other_sills_m=others,
        )  # fmt: skip
        short_m = storage_error_m(m.storage_m3, self.limits.storage_pct, water_m2)
        role = "sill" if number == 1 else f"sill{number}"
        return self._stakes(role, stations, tolerance, short_m)

    def dip(self, dip: Channel, number: int) -> list[Stake]:
        """Four corners of the floor of a dip in a path."""
        half_m = dip.bottom_m / 2
        sides = [dip.line.offset_curve(half_m), dip.line.offset_curve(-half_m)]
        ring = shapely.get_coordinates(sides).tolist()
        stations = stations_along(
            shapely.LineString(ring), 10 * dip.line.length + dip.bottom_m, turn_deg=1.0
        )
        level_m = float(dip.floor.level_m[0])
        least = self.margins.spill_level_m - level_m
        tolerance = Tolerance(max(least, 0.0), "the path would hold the water, not the sill")
        role = "dip" if number == 1 else f"dip{number}"

        def floor(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
            return level_m + 0 * (x + y)

        return stakes_on(
            self.element_id, role, stations, self.ground, floor, tolerance=tolerance,
            limit_m=self.limits.of(role),
        )  # fmt: skip

    def _untouched(self, stakes: list[Stake]) -> list[Stake]:
        """Leave out those that would stand in the digging of another element."""
        places = np.array([(stake.x, stake.y) for stake in stakes])
        moved = np.abs(self._level(places) - self.ground(*places.T))
        return [stake for stake, by in zip(stakes, moved.tolist(), strict=True) if by < _SAME_M]

    def _floor(self, channel: Channel) -> Tolerance:
        levels = channel.floor.level_m
        if len(levels) == 1:
            return floor_tolerance(self.margins.spill_level_m, self.margins.floor_level_m)
        fall = abs(levels[0] - levels[-1]) / channel.line.length
        return fall_tolerance(fall * min(self.spacing.interval_m, channel.line.length))

    def _crest(self) -> Tolerance:
        return crest_tolerance(self.margins.crest_level_m, self.margins.peak_level_m)

    def _stakes(
        self, role: str, stations: Stations, tolerance: Tolerance, short_m: float = math.inf
    ) -> list[Stake]:
        return stakes_on(
            self.element_id, role, stations, self.ground, self._design, built=self._built,
            tolerance=tolerance, limit_m=min(self.limits.of(role), short_m),
        )  # fmt: skip

    def _design(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        return self.ready.at(x, y, self.ground(x, y)).level_m

    def _built(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        return self.ready.at(x, y, self.ground(x, y), built=True).level_m

    def _level(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        return self._design(points[:, 0], points[:, 1])
