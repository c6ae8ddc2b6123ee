"""A cascade as the records that the kernels read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.cascade.step.records import ELEMENT, LINK, STAGE
from brimline.elements._kernels import PIPE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from brimline.cascade.network import Link, Network
    from brimline.elements.storage import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Packed:
    """Records of elements and links, all stage tables and ratings, links listed by element."""

    elements: NDArray[Any]
    links: NDArray[Any]
    table: NDArray[Any]
    heads: FloatArray
    flows: FloatArray
    lists: NDArray[np.int64]


def pack(
    network: Network,
    ways: tuple[Link, ...],
    broken: frozenset[int],
    part_of: Mapping[int, int],
) -> Packed:
    """Lay a cascade out for the kernels.

    Parameters
    ----------
    ways : links to route, in the order of the results.
    broken : places in `ways` of the links that are to lead nowhere.
    part_of : place in `ways` of the way that a link is a part of; others are whole.
    """
    elements = _elements(network)
    links, heads, flows = _links(network, ways, broken)
    links["whole"] = [part_of.get(place, place) for place in range(len(ways))]
    count = elements.size
    out_starts, out = _grouped(links["origin"], count)
    in_starts, inward = _grouped(links["target"], count)
    elements["out_first"], elements["out_last"] = out_starts[:-1], out_starts[1:]
    elements["in_first"] = in_starts[:-1] + out.size
    elements["in_last"] = in_starts[1:] + out.size
    return Packed(elements, links, _table(network), heads, flows, np.concatenate([out, inward]))


def _elements(network: Network) -> NDArray[Any]:
    rows = np.zeros(len(network.elements), dtype=ELEMENT)
    starts = _starts([element.stages.level_m.size for element in network.elements])
    rows["table_first"], rows["table_last"] = starts[:-1], starts[1:]
    for row, element in zip(rows, network.elements, strict=True):
        row["floor"] = element.floor_m
        row["conductivity"] = element.soak.design_m_s
        row["suction"] = element.soak.suction_mm / 1000
        row["deficit"] = element.soak.deficit
        start_m = max(element.start_level_m, element.floor_m)
        row["volume"] = element.stages.storage_at(start_m)
    return rows


def _table(network: Network) -> NDArray[Any]:
    tables = [element.stages for element in network.elements]
    rows = np.zeros(sum(table.level_m.size for table in tables), dtype=STAGE)
    rows["level"] = np.concatenate([table.level_m for table in tables])
    rows["storage"] = np.concatenate([table.storage_m3 for table in tables])
    rows["soak"] = np.concatenate([table.soak_area_m2 for table in tables])
    return rows


def _links(
    network: Network, ways: tuple[Link, ...], broken: frozenset[int]
) -> tuple[NDArray[Any], FloatArray, FloatArray]:
    rows = np.zeros(len(ways), dtype=LINK)
    outlets = [way.outlet.row() for way in ways]
    starts = _starts([outlet.heads_m.size for outlet in outlets])
    rows["rating_first"], rows["rating_last"] = starts[:-1], starts[1:]
    for place, (row, way, outlet) in enumerate(zip(rows, ways, outlets, strict=True)):
        row["origin"] = network.index[way.from_id]
        row["target"] = -1 if place in broken else network.index.get(way.to_id, -1)
        row["kind"], row["crest"], row["tail"] = outlet.kind, outlet.crest_m, outlet.tail_m
        row["p0"], row["p1"], row["p2"] = outlet.params
        if row["target"] >= 0:
            _block_uphill(row, way, network)
    heads = np.concatenate([outlet.heads_m for outlet in outlets])
    return rows, heads, np.concatenate([outlet.flows_m3_s for outlet in outlets])


def _block_uphill(row: Any, way: Link, network: Network) -> None:  # noqa: ANN401 - a record
    """Let water run uphill only once it stands over the level that it is led to.

    Whatever was drawn, the highest point of the way is then at least where the element above
    spills; nothing runs back over it.
    """
    short_m = -(network.drop_m(way) or 0.0)
    if short_m < 0:
        return
    row["crest"] += short_m
    row["tail"] += short_m
    row["one_way"] = True
    if row["kind"] == PIPE:
        row["p1"] += short_m


def _starts(sizes: list[int]) -> NDArray[np.int64]:
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)


def _grouped(owners: NDArray[np.int64], count: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Links by owner: where each owner's list starts, and the lists one after another."""
    members = np.flatnonzero(owners >= 0)
    members = members[np.argsort(owners[members], kind="stable")].astype(np.int64)
    sizes = np.bincount(owners[members], minlength=count)
    return _starts(list(sizes)), members
