"""Choosing from the tree of hollows what is worth listing and what is kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.drainage.hollows import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.drainage.hollows.tree import HollowTree


@dataclass(frozen=True, slots=True)
class HollowLimits:
    """What a hollow must reach to be listed, and to be kept; sizes in cells.

    Raises
    ------
    ValueError
        If a limit is below 0.
    """

    min_depth_m: float
    min_size: float
    min_volume_cells_m: float
    keep_depth_m: float | None
    keep_size: float

    def __post_init__(self) -> None:
        lowest = min(self.min_depth_m, self.min_size, self.min_volume_cells_m, self.keep_size)
        if not lowest >= 0 or (self.keep_depth_m is not None and not self.keep_depth_m > 0):
            raise ValueError(
                f"hollows need limits of 0 or more and a keep_depth_m above 0 m, got {self}"
            )


@dataclass(frozen=True, slots=True)
class Listing:
    """Listed nodes in the order of their numbers.

    Parameters
    ----------
    nodes : int64 (hollows,)
    parent_ids, nesting : int32 (hollows,)
    number_of : int32 (nodes of the tree,); the innermost listed hollow that holds each node.
    """

    nodes: NDArray[np.int64]
    parent_ids: NDArray[np.int32]
    nesting: NDArray[np.int32]
    number_of: NDArray[np.int32]


def listed_nodes(tree: HollowTree, limits: HollowLimits, drawn: NDArray[np.int32]) -> Listing:
    """List the outermost hollows that reach the limits, and those inside that meet another such.

    Parameters
    ----------
    drawn : int32; nodes that a person pointed at.
    """
    reaching = kept_by_size(tree, limits)
    reaching |= (
        (tree.depth_m >= limits.min_depth_m)
        & (tree.depth_m > 0)
        & (tree.size >= max(limits.min_size, 1))
        & (tree.volume_cells_m >= limits.min_volume_cells_m)
    )
    pointed_at = np.zeros(reaching.size, dtype=np.bool_)
    _kernels.mark_up(drawn, tree.parent, pointed_at)
    reaching |= pointed_at
    inside = reaching & (tree.parent >= 0)
    siblings = np.bincount(tree.parent[inside], minlength=reaching.size)
    listed = reaching & ((tree.parent < 0) | (siblings[tree.parent] > 1))
    return _numbered(tree, listed)


def _numbered(tree: HollowTree, listed: NDArray[np.bool_]) -> Listing:
    """Give the nodes their numbers: outer ones first, then by deepest cell."""
    parents_first = np.argsort(-tree.level_m, kind="stable")
    unnumbered = np.flatnonzero(listed)
    one_based = np.zeros(listed.size, dtype=np.int32)
    one_based[unnumbered] = np.arange(1, unnumbered.size + 1)
    holder = one_based.copy()
    _kernels.inherit(parents_first, tree.parent, holder)
    parent = np.where(tree.parent >= 0, holder[tree.parent], 0)[unnumbered]
    nesting = np.zeros(unnumbered.size, dtype=np.int32)
    around = parent.copy()
    while (around > 0).any():
        nesting += around > 0
        around = np.where(around > 0, parent[around - 1], 0)
    order = np.lexsort((tree.deepest_cell[unnumbered], nesting))
    renumber = np.zeros(unnumbered.size + 1, dtype=np.int32)
    renumber[order + 1] = np.arange(1, unnumbered.size + 1)
    return Listing(
        nodes=unnumbered[order],
        parent_ids=renumber[parent[order]],
        nesting=nesting[order],
        number_of=renumber[holder],
    )


def kept_with_holders(
    listing: Listing, by_rule: NDArray[np.bool_], drawn: NDArray[np.int32]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Tell which hollows are kept or hold a kept one, and which are the innermost of these.

    Parameters
    ----------
    by_rule : bool (hollows,); those that a rule keeps.
    drawn : int32; nodes that a person pointed at.
    """
    kept = by_rule.copy()
    kept[listing.number_of[drawn] - 1] = True
    for hollow in range(kept.size - 1, -1, -1):  # inner ones come last
        if kept[hollow] and listing.parent_ids[hollow] > 0:
            kept[listing.parent_ids[hollow] - 1] = True
    innermost = kept.copy()
    innermost[listing.parent_ids[kept & (listing.parent_ids > 0)] - 1] = False
    return kept, innermost


def kept_by_size(tree: HollowTree, limits: HollowLimits) -> NDArray[np.bool_]:
    """Tell which nodes of the tree are kept for their depth and area."""
    if limits.keep_depth_m is None:
        return np.zeros(tree.parent.size, dtype=np.bool_)
    deep: NDArray[np.bool_] = tree.depth_m >= limits.keep_depth_m
    return deep & (tree.size >= limits.keep_size)
