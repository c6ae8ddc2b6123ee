"""In which order to build, so that no water is led to what is not built yet.

Places where water leaves for good are made safe first. Then elements are dug from the top of the
catchment down, so that what is open below is never under more water than it had before. An
overflow is opened only when both its ends are built; until then a gap is left in the mound there,
and water runs on over untouched ground.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

Action = Literal["make safe", "dig", "open overflow"]


@dataclass(frozen=True, slots=True)
class Way:
    """One way out of an element: to another, to a discharge point, or, empty, to nowhere."""

    from_id: str
    to_id: str


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the building.

    Parameters
    ----------
    number : from 1.
    element_id : what is built; the element whose overflow is opened.
    to_id : where an overflow leads; empty for other steps.
    in_ring : the element spills back to itself, so that no order is right; a person must look.
    """

    number: int
    action: Action
    element_id: str
    to_id: str = ""
    in_ring: bool = False


def build_order(levels_m: Mapping[str, float], ways: Sequence[Way]) -> tuple[Step, ...]:
    """Work out the steps.

    Of elements that nothing unbuilt feeds, the one with the highest level comes first; of equal
    ones the one whose name sorts first. Elements that spill to each other in a ring are dug by
    level once all that feeds the ring is built.

    Parameters
    ----------
    levels_m : spill level of each element [m].
    ways : overflows; what they reach and is no element is a discharge point.

    Raises
    ------
    ValueError
        If a way leaves what is no element.
    """
    for way in ways:
        if way.from_id not in levels_m:
            raise ValueError(f"an overflow leaves {way.from_id!r}, which is not an element")
    inner = [way for way in ways if way.to_id in levels_m]
    outlets = dict.fromkeys(way.to_id for way in ways if way.to_id and way.to_id not in levels_m)
    order, ring = _from_the_top(levels_m, inner)
    steps: list[tuple[Action, str, str]] = [("make safe", outlet, "") for outlet in outlets]
    built = set(outlets)
    waiting = [way for way in dict.fromkeys(ways) if way.to_id]
    for element_id in order:
        steps.append(("dig", element_id, ""))
        built.add(element_id)
        ready = [way for way in waiting if {way.from_id, way.to_id} <= built]
        steps += [("open overflow", way.from_id, way.to_id) for way in ready]
        waiting = [way for way in waiting if way not in ready]
    return tuple(
        Step(number, action, name, to_id, name in ring)
        for number, (action, name, to_id) in enumerate(steps, start=1)
    )


def _from_the_top(levels_m: Mapping[str, float], ways: Sequence[Way]) -> tuple[list[str], set[str]]:
    """Elements in the order of digging, and those of rings."""
    import networkx as nx

    graph = nx.DiGraph()
    graph.add_nodes_from(sorted(levels_m))
    graph.add_edges_from((way.from_id, way.to_id) for way in ways)
    condensed = nx.condensation(graph)
    groups = {
        node: sorted(members, key=lambda name: (-levels_m[name], name))
        for node, members in condensed.nodes(data="members")
    }
    from_the_top = nx.lexicographical_topological_sort(
        condensed, key=lambda node: (-levels_m[groups[node][0]], groups[node][0])
    )
    ring = {
        name
        for members in groups.values()
        for name in members
        if len(members) > 1 or graph.has_edge(name, name)
    }
    return [name for node in from_the_top for name in groups[node]], ring
