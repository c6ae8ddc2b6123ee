"""What an element costs by its dimensions: dug by itself on the survey, measured and priced."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import product
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from scipy.interpolate import RegularGridInterpolator

from brimline.cascade import SILL_WIDTH
from brimline.elements import Kind, Sill
from brimline.elements.building import (
    Quantity,
    SillAt,
    earth_quantities,
    fitting_quantities,
    over_bank_quantities,
    shapes_of,
)
from brimline.lines.sample import levels_of
from brimline.terrain.earthwork import Earth, Work, balanced, earth_by_label
from brimline.terrain.shaping import design as shaped_design

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.cascade import Free, Link
    from brimline.design import Design
    from brimline.elements import Element
    from brimline.elements.building import Building
    from brimline.grid import Elevation, Grid
    from brimline.terrain.earthwork import Soil

_REFINE: Final = 2  # parts of a cell's side: differences between sizes, not the bill
_LATTICE: Final = {1: 9, 2: 5, 3: 4}  # values of each dimension that are dug, by their number
_FEW: Final = 3  # the same where an element has still more


@dataclass(frozen=True, eq=False)
class Prices:
    """The ground, how it is built on, and what that costs.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; NaN is nodata.
    limit_m : how far a batter may run to meet the ground [m].
    rates : price of one unit by item of the bill; what is left out counts as nothing.
    stone_m, apron_m : thickness of stone on sills, and its length beyond the bank [m].
    """

    dem: Elevation
    grid: Grid
    how: Building
    limit_m: float
    soil: Soil
    rates: Mapping[str, float]
    stone_m: float = 0.0
    apron_m: float = 0.0

    def of(
        self, element: Element, drawn: shapely.Geometry, ways: Sequence[tuple[Link, Any]]
    ) -> float:
        """Return what an element costs, dug by itself.

        Hauls go from it or to it as if nothing else were built: what one element's spoil saves
        another is left to the bill of the whole.

        Parameters
        ----------
        drawn : its line, outline or point.
        ways : its ways out, and the line of each.

        Raises
        ------
        ValueError
            If it cannot be built there.
        """
        sills = [
            SillAt(link.outlet.crest_m, link.outlet.width_m, shapely.Point(line.coords[0]))
            for link, line in ways
            if isinstance(link.outlet, Sill) and link.outlet.width_m > 0
        ]
        quantities = [*self._earth(element, drawn, sills), *fitting_quantities(element)]
        quantities += self._stone(element, sills)
        if element.kind in (Kind.SWALE, Kind.DRAIN):
            quantities.append(Quantity(element.element_id, "form", drawn.length))
        return math.fsum(
            one.amount * self.rates.get(one.item, 0.0)
            for one in quantities
            if math.isfinite(one.amount)
        )

    def _earth(
        self, element: Element, drawn: shapely.Geometry, sills: Sequence[SillAt]
    ) -> list[Quantity]:
        shapes = shapes_of(element, drawn, sills, self._ground, self.how)
        if not shapes:
            return []
        ready = shaped_design(self.dem, self.grid, shapes, limit_m=self.limit_m)
        piece = ready.around(1, factor=_REFINE, built=True)
        earth: Earth = earth_by_label(
            piece.ground_m, piece.design_m, piece.grid.cell_area_m2, piece.dug_by,
            piece.heaped_by, 1,
        )[0]  # fmt: skip
        name = element.element_id
        spoil = balanced([Work(name, earth)], self.soil)
        return earth_quantities(name, earth, spoil.needs[name], self.soil, spoil.hauls)

    def _stone(self, element: Element, sills: Sequence[SillAt]) -> list[Quantity]:
        found: list[Quantity] = []
        if not self.stone_m or element.kind is Kind.TANK:
            return found
        for sill in sills:
            found += over_bank_quantities(
                element.element_id, sill, element.crest_level_m, self.how, self.stone_m,
                self.apron_m,
            )  # fmt: skip
        return found

    def _ground(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        return levels_of(self.dem, self.grid, x, y)


def cost_of(
    design: Design, free: Sequence[Free], prices: Prices, each: Sequence[float] = ()
) -> Callable[[tuple[float, ...]], float]:
    """Return what all elements with free dimensions cost, as a function of their values.

    Each element is dug at a lattice of its values, and its cost is taken as straight between them.

    Parameters
    ----------
    each : price of each unit of a dimension, besides the bill; nothing where left out.
    """
    parts = [
        _ElementCost.of(design, name, free, prices)
        for name in dict.fromkeys(one.element_id for one in free)
    ]
    more = np.array(each) if len(each) else np.zeros(len(free))

    def cost(values: tuple[float, ...]) -> float:
        return math.fsum(part(values) for part in parts) + float(np.dot(more, values))

    return cost


@dataclass(frozen=True, slots=True, eq=False)
class _ElementCost:
    """Cost of one element between the values at which it was dug."""

    places: tuple[int, ...]
    between: RegularGridInterpolator
    known: dict[tuple[float, ...], float] = field(default_factory=dict)

    def __call__(self, values: tuple[float, ...]) -> float:
        at = tuple(values[place] for place in self.places)
        if at not in self.known:
            self.known[at] = float(self.between([at])[0])
        return self.known[at]

    @classmethod
    def of(cls, design: Design, name: str, free: Sequence[Free], prices: Prices) -> _ElementCost:
        places = tuple(place for place, one in enumerate(free) if one.element_id == name)
        count = _LATTICE.get(len(places), _FEW)
        axes = [np.linspace(free[place].low, free[place].high, count) for place in places]
        costs = np.full([count] * len(places), math.nan)
        for at in product(range(count), repeat=len(places)):
            said = {
                free[p].dimension: float(axis[i])
                for p, axis, i in zip(places, axes, at, strict=True)
            }
            try:
                costs[at] = element_cost(design, name, said, prices)
            except ValueError:
                continue  # it cannot be built there, and no trial will be
        costs[np.isnan(costs)] = np.nanmax(costs) if np.isfinite(costs).any() else 0.0
        return cls(places, RegularGridInterpolator(axes, costs))


def element_cost(design: Design, name: str, said: Mapping[str, float], prices: Prices) -> float:
    """Return what one element costs with some of its dimensions changed.

    Raises
    ------
    ValueError
        If it cannot be built so.
    """
    network = design.network
    element = network.element(name)
    for dimension, value in said.items():
        if dimension != SILL_WIDTH:
            element = element.changed(dimension, value)
    main = network.main_way_out(name)
    ways = []
    for link, line in zip(design.links, design.lines, strict=True):
        if link.from_id != name:
            continue
        if link is main and SILL_WIDTH in said and isinstance(link.outlet, Sill):
            link = replace(link, outlet=replace(link.outlet, width_m=said[SILL_WIDTH]))
        ways.append((link, line))
    return prices.of(element, design.shape_of(name), ways)
