"""Stakes of a design: on every element, on what is buried, and on lines that nobody digs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.cascade.rows import outlet_word
from brimline.elements import Kind, RaisedBed, Tank
from brimline.elements.building import (
    Margins,
    SectionProfile,
    bed_stakes,
    pit_stakes,
    profiles,
    set_out,
)
from brimline.lines.staking import Tolerance, fall_tolerance, stakes_on, stations_along
from brimline.terrain.shaping import LevelAlong

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from numpy.typing import NDArray

    from brimline.design.earth import DesignedGround
    from brimline.design.making import Design
    from brimline.elements.building import StakeSpacing
    from brimline.lines.staking import BuildLimits, Stake
    from brimline.terrain.shaping import LevelsAt

_ROLE: Final = "mark"
_STEP_M: Final = 1.0  # of the section along a line
_LEVEL: Final = Tolerance(0.05, "water would gather at a low place")  # common practice, no source


@dataclass(frozen=True, slots=True, eq=False)
class MarkedLine:
    """A line to be marked on the ground, at one level or with an even fall.

    Parameters
    ----------
    from_level_m, to_level_m : levels of its ends; the same where it is level [m].
    falls : whether it is one that should fall.
    """

    name: str
    line: shapely.LineString
    from_level_m: float
    to_level_m: float
    falls: bool = False

    @property
    def wanted(self) -> LevelAlong:
        """Level that it should have along it."""
        if not self.falls:
            return LevelAlong.flat(self.from_level_m)
        return LevelAlong.graded(self.from_level_m, self.to_level_m, self.line.length)

    def tolerance(self, interval_m: float) -> Tolerance:
        """How far from its level a mark may stand, so many metres from the next."""
        if not self.falls:
            return _LEVEL
        fall = abs(self.from_level_m - self.to_level_m) / self.line.length
        return fall_tolerance(fall * min(interval_m, self.line.length))


def margins_of(design: Design, peaks_m: Mapping[str, float]) -> dict[str, Margins]:
    """Return the levels that each element must keep clear of.

    Parameters
    ----------
    peaks_m : highest water of each element in any storm; its spill level where that is NaN.
    """
    network = design.network
    spill_m = {name: network.spill_level_m(name) for name in network.index}
    feeders: dict[str, list[float]] = {}
    for link in network.links:
        if link.to_id in spill_m and outlet_word(link.outlet) != "pipe":
            feeders.setdefault(link.to_id, []).append(link.outlet.crest_m)
    found = {}
    for element in network.elements:
        name = element.element_id
        peak_m, drain = peaks_m.get(name, math.nan), element.kind is Kind.DRAIN
        found[name] = Margins(
            spill_m[name], element.floor_m, element.crest_level_m,
            spill_m[name] if math.isnan(peak_m) else peak_m, tuple(feeders.get(name, ())),
            spill_m.get(network.spills_to(name), -math.inf),
            math.nan if drain else float(element.stages.storage_at(spill_m[name])),
        )  # fmt: skip
    return found


def staked(
    site: DesignedGround,
    margins: Mapping[str, Margins],
    spacing: StakeSpacing,
    limits: BuildLimits,
    progress: Callable[[float, str], None] = lambda *_: None,
) -> tuple[list[Stake], list[SectionProfile]]:
    """Stake every element at its level, and cut sections through it."""
    stakes: list[Stake] = []
    cuts: list[SectionProfile] = []
    for place, name in enumerate(site.ready.elements):
        progress(place / len(site.ready.elements), f"staking {name}")
        stakes += set_out(site.ready, place + 1, site.ground, margins.get(name), spacing, limits)
        cuts += profiles(site.ready, place + 1, site.ground)
    return stakes, cuts


def staked_buried(site: DesignedGround, spacing: StakeSpacing) -> list[Stake]:
    """Stake the bottoms of trenches, pits and raised beds."""
    found: list[Stake] = []
    count: dict[str, int] = {}
    for trench in site.trenches:
        number = count[trench.element_id] = count.get(trench.element_id, 0) + 1
        role = "trench" if number == 1 else f"trench{number}"
        found += trench.stakes(role, spacing.interval_m, spacing.turn_deg, site.ground)
    for one in site.design.placed:
        made = one.element.shape
        if isinstance(made, Tank):
            found += pit_stakes(made, shapely.Point(one.shape.centroid), site.ground)
        elif isinstance(made, RaisedBed):
            found += bed_stakes(made, site.ground)
    return found


def marked(
    lines: Iterable[MarkedLine], spacing: StakeSpacing, ground: LevelsAt
) -> tuple[list[Stake], list[SectionProfile]]:
    """Put stakes on lines at the level that they should have, and a section along each."""
    stakes: list[Stake] = []
    cuts = []
    for one in lines:
        stations = stations_along(one.line, spacing.interval_m, turn_deg=spacing.turn_deg)
        levels = one.wanted.at(stations.chainage_m)

        def design(
            x: NDArray[np.float64], y: NDArray[np.float64], levels: NDArray[np.float64] = levels
        ) -> NDArray[np.float64]:
            return np.where(np.isfinite(x + y), levels, np.nan)  # of the same stations, in order

        tolerance = one.tolerance(spacing.interval_m)
        stakes += stakes_on(one.name, _ROLE, stations, ground, design, tolerance=tolerance)
        cuts.append(_along(one, ground))
    return stakes, cuts


def _along(one: MarkedLine, ground: LevelsAt) -> SectionProfile:
    stations = stations_along(one.line, _STEP_M)
    at, x, y = stations.chainage_m, stations.x, stations.y
    level = one.wanted.at(at)
    return SectionProfile(one.name, _ROLE, "along", at, x, y, ground(x, y), level, level)
