"""Elements and ways out as they were built."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from brimline.as_built.levels import Asked, chance_of_one, range_of_chance, sill_verdict
from brimline.as_built.storage import (
    PoolCells,
    drain_as_built,
    element_as_built,
    stages_as_built,
    standing_water_m,
)
from brimline.elements import Drain, Kind, Rating, Sill, built_sill

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.as_built.differences import Differences
    from brimline.as_built.levels import CheckedLevel, SillLine, SillVerdict, Tolerances
    from brimline.cascade import Network
    from brimline.elements import Element, Outlet
    from brimline.terrain.shaping import DesignSurface, LevelsAt, SurfaceBlock

_ANY_CORNER: Final = np.ones((3, 3), dtype=np.int64)
_HOLDING: Final = frozenset({Kind.SWALE, Kind.POND, Kind.BASIN})  # water behind a sill
_SAME_M: Final = 0.001
_MEDIAN: Final = math.sqrt(math.pi / 2)  # error of a median of normal errors over that of a mean
_NOTCH_M: Final = 0.02  # what lies lower than this below a crest is cut by a sill
_TOE_M: Final = 0.5  # bottom places stay this far from the toe of the sides
_BOTTOMS: Final = 5  # about so many to a side of a large bottom


@dataclass(frozen=True, slots=True, eq=False)
class DesignedWorks:
    """The design that what was built is held against.

    Parameters
    ----------
    ready : shapes of the earth; element number k is `ready.elements[k - 1]`.
    ground : levels of the survey that the design was made on.
    network : the cascade as designed.
    filled : elements filled with stone or mulch, whose floor cannot be seen.
    refine : parts that a cell's side is split into.
    """

    ready: DesignSurface
    ground: LevelsAt
    network: Network
    filled: frozenset[str] = frozenset()
    refine: int = 4

    def levels(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Designed levels at points, banks settled."""
        return self.ready.at(x, y, self.ground(x, y)).level_m


@dataclass(frozen=True, slots=True)
class SillBuilt:
    """A sill of an element, and how it was built; `line` is None where it was not surveyed."""

    element_id: str
    number: int
    width_m: float
    level_m: float
    line: SillLine | None
    verdict: SillVerdict


@dataclass(slots=True)
class BuiltElement:
    """An element as built.

    Parameters
    ----------
    storage_known : whether its floor was surveyed.
    storage_error_m3 : standard error of its storage by what the survey errs [m³].
    crest_change_m : lowest built less designed crest; NaN where no crest was surveyed.
    standing_m, standing_at_m : deepest water that a drain's bed holds back, and where [m].
    """

    element: Element
    sills: list[SillBuilt] = field(default_factory=list)
    storage_known: bool = False
    storage_error_m3: float = 0.0
    crest_change_m: float = math.nan
    standing_m: float = 0.0
    standing_at_m: float = math.nan


@dataclass(slots=True)
class AllBuilt:
    """All elements as built, and outlets that changed, by place in the network's links."""

    elements: dict[str, BuiltElement] = field(default_factory=dict)
    outlets: dict[int, Outlet] = field(default_factory=dict)


def bottom_places(works: DesignedWorks, interval_m: float = 5.0) -> list[Asked]:
    """Places on the bottoms of ponds and basins, on a lattice that fits each."""
    bowls = {
        one.element_id for one in works.network.elements if one.kind in (Kind.POND, Kind.BASIN)
    }
    return [
        asked
        for label, name in enumerate(works.ready.elements, start=1)
        if name in bowls - works.filled
        for asked in _bottoms(
            name, works.ready.around(label, factor=works.refine), label, interval_m
        )
    ]


def _bottoms(name: str, piece: SurfaceBlock, label: int, interval_m: float) -> list[Asked]:
    mine = piece.dug_by == label
    if not mine.any():
        return []
    level = float(piece.design_m[mine].min())
    flat = mine & (piece.design_m <= level + _SAME_M)
    toe = ndimage.distance_transform_edt(flat) * piece.grid.cell_m
    inner = toe >= min(_TOE_M, float(toe.max()))
    area = float(inner.sum()) * piece.grid.cell_area_m2
    apart = max(interval_m, math.sqrt(area) / _BOTTOMS)
    step = max(1, round(apart / piece.grid.cell_m))
    rows, cols = np.nonzero(inner)
    row, col = round(float(rows.mean())), round(float(cols.mean()))
    on = inner & ((np.indices(inner.shape)[0] - row) % step == 0)
    on &= (np.indices(inner.shape)[1] - col) % step == 0
    if not on.any():
        on.flat[int(np.argmax(toe))] = True
    rows, cols = np.nonzero(on)
    x, y = piece.grid.xy(rows, cols)
    return [
        Asked(name, f"{name}-B{number:02}", "floor", 0.0, float(east), float(north), level,
              reach_m=apart * math.sqrt(0.5))
        for number, (east, north) in enumerate(zip(x, y, strict=True), start=1)
    ]  # fmt: skip


