"""Where labels go: first come, first served by rank, each at its first place that is free."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_BUCKET: Final = 40.0


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle along the sheet's sides, in points."""

    left: float
    bottom: float
    right: float
    top: float

    def meets(self, other: Box) -> bool:
        """Tell whether two boxes share more than an edge."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.bottom < other.top
            and other.bottom < self.top
        )

    def inside(self, other: Box) -> bool:
        """Tell whether this box lies wholly in another."""
        return (
            self.left >= other.left
            and self.right <= other.right
            and self.bottom >= other.bottom
            and self.top <= other.top
        )


@dataclass(frozen=True, slots=True)
class Place:
    """A centre for a label, and the angle that it is turned by, counter-clockwise."""

    x: float
    y: float
    angle_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class WantedLabel:
    """A label that asks for a place.

    Parameters
    ----------
    width, height : of the text with its margin, unturned, in points.
    places : where it may go, best first.
    rank : labels of lower rank are placed first.
    """

    text: str
    width: float
    height: float
    places: tuple[Place, ...]
    rank: float = 0.0
    colour: str = ""


def around(x: float, y: float, width: float, height: float, gap: float) -> tuple[Place, ...]:
    """Return the places around a point symbol: right, left, above, below, then the corners."""
    side, rise = gap + width / 2, gap + height / 2
    steps = [
        (side, 0.0), (-side, 0.0), (0.0, rise), (0.0, -rise),
        (side, rise), (-side, rise), (side, -rise), (-side, -rise),
    ]  # fmt: skip
    return tuple(Place(x + dx, y + dy) for dx, dy in steps)


def box_of(wanted: WantedLabel, place: Place) -> Box:
    """Return the upright box around a label at a place."""
    angle = math.radians(place.angle_deg)
    c, s = abs(math.cos(angle)), abs(math.sin(angle))
    half_width = (wanted.width * c + wanted.height * s) / 2
    half_height = (wanted.width * s + wanted.height * c) / 2
    return Box(
        place.x - half_width, place.y - half_height, place.x + half_width, place.y + half_height
    )


def placed(
    wanted: Sequence[WantedLabel], sheet: Box, taken: Iterable[Box] = ()
) -> list[tuple[WantedLabel, Place]]:
    """Give each label its first free place inside the sheet; one that finds none is left out.

    Parameters
    ----------
    taken : boxes that no label may cover, such as point symbols.
    """
    free = _Room(taken)
    found: list[tuple[WantedLabel, Place]] = []
    order = sorted(range(len(wanted)), key=lambda place: (wanted[place].rank, place))
    for label in (wanted[place] for place in order):
        for place in label.places:
            box = box_of(label, place)
            if box.inside(sheet) and free.allows(box):
                free.take(box)
                found.append((label, place))
                break
    return found


class _Room:
    """Boxes that are taken, sorted into buckets so that few need be compared."""

    def __init__(self, taken: Iterable[Box]) -> None:
        self._buckets: dict[tuple[int, int], list[Box]] = {}
        for box in taken:
            self.take(box)

    def take(self, box: Box) -> None:
        for key in self._keys(box):
            self._buckets.setdefault(key, []).append(box)

    def allows(self, box: Box) -> bool:
        return not any(
            box.meets(other) for key in self._keys(box) for other in self._buckets.get(key, ())
        )

    def _keys(self, box: Box) -> Iterable[tuple[int, int]]:
        cols = range(int(box.left // _BUCKET), int(box.right // _BUCKET) + 1)
        rows = range(int(box.bottom // _BUCKET), int(box.top // _BUCKET) + 1)
        return ((col, row) for col in cols for row in rows)
