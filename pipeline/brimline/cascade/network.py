"""Who spills to whom: elements, the outlets that link them, and where the water ends.

An element's outlets are taken in the order of their levels: the lowest takes all until its head
reaches the next. Its lowest sill decides where and at what level it spills.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from functools import cached_property
from heapq import heappop, heappush
from typing import TYPE_CHECKING, Final

from brimline.elements import Kind

if TYPE_CHECKING:
    from collections.abc import Mapping

    import networkx as nx

    from brimline.elements import Element, Outlet

NOWHERE: Final = ""  # the target of a link that nobody drew on


@dataclass(frozen=True, slots=True)
class Discharge:
    """A place where water may leave the site for good.

    Parameters
    ----------
    discharge_id : name, unique in a cascade.
    name : what the person calls it; unnamed ones are not safe outlets.
    level_m : level of the water or ground there, where it is known [m].
    """

    discharge_id: str
    name: str
    level_m: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """One way out of an element.

    Parameters
    ----------
    from_id, to_id : element that it leaves; element or discharge that it reaches.
    outlet : sill, pipe or rating.
    capacity_m3_s : what the ground or channel below the outlet carries safely [m³/s].
    """

    from_id: str
    to_id: str
    outlet: Outlet
    capacity_m3_s: float = math.inf


@dataclass(frozen=True, eq=False)
class Network:
    """A cascade.

    Parameters
    ----------
    elements, links, discharges : in the order in which results list them.

    Raises
    ------
    ValueError
        If a name is used twice, or a link leaves or reaches something that is not there, or an
        outlet lies below the floor of its element.
    """

    elements: tuple[Element, ...]
    links: tuple[Link, ...]
    discharges: tuple[Discharge, ...] = ()

    def __post_init__(self) -> None:
        ids = [element.element_id for element in self.elements]
        ids += [discharge.discharge_id for discharge in self.discharges]
        counted = Counter(ids)
        repeated = sorted(name for name in counted if counted[name] > 1 or name == NOWHERE)
        if repeated:
            raise ValueError(f"names must be unique and not empty; found again: {repeated}")
        for link in self.links:
            self._check_link(link)

    def _check_link(self, link: Link) -> None:
        if link.from_id not in self.index:
            raise ValueError(f"a link leaves {link.from_id!r}, which is not an element")
        known = link.to_id in self.index or link.to_id in self._discharge
        if link.to_id != NOWHERE and not known:
            raise ValueError(
                f"the link from {link.from_id} reaches {link.to_id!r}, which is neither an "
                "element nor a discharge"
            )
        floor_m = self.element(link.from_id).floor_m
        if link.outlet.crest_m < floor_m:
            raise ValueError(
                f"an outlet of {link.from_id} lies at {link.outlet.crest_m} m, below its floor "
                f"at {floor_m} m"
            )

    @cached_property
    def index(self) -> dict[str, int]:
        """Place of each element by name."""
        return {element.element_id: place for place, element in enumerate(self.elements)}

    @cached_property
    def _discharge(self) -> dict[str, Discharge]:
        return {discharge.discharge_id: discharge for discharge in self.discharges}

    def element(self, element_id: str) -> Element:
        """Return an element by name; raises KeyError where there is none."""
        return self.elements[self.index[element_id]]

    def discharge(self, discharge_id: str) -> Discharge | None:
        """Return a discharge by name; None where there is none."""
        return self._discharge.get(discharge_id)

    @cached_property
    def _ways_out(self) -> dict[str, tuple[Link, ...]]:
        leaving: dict[str, list[Link]] = {}
        for link in sorted(self.links, key=lambda link: link.outlet.crest_m):
            leaving.setdefault(link.from_id, []).append(link)
        return {name: tuple(links) for name, links in leaving.items()}

    def ways_out(self, element_id: str) -> tuple[Link, ...]:
        """Links that leave an element, lowest first: the order in which they take water."""
        return self._ways_out.get(element_id, ())

    def main_way_out(self, element_id: str) -> Link | None:
        """Return the lowest sill, or the lowest pipe where there is no sill, or None."""
        ways = self.ways_out(element_id)
        sills = [link for link in ways if not link.outlet.is_pipe]
        return next(iter(sills or ways), None)

    def spill_level_m(self, element_id: str) -> float:
        """Level at which an element spills: its lowest sill, or its shape's where none is drawn."""
        way = self.main_way_out(element_id)
        element = self.element(element_id)
        if way is None or way.outlet.is_pipe or way.outlet.crest_m <= element.floor_m:
            return element.spill_level_m
        return way.outlet.crest_m

    def spills_to(self, element_id: str) -> str:
        """Where an element spills; `NOWHERE` where it has no way out."""
        way = self.main_way_out(element_id)
        return way.to_id if way else NOWHERE

    def drop_m(self, link: Link) -> float | None:
        """Drop from an outlet to what it reaches; None where that is unknown.

        That is the level at which an element spills, the bed of a drain, or a discharge's level.
        """
        if link.to_id in self.index:
            below = self.element(link.to_id)
            drained = below.kind is Kind.DRAIN
            level_m = below.floor_m if drained else self.spill_level_m(link.to_id)
            return link.outlet.leaves_at_m - level_m
        discharge = self.discharge(link.to_id)
        if discharge is None or discharge.level_m is None:
            return None
        return link.outlet.leaves_at_m - discharge.level_m

    @cached_property
    def _graph(self) -> nx.DiGraph:
        import networkx as nx

        graph = nx.DiGraph()
        graph.add_nodes_from(range(len(self.elements)))
        graph.add_edges_from((at, to) for at, below in enumerate(self._below) for to in below)
        return graph

    @cached_property
    def _below(self) -> tuple[frozenset[int], ...]:
        """Places of the elements that each spills to."""
        below: list[set[int]] = [set() for _ in self.elements]
        for link in self.links:
            if link.to_id in self.index:
                below[self.index[link.from_id]].add(self.index[link.to_id])
        return tuple(map(frozenset, below))

    @cached_property
    def _falling(self) -> tuple[int, ...] | None:
        """Places of the elements from the top down, of those that could come next the first listed.

        None where some spill into each other in a ring.
        """
        below = self._below
        above = Counter(at for reached in below for at in reached)
        ready = [at for at in range(len(below)) if not above[at]]
        order = []
        while ready:
            at = heappop(ready)
            order.append(at)
            for one in below[at]:
                above[one] -= 1
                if not above[one]:
                    heappush(ready, one)
        return tuple(order) if len(order) == len(below) else None

    @cached_property
    def rings(self) -> tuple[tuple[str, ...], ...]:
        """Groups of elements that spill into each other in a ring, in listing order."""
        if self._falling is not None:
            return ()
        import networkx as nx

        groups = nx.strongly_connected_components(self._graph)
        looped = [g for g in groups if len(g) > 1 or self._graph.has_edge(*(2 * tuple(g)))]
        named = [tuple(self.elements[at].element_id for at in sorted(group)) for group in looped]
        return tuple(sorted(named, key=lambda names: self.index[names[0]]))

    @cached_property
    def order(self) -> tuple[int, ...]:
        """Places of the elements from the top of the cascade down; rings in listing order."""
        if self._falling is not None:
            return self._falling
        import networkx as nx

        condensed = nx.condensation(self._graph)
        first = {node: min(members) for node, members in condensed.nodes(data="members")}
        order: list[int] = []
        for node in nx.lexicographical_topological_sort(condensed, key=first.__getitem__):
            order += sorted(condensed.nodes[node]["members"])
        return tuple(order)

    def below(self, element_ids: set[str]) -> set[str]:
        """Elements that water from any of these reaches, themselves included."""
        reached = {self.index[name] for name in element_ids}
        waiting = [*reached]
        while waiting:
            further = self._below[waiting.pop()] - reached
            reached |= further
            waiting += further
        return {self.elements[at].element_id for at in reached}

    def with_element(self, element: Element) -> Network:
        """Return the network with the element of the same name replaced."""
        changed = tuple(
            element if old.element_id == element.element_id else old for old in self.elements
        )
        return replace(self, elements=changed)

    def rebuilt(self, elements: Mapping[str, Element], outlets: Mapping[int, Outlet]) -> Network:
        """Return the network with elements and outlets as they were really built.

        An outlet that the floor of its element now buries begins at that floor.

        Parameters
        ----------
        elements : by name; those left out stay as they are.
        outlets : by place in `links`; those left out stay as they are.
        """
        now = {one.element_id: elements.get(one.element_id, one) for one in self.elements}
        links = []
        for place, link in enumerate(self.links):
            outlet = outlets.get(place, link.outlet)
            buried_m = now[link.from_id].floor_m - outlet.crest_m
            outlet = outlet.raised(buried_m) if buried_m > 0 else outlet
            links.append(link if outlet is link.outlet else replace(link, outlet=outlet))
        return replace(self, elements=tuple(now.values()), links=tuple(links))

    def with_link(self, old: Link | None, new: Link) -> Network:
        """Return the network with one link replaced, or added where `old` is None."""
        if old is None:
            return replace(self, links=(*self.links, new))
        return replace(self, links=tuple(new if link is old else link for link in self.links))