def elements_built(
    works: DesignedWorks,
    checks: Sequence[CheckedLevel],
    differences: Differences,
    tolerances: Tolerances,
) -> AllBuilt:
    """Work out every element as built; what was not surveyed stays as designed.

    What the survey's scatter explains is levelled out: a sill lies at its mean, a crest at its
    median level, unless a place is lower than chance makes it; and where that is no farther from
    the design than the survey errs, at its designed level.
    """
    found = AllBuilt()
    for element in works.network.elements:
        name = element.element_id
        mine = [one for one in checks if one.asked.element_id == name]
        if isinstance(element.shape, Drain):
            found.elements[name] = _drain(
                element, element.shape, mine, differences, tolerances,
                _judged_together(works.network),
            )  # fmt: skip
            _drain_outlets(found, works.network, name)
        elif element.kind in _HOLDING and name in works.ready.elements:
            found.elements[name] = _bowl(works, element, mine, differences, tolerances, found)
        else:
            found.elements[name] = BuiltElement(element)
    return found


def _drain(
    element: Element,
    drain: Drain,
    mine: Sequence[CheckedLevel],
    differences: Differences,
    tolerances: Tolerances,
    among: int,
) -> BuiltElement:
    bed = [one for one in mine if one.asked.role == "floor" and math.isfinite(one.difference_m)]
    if not bed:
        return BuiltElement(element)
    along = np.array([one.asked.chainage_m for one in bed])
    level = np.array([one.asked.level_m for one in bed])
    change = np.array([one.difference_m for one in bed])
    error_m = tolerances.survey_error_m
    mean_error_m = differences.error_of_mean_m(error_m, len(bed))
    off_m = _beyond_chance(float(change.mean()), mean_error_m, among)
    if not off_m and np.abs(change).max() <= chance_of_one(among * len(bed)) * error_m:
        change = np.zeros(len(bed))
    if len(bed) > 1 and np.polyfit(along, level, 1)[0] > 0:  # staked from its lower end
        along = drain.length_m - along
    now = drain_as_built(drain, along, change)
    depth, at = standing_water_m(along, level + change)
    if depth <= range_of_chance(len(bed), among) * error_m:
        depth = 0.0
    crest = [one.difference_m for one in mine if one.asked.role == "crest"]
    low = min((one for one in crest if math.isfinite(one)), default=math.nan)
    return BuiltElement(
        now.element(), storage_known=True, crest_change_m=low, standing_m=depth, standing_at_m=at
    )


def _drain_outlets(found: AllBuilt, network: Network, name: str) -> None:
    shape = found.elements[name].element.shape
    if isinstance(shape, Drain):
        for place, link in enumerate(network.links):
            if link.from_id == name and isinstance(link.outlet, Rating):
                found.outlets[place] = shape.outlet()


def _bowl(
    works: DesignedWorks,
    element: Element,
    mine: Sequence[CheckedLevel],
    differences: Differences,
    tolerances: Tolerances,
    found: AllBuilt,
) -> BuiltElement:
    """Work out an element that holds water behind a sill."""
    name, network = element.element_id, works.network
    error_m, among = tolerances.survey_error_m, _judged_together(network)
    sills = _sills(network, name, mine, differences, tolerances)
    for place, one in sills.items():
        outlet = network.links[place].outlet
        if one.line is not None and isinstance(outlet, Sill):
            found.outlets[place] = _outlet(outlet, one.line, error_m, among)
    crest = [one.asked for one in mine if one.asked.role == "crest"]
    least = element.crest_level_m - _NOTCH_M
    changes = differences.along_crest(crest, works.levels, least) if crest else np.zeros(0)
    mean_error_m = differences.error_of_mean_m(error_m, changes.size)
    low = _lowest(changes, error_m, mean_error_m, among)
    spill = network.spill_level_m(name)
    ground = None if name in works.filled else pool_cells(works, name, spill, differences)
    stages = element.stages if ground is None else stages_as_built(element, ground)
    levels = [
        found.outlets.get(place, link.outlet).crest_m
        for place, link in enumerate(network.links)
        if link.from_id == name and not link.outlet.is_pipe
    ]
    now = element_as_built(
        element, stages, spill_level_m=min(levels, default=spill),
        crest_change_m=0.0 if math.isnan(low) else low,
    )  # fmt: skip
    floors = sum(one.asked.role == "floor" and math.isfinite(one.difference_m) for one in mine)
    error_m3 = float(now.stages.area_at(now.spill_level_m)) * differences.error_of_mean_m(
        error_m, floors
    )
    return BuiltElement(now, list(sills.values()), ground is not None, error_m3, low)


