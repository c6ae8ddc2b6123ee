"""Many chains of points behind one another, and what is done to each of them in one go.

A site has hundreds of courses of some hundred points; an array operation on each of them in turn
spends its time on being called.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from brimline.lines.relief import _kernels
from brimline.lines.sample import chainage

if TYPE_CHECKING:
    from numpy.typing import NDArray

_BELL_REACH = 4.0  # standard deviations at which a bell is cut off


@dataclass(frozen=True, eq=False)  # no slots: what is worked out is kept
class Chains:
    """Where each of many chains of points begins; no chain is empty.

    Parameters
    ----------
    start : int64 (chains + 1,); first point of each, and the number of all.
    """

    start: NDArray[np.int64]

    @classmethod
    def of_sizes(cls, size: NDArray[np.int64]) -> Chains:
        """Return chains of so many points."""
        return cls(np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(size)]))

    @cached_property
    def size(self) -> NDArray[np.int64]:
        """Number of points of each chain."""
        return np.diff(self.start)

    @cached_property
    def chain(self) -> NDArray[np.int64]:
        """Chain of each point."""
        return np.repeat(np.arange(len(self.size)), self.size)

    @cached_property
    def place(self) -> NDArray[np.int64]:
        """Place of each point in its chain, from 0."""
        return np.arange(len(self.chain)) - np.repeat(self.start[:-1], self.size)

    @cached_property
    def last(self) -> NDArray[np.int64]:
        """Place of the last point of its chain, for each point."""
        return np.repeat(self.size - 1, self.size)

    @cached_property
    def _beside(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Index of the point before and after each, of itself at an end."""
        here = np.arange(len(self.chain))
        return here - (self.place > 0), here + (self.place < self.last)

    def chainage(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Length along its chain from the first point to each of the points (points, 2)."""
        return chainage(xy, self.chain)

    def at_last(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the value at the last point of each chain."""
        return values[self.start[1:] - 1]

    def mean_step(self, along: NDArray[np.float64]) -> NDArray[np.float64]:
        """Mean step of each chain, above 0, by the length along it."""
        return np.asarray(np.maximum(self.at_last(along) / np.maximum(self.size - 1, 1), 1e-6))

    def shifted(self, steps: NDArray[np.int64]) -> NDArray[np.int64]:
        """Index of the point that lies so many places on, at most the last or first of its chain.

        Parameters
        ----------
        steps : int64 (points,); negative ones lead back.
        """
        to = np.minimum(np.maximum(self.place + steps, 0), self.last)
        return np.asarray(np.repeat(self.start[:-1], self.size) + to)

    def change(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Change per point along each chain: mean of that before and that after."""
        before, after = self._beside
        return np.asarray((values[after] - values[before]) / np.maximum(after - before, 1))

    def smoothed(self, xy: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
        """Smooth points (points, 2) by a bell of `sigma` places.

        The ends of chains that are longer than the bell's reach stay where they are.
        """
        reach = int(_BELL_REACH * sigma + 0.5)
        padded = Chains.of_sizes(self.size + 2 * reach)
        place = padded.place - reach
        last = np.repeat(self.size - 1, padded.size)
        begin = np.repeat(self.start[:-1], padded.size)
        # mirrored through the end points, so that these do not move
        inside = np.minimum(np.maximum(place, 0), last)
        values = xy[begin + inside]
        out = np.flatnonzero(place != inside)
        mirrored = np.minimum(np.maximum(2 * inside[out] - place[out], 0), last[out])
        values[out] = 2 * values[out] - xy[begin[out] + mirrored]
        smooth = ndimage.gaussian_filter1d(values, sigma, axis=0, truncate=_BELL_REACH)
        return np.ascontiguousarray(smooth[place == inside])

    def running_mean(
        self, values: NDArray[np.float64], reach: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """Mean over `reach` places of each chain to both sides of what is not NaN; NaN stays."""
        means: NDArray[np.float64] = _kernels.running_means(values, self.start, reach)
        return means

    def at(
        self,
        along: NDArray[np.float64],
        values: NDArray[np.float64],
        wanting: Chains,
        wanted: NDArray[np.float64],
    ) -> NDArray[np.float64]:
        """Values between the points of chains.

        Parameters
        ----------
        along : float64 (points,); rises from 0 along each chain.
        values : float64 (points,) or (points, columns)
        wanting, wanted : as many chains, and for each of their points where it lies on the chain.
        """
        span = 1.0 + np.max(along, initial=0.0)
        offset = span * np.arange(len(self.size))
        ahead = np.searchsorted(
            along + np.repeat(offset, self.size),
            wanted + np.repeat(offset, wanting.size),
            side="right",
        )
        first = np.repeat(self.start[:-1], wanting.size)
        last = np.repeat(self.start[1:] - 1, wanting.size)
        before = np.minimum(np.maximum(ahead - 1, first), last)
        after = np.minimum(before + 1, last)
        wide = along[after] - along[before]
        wide[wide <= 0] = 1.0
        since = wanted - along[before]
        if values.ndim > 1:
            wide, since = wide[:, None], since[:, None]
        slope = (values[after] - values[before]) / wide
        return np.asarray(slope * since + values[before])

    def evenly(self, xy: NDArray[np.float64], step_m: float) -> tuple[Chains, NDArray[np.float64]]:
        """Chains along the same way with points at even steps of at most so much [m]."""
        along = self.chainage(xy)
        length = self.at_last(along)
        even = Chains.of_sizes(np.maximum(np.ceil(length / step_m).astype(np.int64), 1) + 1)
        wanted = even.place.astype(np.float64)
        wanted *= np.repeat(length / (even.size - 1), even.size)
        wanted[even.start[1:] - 1] = length
        return even, self.at(along, xy, even, wanted)
