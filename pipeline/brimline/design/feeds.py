"""Drawn feeds: which store is filled from where, through the year and before a storm."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import shapely

from brimline.balance.system import Feed
from brimline.design.ways import NEAR_M
from brimline.errors import Problem, Severity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.design.elements import PlacedElement
    from brimline.design.plan import DrawnFeed


def feeds_of(
    rows: Sequence[DrawnFeed], placed: Sequence[PlacedElement]
) -> tuple[tuple[Feed, ...], list[Problem]]:
    """Return the feeds; one that fills nothing is told and left out."""
    found: list[Feed] = []
    problems: list[Problem] = []
    names = {one.name for one in placed}
    for row in rows:
        start, end = (shapely.Point(row.shape.coords[at]) for at in (0, -1))
        to_id = row.to_id or _near(end, placed)
        others = [one for one in placed if one.name != to_id]  # a short one begins near its end too
        from_id = row.from_id or _near(start, others)
        unknown = to_id not in names or (from_id and from_id not in names) or from_id == to_id
        if unknown:
            problems.append(
                Problem(
                    Severity.WARNING,
                    f"{row.name} fills nothing and was left out: it must end at a store, and begin"
                    " at another one or away from any",
                    "draw it to the store that it fills, or fill in from_id and to_id",
                    f"plan, {row.LAYER}",
                )
            )
            continue
        found.append(Feed(row.name, to_id, row.most_m3_d, row.below_share, from_id))
    return tuple(found), problems


def kept_filled(
    placed: Sequence[PlacedElement], feeds: Sequence[Feed]
) -> tuple[PlacedElement, ...]:
    """Return elements as full before a storm as their feeds keep them.

    In a storm a feed stands still, because its store holds what it is kept to.
    """
    shares: dict[str, float] = {}
    for feed in feeds:
        shares[feed.to_id] = max(shares.get(feed.to_id, 0.0), feed.below_share)
    return tuple(
        replace(one, element=one.element.kept_full(shares.get(one.name, 0.0))) for one in placed
    )


def _near(point: shapely.Point, placed: Sequence[PlacedElement]) -> str:
    """Name of the element at a point, empty where none is near."""
    near = [(one.shape.distance(point), one.name) for one in placed]
    distance_m, name = min(near, default=(NEAR_M + 1, ""))
    return name if distance_m <= NEAR_M else ""