def _lowest(
    change_m: NDArray[np.float64], error_m: float, error_of_mean_m: float, among: int
) -> float:
    """Lowest change along a crest, or its median where chance explains that some lie lower."""
    if not change_m.size:
        return math.nan
    low, middle = float(change_m.min()), float(np.median(change_m))
    if low < middle - chance_of_one(change_m.size * among) * error_m:
        return low
    return _beyond_chance(middle, _MEDIAN * error_of_mean_m, among)


def _beyond_chance(off_m: float, error_m: float, among: int) -> float:
    """Return a departure, or none where chance explains it among all that are looked at."""
    return off_m if abs(off_m) > chance_of_one(among) * error_m else 0.0


def _judged_together(network: Network) -> int:
    """Count what is judged of the works at once: each sill's level and evenness, mounds, beds."""
    sills = sum(isinstance(link.outlet, Sill) for link in network.links)
    return 2 * sills + max(1, len(network.elements))


def _outlet(sill: Sill, line: SillLine, error_m: float, among: int) -> Outlet:
    even_m = max(_SAME_M, range_of_chance(line.readings, among) * error_m)
    if sill.form != "broad" or line.uneven_m <= even_m:
        off_m = line.mean_m - sill.crest_m
        return sill.raised(_beyond_chance(off_m, line.error_of_mean_m(error_m), among))
    along = np.unique(line.along_m)
    level = np.array([line.level_m[line.along_m == place].mean() for place in along])
    return built_sill(along, level, discharge_coefficient=sill.discharge_coefficient)


def _sills(
    network: Network,
    name: str,
    mine: Sequence[CheckedLevel],
    differences: Differences,
    tolerances: Tolerances,
) -> dict[int, SillBuilt]:
    """Sills of an element by place in the network's links; stakes number them in that order."""
    places = [
        (place, link.outlet)
        for place, link in enumerate(network.links)
        if link.from_id == name and isinstance(link.outlet, Sill) and link.outlet.width_m > 0
    ]
    found = {}
    for number, (place, sill) in enumerate(places, start=1):
        role = "sill" if number == 1 else f"sill{number}"
        ends = np.array([(one.asked.x, one.asked.y) for one in mine if one.asked.role == role])
        line = differences.along_sill(ends, sill.crest_m) if len(ends) == 2 else None
        verdict = sill_verdict(line, sill.crest_m, tolerances, among=_judged_together(network))
        found[place] = SillBuilt(name, number, sill.width_m, sill.crest_m, line, verdict)
    return found


def pool_cells(
    works: DesignedWorks, name: str, spill_level_m: float, differences: Differences
) -> PoolCells | None:
    """Cells under the designed water of an element, as designed and as built.

    Returns
    -------
    None where its floor was not surveyed.
    """
    label = works.ready.elements.index(name) + 1
    piece = works.ready.around(label, factor=works.refine)
    mine = piece.dug_by == label
    if not mine.any():
        return None
    pool = _pool(piece, mine, spill_level_m)
    rows, cols = np.nonzero(pool)
    x, y = piece.grid.xy(rows, cols)
    change = differences.over(name, np.asarray(x), np.asarray(y))
    if change is None:
        return None
    design = piece.design_m[pool]
    return PoolCells(design, design + change, piece.grid.cell_area_m2)


def _pool(piece: SurfaceBlock, mine: NDArray[np.bool_], spill_level_m: float) -> NDArray[np.bool_]:
    """Cells that water at the spill level covers; where it would run off, the digging alone."""
    below = np.nan_to_num(piece.design_m, nan=np.inf) < spill_level_m
    deepest = int(np.argmin(np.where(mine, piece.design_m, np.inf)))
    numbers, _ = ndimage.label(below, structure=_ANY_CORNER)
    pool: NDArray[np.bool_] = (numbers == numbers.flat[deepest]) & below
    border = np.concatenate([pool[0], pool[-1], pool[:, 0], pool[:, -1]])
    return mine & below if border.any() or not pool.any() else pool
