"""Elements and ways out as they were built, and the cascade with them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy import ndimage

from brimline.elements import Drain, Kind, Rating, Sill, built_sill
from brimline.elements.building import (
    Asked,
    Ground,
    SillLine,
    drain_as_built,
    element_as_built,
    sill_verdict,
    stages_as_built,
    standing_water_m,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.cascade import Network
    from brimline.elements import Element, Outlet
    from brimline.elements.building import Checked, Tolerances
    from brimline.stages._as_built_survey import Differences
    from brimline.stages._earthworks import Designed
    from brimline.terrain.shaping import Piece

_ANY_CORNER: Final = np.ones((3, 3), dtype=np.int64)
_HOLDING: Final = frozenset({Kind.SWALE, Kind.POND, Kind.BASIN})  # water behind a sill
_SAME_M: Final = 0.001
_NOTCH_M: Final = 0.02  # what lies lower than this below a crest is cut by a sill
_TOE_M: Final = 0.5  # bottom places stay this far from the toe of the sides
_BOTTOMS: Final = 5  # about so many to a side of a large bottom


@dataclass(frozen=True, slots=True)
class SillBuilt:
    """A sill of an element, and how it was built; `line` is None where it was not surveyed."""

    element_id: str
    number: int
    width_m: float
    level_m: float
    line: SillLine | None


@dataclass(slots=True)
class Built:
    """An element as built.

    Parameters
    ----------
    storage_known : whether its floor was surveyed.
    crest_change_m : lowest built less designed crest; NaN where no crest was surveyed.
    standing_m, standing_at_m : deepest water that a drain's bed holds back, and where [m].
    """

    element: Element
    sills: list[SillBuilt] = field(default_factory=list)
    storage_known: bool = False
    crest_change_m: float = math.nan
    standing_m: float = 0.0
    standing_at_m: float = math.nan


@dataclass(slots=True)
class AllBuilt:
    """All elements as built, and outlets that changed, by place in the network's links."""

    elements: dict[str, Built] = field(default_factory=dict)
    outlets: dict[int, Outlet] = field(default_factory=dict)


def bottom_places(site: Designed, refine: int, interval_m: float) -> list[Asked]:
    """Places on the bottoms of ponds and basins, on a lattice that fits each."""
    found = []
    for place, name in enumerate(site.ready.elements):
        built = site.built[name]
        if built["kind"] not in ("pond", "basin") or built.get("filling_m", 0.0) > 0:
            continue
        piece = site.ready.around(place + 1, factor=refine)
        found += _bottoms(name, piece, place + 1, interval_m)
    return found


def _bottoms(name: str, piece: Piece, label: int, interval_m: float) -> list[Asked]:
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
    site: Designed,
    network: Network,
    checks: Sequence[Checked],
    differences: Differences,
    refine: int,
) -> AllBuilt:
    """Work out every element as built; what was not surveyed stays as designed."""
    found = AllBuilt()
    for element in network.elements:
        name = element.element_id
        mine = [one for one in checks if one.asked.element_id == name]
        if isinstance(element.shape, Drain):
            found.elements[name] = _drain(element, element.shape, mine)
            _drain_outlets(found, network, name)
        elif element.kind in _HOLDING and name in site.ready.elements:
            found.elements[name] = _bowl(site, network, element, mine, differences, refine, found)
        else:
            found.elements[name] = Built(element)
    return found


def _drain(element: Element, drain: Drain, mine: Sequence[Checked]) -> Built:
    bed = [one for one in mine if one.asked.role == "floor" and math.isfinite(one.difference_m)]
    if not bed:
        return Built(element)
    along = np.array([one.asked.chainage_m for one in bed])
    level = np.array([one.asked.level_m for one in bed])
    change = np.array([one.difference_m for one in bed])
    if len(bed) > 1 and np.polyfit(along, level, 1)[0] > 0:  # staked from its lower end
        along = drain.length_m - along
    now = drain_as_built(drain, along, change)
    depth, at = standing_water_m(along, level + change)
    crest = [one.difference_m for one in mine if one.asked.role == "crest"]
    low = min((one for one in crest if math.isfinite(one)), default=math.nan)
    return Built(
        now.element(), storage_known=True, crest_change_m=low, standing_m=depth, standing_at_m=at
    )


def _drain_outlets(found: AllBuilt, network: Network, name: str) -> None:
    shape = found.elements[name].element.shape
    if isinstance(shape, Drain):
        for place, link in enumerate(network.links):
            if link.from_id == name and isinstance(link.outlet, Rating):
                found.outlets[place] = shape.outlet()


