"""Long drains as several pools in a row, so that a flood wave keeps its height.

One pool flattens a peak that rises faster than water travels through it. A drain is therefore
routed as pools of the characteristic length Q/(B S c), over which storage and outflow go together
in a real channel (Kalinin & Milyukov 1957); such a row flattens a wave as much as diffusion does
(Cunge 1969). What comes of it is put together again for the whole drain.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline.cascade.network import Link, Network
from brimline.elements import Drain, Rating, Sill

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.elements import Element

MOST_POOLS: Final = 32  # of one drain
_JOINT: Final = "\x1f"  # not to be found in a name


@dataclass(frozen=True, slots=True, eq=False)
class DrainReaches:
    """A cascade with its drains cut up, and how to put it together again.

    Parameters
    ----------
    network : the cascade's elements in their order, of a drain its uppermost pool; then the
        further pools.
    ways : the cascade's ways in their order, a drain's lower end leaving its lowest pool; then
        those between pools, and the brims of the further pools.
    owner : int64 (elements of `network`,), place in the cascade of what each is a part of.
    bed_drop_m : float64 (elements of `network`,), how far its bed lies below its owner's [m].
    brim_of : place among `ways` of a further pool's brim to that of its owner's brim.
    """

    network: Network
    ways: tuple[Link, ...]
    owner: NDArray[np.int64]
    bed_drop_m: NDArray[np.float64]
    brim_of: dict[int, int]

    @property
    def whole(self) -> bool:
        """Whether nothing was cut."""
        return not self.brim_of


def cut(network: Network, ways: tuple[Link, ...]) -> DrainReaches:
    """Cut every long drain into pools.

    Parameters
    ----------
    ways : links of the network, then the brim of each element.
    """
    count = len(network.elements)
    elements, owner, drops = list(network.elements), list(range(count)), [0.0] * count
    moved, inner, brims = list(ways), [], []
    for place, link in enumerate(network.links):
        at = network.index[link.from_id]
        if elements[at] is not network.elements[at] or not _is_lower_end(link, elements[at]):
            continue
        pools = _pools_of(elements[at])
        if len(pools) < 2:
            continue
        brim_at = len(network.links) + at
        elements[at] = pools[0]
        moved[brim_at] = _brim(pools[0], ways[brim_at], network)
        for upper, pool in pairwise(pools):
            elements.append(pool)
            owner.append(at)
            drops.append(pools[0].floor_m - pool.floor_m)
            inner.append(Link(upper.element_id, pool.element_id, _outlet(upper)))
            brims.append((brim_at, _brim(pool, ways[brim_at], network)))
        moved[place] = replace(link, from_id=pools[-1].element_id, outlet=_outlet(pools[-1]))
    owners = np.array(owner, dtype=np.int64)
    if not inner:
        return DrainReaches(network, ways, owners, np.array(drops), {})
    first = len(ways) + len(inner)
    whole = Network(tuple(elements), (*moved[: len(network.links)], *inner), network.discharges)
    return DrainReaches(
        whole,
        (*moved, *inner, *(brim for _, brim in brims)),
        owners,
        np.array(drops),
        {first + k: brim_at for k, (brim_at, _) in enumerate(brims)},
    )


def _is_lower_end(link: Link, element: Element) -> bool:
    drain, outlet = element.shape, link.outlet
    return (
        isinstance(drain, Drain)
        and isinstance(outlet, Rating)
        and not outlet.is_pipe
        and outlet.crest_m == drain.from_level_m
    )


def _pools_of(element: Element) -> tuple[Element, ...]:
    """Pools of a drain from the top, their banks raised as its own were."""
    drain = element.shape
    if not isinstance(drain, Drain):
        return (element,)
    raised_m = element.crest_level_m - (drain.from_level_m + drain.depth_m)
    return tuple(
        replace(pool, crest_level_m=pool.crest_level_m + raised_m) if raised_m else pool
        for pool in _as_drawn(drain)
    )


def pools_wanted(drain: Drain) -> int:
    """Return how many pools of the characteristic length the drain is long."""
    return max(round(drain.length_m / drain.reach_m()), 1)


@lru_cache(maxsize=512)
def _as_drawn(drain: Drain) -> tuple[Element, ...]:
    count = min(pools_wanted(drain), MOST_POOLS)
    beds = np.linspace(drain.from_level_m, drain.to_level_m, count + 1).tolist()
    pieces = [
        replace(
            drain,
            element_id=drain.element_id + (f"{_JOINT}{at}" if at else ""),
            from_level_m=beds[at],
            to_level_m=beds[at + 1],
            length_m=drain.length_m / count,
        )
        for at in range(count)
    ]
    return tuple(piece.element() for piece in pieces)


def _outlet(pool: Element) -> Rating:
    if not isinstance(pool.shape, Drain):
        raise TypeError(f"{pool.element_id} is not a piece of a drain")
    return _rating(pool.shape)


@lru_cache(maxsize=4096)
def _rating(drain: Drain) -> Rating:
    return drain.outlet()


def _brim(pool: Element, brim: Link, network: Network) -> Link:
    """Brim of a pool: to where the drain's brim leads, if that lies lower."""
    own = replace(
        brim, from_id=pool.element_id, outlet=Sill(pool.crest_level_m, pool.brim_length_m)
    )
    drop = network.drop_m(own)
    return own if drop is None or drop > 0 else replace(own, to_id="")


def gathered(values: NDArray[Any], reaches: DrainReaches, count: int) -> NDArray[np.float64]:
    """Sum values of pools by their owners, over the last axis."""
    total = np.array(values[..., :count], dtype=np.float64)
    for at in range(count, reaches.owner.size):
        total[..., reaches.owner[at]] += values[..., at]
    return total


def deepest(levels: NDArray[np.float64], reaches: DrainReaches, count: int) -> NDArray[np.float64]:
    """Greatest depth of each owner's pools, as a level at its upper end."""
    best = levels[..., :count].copy()
    for at in range(count, reaches.owner.size):
        mine = reaches.owner[at]
        best[..., mine] = np.maximum(best[..., mine], levels[..., at] + reaches.bed_drop_m[at])
    return best


def together(
    reaches: DrainReaches,
    count: int,
    ways: int,
    elements: NDArray[Any],
    links: NDArray[Any],
    through: NDArray[np.float64],
) -> tuple[NDArray[Any], NDArray[Any], NDArray[np.float64]]:
    """Put the records of pools and of their ways together again.

    Parameters
    ----------
    count, ways : numbers of the cascade's own elements and ways.
    elements, links, through : records of all at the end, and the flows of all ways by time.
    """
    whole, own, flows = elements[:count].copy(), links[:ways].copy(), through[:, :ways].copy()
    for name in ("volume", "sum_soaked"):
        whole[name] = gathered(elements[name], reaches, count)
    peaks = elements["peak_level"] + reaches.bed_drop_m
    for at in range(count, reaches.owner.size):
        mine = reaches.owner[at]
        if peaks[at] > whole["peak_level"][mine]:
            whole["peak_level"][mine] = peaks[at]
            whole["peak_time"][mine] = elements["peak_time"][at]
    own["origin"] = reaches.owner[own["origin"]]
    inside = own["target"] >= 0
    own["target"][inside] = reaches.owner[own["target"][inside]]
    for part, brim in reaches.brim_of.items():
        flows[:, brim] += through[:, part]
        for name in ("sum_forward", "sum_back"):
            own[name][brim] += links[name][part]
    return whole, own, flows
