"""Swale rows by number and rank."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.lines.rows.propose import SwaleRow


@dataclass(frozen=True, slots=True, eq=False)
class RankedRow:
    """A swale row among the others.

    Parameters
    ----------
    swale_id : its number, from 1.
    rank : place of a proposed row by what a metre keeps of the storm, 1 the best; 0 if drawn.
    name : as drawn; empty if proposed.
    soil : texture of the soil that most of it lies in; empty where none is known.
    """

    row: SwaleRow
    swale_id: int
    rank: int
    name: str
    soil: str

    @property
    def passes_to(self) -> int:
        """Number of the row that takes what it cannot hold; 0 for none."""
        return self.row.passes_to + 1 if self.row.passes_on_m3 > 0 else 0

    @property
    def stack_id(self) -> int:
        """Number of the rows that pass on to one another."""
        return self.row.stack

    @property
    def drawn(self) -> bool:
        """Whether a person drew it."""
        return self.row.drawn >= 0

    @property
    def flags(self) -> tuple[str, ...]:
        """Codes of the flag catalogue."""
        return self.row.flags


def ranked(rows: Sequence[SwaleRow], names: Sequence[str], soils: Sequence[str]) -> list[RankedRow]:
    """Return rows with their numbers and ranks, in their order.

    Parameters
    ----------
    names : of the rows that are drawn, in the order in which they are.
    soils : texture beneath each row.
    """
    proposed = [place for place, row in enumerate(rows) if row.drawn < 0]
    order = sorted(proposed, key=lambda place: (-rows[place].kept_m2, place))
    rank = {place: number for number, place in enumerate(order, start=1)}
    return [
        RankedRow(
            row, place + 1, rank.get(place, 0), names[row.drawn] if row.drawn >= 0 else "", soil
        )
        for place, (row, soil) in enumerate(zip(rows, soils, strict=True))
    ]
