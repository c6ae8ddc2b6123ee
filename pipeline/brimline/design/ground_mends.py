"""Mends for what water on the designed surface shows: where a sill stands, and where it leads.

Each is a guess by the ground; whoever offers it digs and follows it first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from shapely.ops import substring

from brimline.design.plan import (
    DrawnDischarge,
    DrawnDrain,
    DrawnOverflow,
)
from brimline.design.plan_changes import PlanChange, layer_of, mend_row
from brimline.drainage.receiving import received
from brimline.elements import Drain, Kind, Swale, Trapezoid
from brimline.elements.drain import ROUGHNESS, flow_at_m3_s
from brimline.lines.sample import along

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from shapely.geometry.base import BaseGeometry

    from brimline.design.making import Design
    from brimline.design.standing import StandingGround
    from brimline.design.ways import RunningGround
    from brimline.elements import Element

_CENTIMETRE: Final = 0.01
_STUB_M: Final = 2.0  # of a way that is drawn only to say where a sill stands
_LEAST_FALL: Final = 0.005  # of a new drain; 1 in 200
_DROP_M: Final = 0.10  # from a drain's bed to the water that it ends over
_LEAST_DRAIN_M: Final = 2.0
_LEAST_DEPTH_M: Final = 0.2  # of a drain
_FREEBOARD_M: Final = 0.1  # usual of a drain, as its sides
_SIDE: Final = 2.0
_BOTTOMS_M: Final = tuple(round(0.1 * step, 1) for step in range(4, 31, 2))  # of a new drain
_ROOM: Final = 1.1
_DEEPEST_M: Final = 1.2  # of a channel; deeper ones are to be shored
_LONGEST_CHANNEL_M: Final = 40.0
_PAST_RIM_M: Final = 1.0
_BANK_M: Final = 1.0  # usual top width of banks
_BANK_BATTER: Final = 4.0  # both batters of a bank, together
_LEADS: Final = frozenset({"reaches-other", "over-boundary", "at-building"})
# what is wrong with a drain that no drain is better than
_NO_DRAIN: Final = frozenset(
    {"uphill", "overtopped", "small-outlet", "reaches-other", "no-safe-outlet", "over-boundary"}
)
_NOWHERE: Final = frozenset({"no-safe-outlet", "uphill"})


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """How the overflow of an element ran on the designed surface.

    Parameters
    ----------
    flags : what was found of it.
    meant, reached : what it should reach, and what it reaches first; empty where nothing.
    over_m : level at which the surface spills, less that of the sill [m].
    way : from its deepest place to what it reaches.
    leaves : where water first stands no more on that way.
    peak_m3_s : most that leaves it in the storms of the run [m³/s].
    """

    name: str
    flags: frozenset[str]
    meant: str
    reached: str
    over_m: float
    way: shapely.LineString
    leaves: shapely.Point
    peak_m3_s: float = 0.0


def mends_on_ground(
    design: Design,
    followed: Iterable[Followed],
    marks: Iterable[tuple[str, str]],
    running: RunningGround,
    standing: StandingGround,
    site: BaseGeometry,
) -> list[dict[str, Any]]:
    """Guess what would bring overflows to where they should go, and sills to where water leaves.

    Parameters
    ----------
    marks : element and flag of every finding.
    running : elements and discharge points on the ground as surveyed.
    site : ground inside the boundary.

    Returns
    -------
    rows of the table of mends, the least change first for each finding.
    """
    flags: dict[str, set[str]] = {}
    for name, flag in marks:
        flags.setdefault(name, set()).add(flag)
    maker = _Maker(design, running, standing, site)
    rows: list[dict[str, Any]] = []
    for one in followed:
        rows += maker.mends(one, flags.get(one.name, set()))
    return rows


class _Maker:
    def __init__(
        self, design: Design, running: RunningGround, standing: StandingGround, site: BaseGeometry
    ) -> None:
        self.design, self.running, self.standing, self.site = design, running, standing, site
        self.network = design.network
        grid = running.grid
        self.drains_to = received(running.directions, running.seeds, cell_m=grid.cell_m).labels

    def mends(self, one: Followed, flags: set[str]) -> Iterator[dict[str, Any]]:
        drain = self.network.element(one.name).kind is Kind.DRAIN
        for flag in sorted(flags & (_LEADS | _NOWHERE)):
            yield from self._as_ground_leads(one, flag)
            if not drain:
                yield from self._other_place(one, flag)
                yield from self._by_drain(one, flag)
            yield from self._off_site(one, flag)
        if drain:
            for flag in sorted(flags & {"uphill", "drowned", "small-outlet", "reaches-other"}):
                yield from self._end_higher(one, flag)
            for flag in sorted(flags & _NO_DRAIN):
                yield from self._leave_out(one.name, one, flag)
            return
        for flag in sorted(flags & {"leaks", "sill-shut"}):
            if flag == "leaks":
                yield from self._begin_past_bank(one, flag)
            yield from self._where_it_leaves(one, flag)
            yield from self._to_brim(one, flag)
            yield from self._to_brim(one, flag, 2.0)
            yield from self._other_place(one, flag)
            yield from self._dig_on(one, flag)
            yield from self._by_drain(one, flag)
            for name in self._drains_from(one.name):
                yield from self._leave_out(name, one, flag)

    def _as_ground_leads(self, one: Followed, flag: str) -> Iterator[dict[str, Any]]:
        """Say of the link what the ground does."""
        if not self._may_take(one, one.reached) or one.reached == one.meant:
            return
        text = f"lead the overflow of {one.name} to {one.reached}, where the ground takes it" + (
            f", not to {one.meant}" if one.meant else ""
        )
        changes = self._led(one.name, one.reached)
        if self._unnamed(one.reached):
            name = one.reached
            changes.append(PlanChange(DrawnDischarge.LAYER, name, {"name": name}))
            text += ", and name that, once it is known to be stable and legal"
        yield self._row(one, flag, "leads to", text, changes)

    def _other_place(self, one: Followed, flag: str) -> Iterator[dict[str, Any]]:
        """Move the sill to where the ground outside falls to what it is meant for."""
        meant = self._aim(one)
        if not meant:
            return
        shape = self.design.shape_of(one.name)
        number = self.running.names.index(meant)
        ring = shape.exterior if shape.geom_type == "Polygon" else shape
        cell = self.running.grid.cell_m
        edge = along(ring, max(1.0, cell))
        outside = _outside_of(shape, edge, 1.5 * cell + 1.0)
        best: list[tuple[float, int, int]] = []
        for side, points in enumerate(outside):
            row, col = self.running.grid.cell(points[:, 0], points[:, 1])
            on = self.running.grid.holds(row, col)
            at = np.flatnonzero(on)
            hits = at[self.drains_to[row[at], col[at]] == number]
            if hits.size:
                low = hits[int(np.argmin([self._level(edge[k]) for k in hits]))]
                best.append((self._level(edge[low]), side, int(low)))
        for _, side, place in sorted(best)[:1]:
            start = edge[place]
            line = shapely.LineString([start, outside[side][place]])
            text = (
                f"move the sill of {one.name} to {_at(start)}, from where the ground falls to"
                f" {meant}"
            )
            yield self._row(one, flag, "sill place", text, self._led(one.name, meant, line))

    def _level(self, point: Sequence[float]) -> float:
        return self.standing.level_at(shapely.Point(point))

    def _where_it_leaves(self, one: Followed, flag: str) -> Iterator[dict[str, Any]]:
        """Put the sill where water leaves anyway."""
        target = one.reached if self._may_take(one, one.reached) else one.meant
        if not target:
            return
        shape = self.design.shape_of(one.name)
        ring = shape.exterior if shape.geom_type == "Polygon" else shape
        start = ring.interpolate(ring.project(one.leaves))
        end = (
            one.leaves
            if start.distance(one.leaves) > 1
            else shapely.Point(start.x + _STUB_M, start.y)
        )
        text = f"move the sill of {one.name} to {_at(start.coords[0])}, where water leaves it"
        if target != one.meant:
            text += f", and lead it to {target}"
        line = shapely.LineString([start, end])
        yield self._row(one, flag, "sill at leak", text, self._led(one.name, target, line))

    def _to_brim(self, one: Followed, flag: str, times: float = 1.0) -> Iterator[dict[str, Any]]:
        """Give an element the level at which the ground lets its water go.

        Water that is let stand lower may leave lower still, so that twice as much is tried too.
        """
        element = self.network.element(one.name)
        column = "level_m" if element.kind is Kind.SWALE else "spill_level_m"
        layer = layer_of(element)
        now = element.spill_level_m
        way = self.network.main_way_out(one.name)
        rounded = math.floor if one.over_m < 0 else math.ceil
        by = rounded(times * one.over_m / _CENTIMETRE) * _CENTIMETRE
        if not by or element.kind is Kind.TANK:
            return
        to = round(now + by, 3)
        values: dict[str, float | str] = {column: to}
        if by > 0 and getattr(element.shape, "sunken", False):
            values["edge"] = "bank"  # what has none holds no water over its rim
        changes = [PlanChange(layer, one.name, values)]
        row = self._row_of(one.name)
        if row and way is not None and row[0] == DrawnOverflow.LAYER:
            drawn = round(way.outlet.crest_m + by, 3)
            changes.append(PlanChange(*row, {"crest_level_m": drawn}))
        deeper = self._begun_lower(one.name, to) if by < 0 else None
        if deeper is not None:
            changes.append(deeper)
        word = "lower" if by < 0 else "raise"
        text = (
            f"{word} the water of {one.name} by {abs(by):.2f} m to {to:.2f} m, the level at which"
            " the ground lets it go" + (", behind a bank" if "edge" in values else "")
        )
        if deeper is not None:
            text += f", and dig {deeper.row} {deeper.values['depth_m']} m deep for it"
        dimension = "water level" if times == 1 else "water level, twice"
        yield self._row(one, flag, dimension, text, changes, "m", now, to)

    def _begun_lower(self, name: str, water_m: float) -> PlanChange | None:
        """Begin the drain that takes an overflow under its water, ending as before."""
        below = self.network.spills_to(name)
        if below not in self.network.index:
            return None
        drain = self.network.element(below).shape
        if not isinstance(drain, Drain):
            return None
        lower_m = drain.from_level_m - (water_m - _DROP_M / 2)
        fall = drain.fall - lower_m / drain.length_m
        if lower_m <= 0 or fall < _LEAST_FALL:
            return None
        values: dict[str, float | str] = {
            "depth_m": round(drain.depth_m + lower_m, 2), "fall_pct": round(100 * fall, 3),
        }  # fmt: skip
        return PlanChange(DrawnDrain.LAYER, below, values)

    def _by_drain(self, one: Followed, flag: str) -> Iterator[dict[str, Any]]:
        """Dig a drain to what it is meant for, or what lies below."""
        meant = self._aim(one)
        if not meant:
            return
        shape, end = self.design.shape_of(one.name), self._shape(meant)
        element = self.network.element(one.name)
        whole = shapely.shortest_line(shape, end)
        line = substring(whole, self._bank_m(element), whole.length)
        if line.length < _LEAST_DRAIN_M:
            return
        name = f"drain of {one.name}"
        foot_m = (
            self.network.spill_level_m(meant) + _DROP_M
            if meant in self.network.index
            else self.standing.level_at(shapely.Point(line.coords[-1])) - 0.2
        )
        ground_m = self.standing.level_at(shapely.Point(line.coords[0]))
        head_m = min(element.spill_level_m - _DROP_M / 2, ground_m - _LEAST_DEPTH_M)
        fall = (head_m - foot_m) / line.length
        if not fall >= _LEAST_FALL:
            return
        depth_m = round(max(ground_m - head_m, _LEAST_DEPTH_M), 2)
        text = (
            f"dig a drain of {line.length:.0f} m from {one.name} to {meant}, from"
            f" {_at(line.coords[0])} to {_at(line.coords[-1])}, falling {100 * fall:.1f} %"
        )
        values: dict[str, float | str] = {
            "spills_to": meant, "depth_m": depth_m, "fall_pct": round(100 * fall, 3),
            **_wide_enough(depth_m, fall, one.peak_m3_s),
        }  # fmt: skip
        changes = [
            PlanChange(DrawnDrain.LAYER, name, values, line.wkt, added=True),
            *self._led(one.name, name, whole),
        ]
        yield self._row(one, flag, "new drain", text, changes)

    def _bank_m(self, element: Element) -> float:
        """Distance from what is drawn of an element to past its bank [m]."""
        if getattr(element.shape, "sunken", False):
            return _PAST_RIM_M
        if isinstance(element.shape, Swale):
            return _PAST_RIM_M + element.shape.mound_width_m
        height_m = element.crest_level_m - element.spill_level_m
        return _PAST_RIM_M + _BANK_M + _BANK_BATTER * height_m

    def _dig_on(self, one: Followed, flag: str) -> Iterator[dict[str, Any]]:
        """Dig a channel from the sill along the water's way, to where the ground lies lower."""
        element = self.network.element(one.name)
        target = one.reached if self._may_take(one, one.reached) else self._aim(one)
        shape = self.design.shape_of(one.name)
        way = substring(one.way, one.way.project(one.leaves), one.way.length)
        if not target or not way.length > 0:
            return
        start = shapely.shortest_line(shape, way)
        start_m = way.project(shapely.Point(start.coords[-1])) + self._bank_m(element)
        reach_m = min(way.length, start_m + _LONGEST_CHANNEL_M)
        if reach_m - start_m < _LEAST_DRAIN_M:
            return
        at_m = np.arange(start_m + _LEAST_DRAIN_M, reach_m, 1.0)
        head_m = element.spill_level_m - _DROP_M / 2
        levels = np.array([self.standing.level_at(way.interpolate(at)) for at in at_m])
        low = np.flatnonzero(levels < head_m - _LEAST_FALL * (at_m - start_m) - _DROP_M / 2)
        end_m = float(at_m[low[0]]) if low.size else reach_m
        line = substring(way, start_m, end_m).simplify(0.5)
        ground_m = self.standing.level_at(shapely.Point(line.coords[0]))
        depth_m = round(max(ground_m - head_m, _LEAST_DEPTH_M), 2)
        if depth_m > _DEEPEST_M:
            return
        foot_m = self.standing.level_at(shapely.Point(line.coords[-1]))
        if low.size and foot_m < ground_m - depth_m:
            fall = max((ground_m - depth_m - foot_m) / line.length, _LEAST_FALL)
        else:
            fall = _LEAST_FALL
        name = f"channel of {one.name}"
        values: dict[str, float | str] = {
            "spills_to": target, "depth_m": depth_m, "fall_pct": round(100 * fall, 3),
            **_wide_enough(depth_m, fall, one.peak_m3_s),
        }  # fmt: skip
        sill = shapely.LineString([start.coords[0], line.coords[0]])
        text = (
            f"dig the way of {one.name} free: a channel of {line.length:.0f} m from"
            f" {_at(line.coords[0])} to {_at(line.coords[-1])}, falling {100 * fall:.1f} %"
        )
        changes = [
            PlanChange(DrawnDrain.LAYER, name, values, line.wkt, added=True),
            *self._led(one.name, name, sill),
        ]
        yield self._row(one, flag, "channel", text, changes)

    def _off_site(self, one: Followed, flag: str) -> Iterator[dict[str, Any]]:
        """Let water leave where the ground leads it off the site, with a person's word."""
        if one.reached:
            return
        edge = one.way.intersection(self.site.boundary)
        points = [part for part in shapely.get_parts(edge) if part.geom_type == "Point"]
        place = min(points, key=one.way.project) if points else shapely.Point(one.way.coords[-1])
        name = f"outlet of {one.name}"
        text = (
            f"draw a discharge point at {_at(place.coords[0])}, where the water of {one.name}"
            " leaves the site, once it is known to be stable and legal"
        )
        changes = [
            PlanChange(DrawnDischarge.LAYER, name, {}, place.wkt, added=True),
            *self._led(one.name, name),
        ]
        yield self._row(one, flag, "discharge point", text, changes)

    def _end_higher(self, one: Followed, flag: str) -> Iterator[dict[str, Any]]:
        """End a drain at the waterline of what it runs into, over its water."""
        element = self.network.element(one.name)
        drain, target = element.shape, self.network.spills_to(one.name)
        if not isinstance(drain, Drain) or target not in self.network.index:
            return
        line, pool = self.design.shape_of(one.name), self.design.shape_of(target)
        if pool.geom_type == "Polygon":
            outside = line.difference(pool)
            outside = min(
                shapely.get_parts(outside), key=lambda p: p.distance(shapely.Point(line.coords[0])),
                default=line,
            )  # fmt: skip
        else:
            outside = line
        if outside.length < _LEAST_DRAIN_M:
            return
        water_m = self.network.spill_level_m(target)
        fall = (drain.from_level_m - water_m - _DROP_M) / outside.length
        depth_m = drain.depth_m
        ground_m = drain.from_level_m + depth_m
        if fall < _LEAST_FALL:  # begin higher too
            depth_m = round(max(depth_m - (_LEAST_FALL - fall) * outside.length, 0.2), 2)
            fall = (ground_m - depth_m - water_m - _DROP_M) / outside.length
        if not fall > 0:
            return
        values: dict[str, float | str] = {"fall_pct": round(100 * fall, 3)}
        if depth_m != drain.depth_m:
            values["depth_m"] = depth_m
        text = (
            f"end {one.name} higher: at the waterline of {target}, {_at(outside.coords[-1])}, its"
            f" bed {_DROP_M:.2f} m over the water at {water_m:.2f} m, falling {100 * fall:.2f} %"
        )
        shape = outside.wkt if outside.length < line.length - 0.01 else ""
        change = PlanChange(DrawnDrain.LAYER, one.name, values, shape)
        yield self._row(one, flag, "end level", text, [change])

    def _begin_past_bank(self, one: Followed, flag: str) -> Iterator[dict[str, Any]]:
        """Begin a drain that cuts into an element past its bank, and lead it there over a sill."""
        element, shape = self.network.element(one.name), self.design.shape_of(one.name)
        for other in self.design.placed:
            drain, line = other.element.shape, other.shape
            if not isinstance(drain, Drain) or one.name == other.name:
                continue
            bank_m, end = self._bank_m(element), shapely.Point(line.coords[-1])
            if line.distance(shape) >= bank_m or end.distance(shape) < bank_m:
                continue
            # the part that ends where it ended: one may cross an element that was moved
            beyond = shapely.get_parts(line.difference(shape.buffer(bank_m)))
            rest = min(beyond, key=end.distance, default=shapely.LineString())
            if rest.length < _LEAST_DRAIN_M:
                continue
            start = rest.coords[0]
            ground_m = self.standing.level_at(shapely.Point(start))
            head_m = min(element.spill_level_m - _DROP_M / 2, ground_m - _LEAST_DEPTH_M)
            fall = (head_m - drain.to_level_m) / rest.length
            if not fall >= _LEAST_FALL:
                continue
            values: dict[str, float | str] = {
                "depth_m": round(ground_m - head_m, 2), "fall_pct": round(100 * fall, 3),
            }  # fmt: skip
            text = (
                f"begin {other.name} past the bank of {one.name}, at {_at(start)}: the first"
                f" {line.length - rest.length:.1f} m would cut into it; its sill leads there"
            )
            changes = [PlanChange(DrawnDrain.LAYER, other.name, values, rest.wkt)]
            if self.network.spills_to(one.name) == other.name:
                changes += self._led(one.name, other.name, shapely.shortest_line(shape, rest))
            yield self._row(one, flag, f"beginning of {other.name}", text, changes)

    def _drains_from(self, name: str) -> list[str]:
        """Return drains that cut into an element or its bank, or take its overflow."""
        shape, bank_m = self.design.shape_of(name), self._bank_m(self.network.element(name))
        return [
            other.name
            for other in self.design.placed
            if isinstance(other.element.shape, Drain)
            and (self.network.spills_to(name) == other.name or other.shape.distance(shape) < bank_m)
        ]

    def _leave_out(self, drain: str, one: Followed, flag: str) -> Iterator[dict[str, Any]]:
        """Dig no drain: what it took runs over the ground."""
        pairs = list(zip(self.design.links, self.design.drawn_ways, strict=True))
        if any(link.from_id == drain and row is not None for link, row in pairs):
            return
        changes, told = [PlanChange(DrawnDrain.LAYER, drain, removed=True)], []
        for link, row in pairs:
            if link.to_id != drain:
                continue
            on_ground = self.design.on_ground.get(link.from_id, "")
            to = self.network.spills_to(drain) if on_ground in ("", drain) else on_ground
            if row is not None:
                changes.append(PlanChange(row.LAYER, row.name, {"to_id": to}))
            else:
                changes += self._led(link.from_id, to)
            told.append(f"{link.from_id} spills over its sill to {to or 'where the ground leads'}")
        text = f"leave {drain} out" + (f": {', '.join(told)}" if told else "")
        yield self._row(one, flag, f"without {drain}", text, changes)

    def _may_take(self, one: Followed, target: str) -> bool:
        """Tell whether water may be led there without running in a ring."""
        if not target or target == one.name or target not in self.running.names:
            return False
        return target not in self.network.index or one.name not in self.network.below({target})

    def _unnamed(self, name: str) -> bool:
        end = self.network.discharge(name)
        return end is not None and not end.name.strip()

    def _aim(self, one: Followed) -> str:
        """Return what its water is meant for, else the nearest place below that may take it."""
        if self._may_take(one, one.meant):
            return one.meant
        shape, level = self.design.shape_of(one.name), self.network.spill_level_m(one.name)
        below = [
            (self._shape(name).distance(shape), name)
            for name in (*self.network.index, *self.design.ends)
            if self._may_take(one, name) and self._level_of(name) < level - _DROP_M
        ]
        return min(below, default=(0.0, ""))[1]

    def _level_of(self, name: str) -> float:
        """Level that water must be over to run there; that of the ground at a discharge point."""
        if name in self.network.index:
            return self.network.spill_level_m(name)
        return self.standing.level_at(self.design.ends[name])

    def _shape(self, name: str) -> BaseGeometry:
        return self.design.ends[name] if name in self.design.ends else self.design.shape_of(name)

    def _row_of(self, name: str) -> tuple[str, str] | tuple[()]:
        main = self.network.main_way_out(name)
        pairs = zip(self.design.links, self.design.drawn_ways, strict=True)
        drawn = next((row for link, row in pairs if link is main), None)
        return (drawn.LAYER, drawn.name) if drawn is not None else ()

    def _led(self, name: str, to: str, line: shapely.LineString | None = None) -> list[PlanChange]:
        """Lead an overflow elsewhere; its sill moves where a line is given."""
        row, shape = self._row_of(name), line.wkt if line is not None else ""
        if row and row[0] == DrawnOverflow.LAYER:
            return [PlanChange(*row, {"from_id": name, "to_id": to}, shape)]
        element = self.network.element(name)
        if row or line is None or element.kind in (Kind.DRAIN, Kind.TANK):
            return [PlanChange(layer_of(element), name, {"spills_to": to})]
        values: dict[str, float | str] = {"from_id": name, "to_id": to}
        return [PlanChange(DrawnOverflow.LAYER, f"sill of {name}", values, shape, added=True)]

    def _row(
        self,
        one: Followed,
        flag: str,
        dimension: str,
        text: str,
        changes: Sequence[PlanChange],
        unit: str = "",
        now: float = 0.0,
        to: float = 1.0,
    ) -> dict[str, Any]:
        return mend_row(one.name, flag, one.name, dimension, unit, now, to, text, changes)


