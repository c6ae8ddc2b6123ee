"""The legs of lines, with boxes about runs of them so that most are never looked at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from brimline.lines.plane import _kernels

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True, slots=True, eq=False)
class Legs:
    """Straight pieces between the vertices of lines.

    Parameters
    ----------
    ends : float64 (legs, 4), x and y of the first and of the second end [m].
    box : float64 (blocks, 4), bounds of each block of legs [m].
    """

    ends: NDArray[np.float64]
    box: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.ends)


def legs_of(lines: BaseGeometry | Sequence[Any] | NDArray[Any]) -> Legs:
    """Take lines apart into their legs.

    Parameters
    ----------
    lines : LineStrings, or shapes made of them; empty ones have no legs.
    """
    parts = shapely.get_parts(np.atleast_1d(np.asarray(lines, dtype=object)))
    xy, index = shapely.get_coordinates(parts, return_index=True)
    joined = index[1:] == index[:-1]
    ends = np.ascontiguousarray(np.hstack([xy[:-1], xy[1:]])[joined]).reshape(-1, 4)
    return Legs(ends, boxes_of(ends))


def boxes_of(places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Bounds of each block of places.

    Parameters
    ----------
    places : float64 (places, 2 or 4), x and y of a point or of both ends of a leg [m].

    Returns
    -------
    float64 (blocks, 4), west, south, east, north [m].
    """
    boxes: NDArray[np.float64] = _kernels.boxes(places)
    return boxes


def nearer_m(
    points: NDArray[np.float64], index: NDArray[np.int64], own: Legs, others: Legs, *, most_m: float
) -> NDArray[np.float64]:
    """By how much points along lines are nearer to their own legs than to others [m].

    Parameters
    ----------
    points, index : float64 (points, 2) [m] and int64 (points,), line after line.
    most_m : differences above this may be told as smaller than they are, but not than this [m].

    Returns
    -------
    float64 (points,); inf where there are no others [m].

    Raises
    ------
    ValueError
        If there are no own legs.
    """
    if len(own) == 0:
        raise ValueError("own has no legs to be near to")
    if len(others) == 0:
        return np.full(len(points), np.inf)
    found: NDArray[np.float64] = _kernels.nearer(
        points, index, own.ends, own.box, others.ends, others.box, most_m
    )
    return found


def crossings(line: NDArray[np.float64], others: Legs) -> NDArray[np.float64]:
    """Chainages at which a line meets legs, rising [m].

    Parameters
    ----------
    line : float64 (vertices, 2) [m].

    Returns
    -------
    float64; a place where two legs meet on the line is told twice.
    """
    found: NDArray[np.float64] = _kernels.crossings(line, others.ends, others.box)
    return found