def _bowl(
    site: Designed,
    network: Network,
    element: Element,
    mine: Sequence[Checked],
    differences: Differences,
    refine: int,
    found: AllBuilt,
) -> Built:
    """Work out an element that holds water behind a sill."""
    name = element.element_id
    sills = _sills(network, name, mine, differences)
    for place, one in sills.items():
        outlet = network.links[place].outlet
        if one.line is not None and isinstance(outlet, Sill):
            found.outlets[place] = _outlet(outlet, one.line)
    crest = [one.asked for one in mine if one.asked.role == "crest"]
    least = element.crest_level_m - _NOTCH_M
    changes = differences.along_crest(crest, site.levels, least) if crest else np.zeros(0)
    low = float(changes.min()) if changes.size else math.nan
    spill = network.spill_level_m(name)
    ground = None
    if not site.built[name].get("filling_m", 0.0):
        ground = ground_within(site, name, spill, differences, refine)
    stages = element.stages if ground is None else stages_as_built(element, ground)
    ways = {place: link for place, link in enumerate(network.links) if link.from_id == name}
    levels = [
        found.outlets.get(place, link.outlet).crest_m
        for place, link in ways.items()
        if not link.outlet.is_pipe
    ]
    now = element_as_built(
        element, stages, spill_level_m=min(levels, default=spill),
        crest_change_m=0.0 if math.isnan(low) else low,
    )  # fmt: skip
    return Built(now, list(sills.values()), ground is not None, low)


def _outlet(sill: Sill, line: SillLine) -> Outlet:
    if sill.form != "broad" or line.uneven_m <= _SAME_M:
        return sill.raised(line.mean_m - sill.crest_m)
    along = np.unique(line.along_m)
    level = np.array([line.level_m[line.along_m == place].mean() for place in along])
    return built_sill(along, level, discharge_coefficient=sill.discharge_coefficient)


def _sills(
    network: Network, name: str, mine: Sequence[Checked], differences: Differences
) -> dict[int, SillBuilt]:
    """Sills of an element by place in the network's links; stakes number them in that order."""
    places = [
        place
        for place, link in enumerate(network.links)
        if link.from_id == name and isinstance(link.outlet, Sill) and link.outlet.width_m > 0
    ]
    found = {}
    for number, place in enumerate(places, start=1):
        sill = network.links[place].outlet
        role = "sill" if number == 1 else f"sill{number}"
        ends = np.array([(one.asked.x, one.asked.y) for one in mine if one.asked.role == role])
        line = None
        if len(ends) == 2 and isinstance(sill, Sill):
            line = differences.along_sill(ends, sill.crest_m)
        width = sill.width_m if isinstance(sill, Sill) else 0.0
        found[place] = SillBuilt(name, number, width, sill.crest_m, line)
    return found


def ground_within(
    site: Designed, name: str, spill_level_m: float, differences: Differences, refine: int
) -> Ground | None:
    """Cells under the designed water of an element, as designed and as built.

    Returns
    -------
    None where its floor was not surveyed.
    """
    label = site.label_of(name)
    piece = site.ready.around(label, factor=refine)
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
    return Ground(design, design + change, piece.grid.cell_area_m2)


def _pool(piece: Piece, mine: NDArray[np.bool_], spill_level_m: float) -> NDArray[np.bool_]:
    """Cells that water at the spill level covers; where it would run off, the digging alone."""
    below = np.nan_to_num(piece.design_m, nan=np.inf) < spill_level_m
    deepest = int(np.argmin(np.where(mine, piece.design_m, np.inf)))
    numbers, _ = ndimage.label(below, structure=_ANY_CORNER)
    pool: NDArray[np.bool_] = (numbers == numbers.flat[deepest]) & below
    border = np.concatenate([pool[0], pool[-1], pool[:, 0], pool[:, -1]])
    return mine & below if border.any() or not pool.any() else pool


def sill_rows(
    built: Mapping[str, Built], tolerances: Tolerances
) -> list[tuple[SillBuilt, str, str]]:
    """Every sill with its verdict and what is to be done."""
    rows: list[tuple[SillBuilt, str, str]] = []
    for one in built.values():
        for sill in one.sills:
            if sill.line is None:
                rows.append((sill, "not surveyed", "survey it from side to side"))
            else:
                rows.append((sill, *sill_verdict(sill.line, sill.level_m, tolerances)))
    return rows


def names(values: Sequence[Any]) -> str:
    """List a few names."""
    shown = ", ".join(str(value) for value in values[:4])
    return shown + (f" and {len(values) - 4} more" if len(values) > 4 else "")