def _wide_enough(depth_m: float, fall: float, peak_m3_s: float) -> dict[str, float]:
    """Return the section of a new drain that carries a peak, as wide as a mend may be at most."""
    wet_m = depth_m - _FREEBOARD_M
    for bottom_m in _BOTTOMS_M:
        section = Trapezoid(bottom_m, _SIDE)
        carries = flow_at_m3_s(section, wet_m, fall, ROUGHNESS["short-grass"])
        if carries >= _ROOM * peak_m3_s:
            break
    return {"bottom_m": bottom_m, "side": _SIDE}


def _outside_of(shape: BaseGeometry, edge: Any, off_m: float) -> list[Any]:  # noqa: ANN401
    """Points beside an outline, outside of it; beside a line, to both sides."""
    if shape.geom_type == "Polygon":
        middle = np.array(shape.centroid.coords[0])
        out = edge - middle
        return [edge + off_m * out / np.maximum(np.hypot(*out.T), 1e-9)[:, None]]
    if len(edge) < 2:
        return []
    step = np.gradient(edge, axis=0)
    step /= np.maximum(np.hypot(*step.T), 1e-9)[:, None]
    left = np.column_stack([-step[:, 1], step[:, 0]])
    return [edge + off_m * left, edge - off_m * left]


def _at(point: Sequence[float]) -> str:
    return f"{point[0]:.1f} E {point[1]:.1f} N"
