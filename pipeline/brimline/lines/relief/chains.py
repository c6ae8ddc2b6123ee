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

if TYPE_CHECKING:
    from numpy.typing import NDArray

_BELL_REACH = 4.0  # standard deviations at which a bell is cut off


@dataclass(frozen=True, eq=False)  # no slots: what is worked out is kept
class Chains:
    """Points of chains, chain after chain.

    Parameters
    ----------
    xy : float64 (points, 2); map coordinates [m].
    start : int64 (chains + 1,); first point of each, and the number of all. None is empty.
    """

    xy: NDArray[np.float64]
    start: NDArray[np.int64]

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
        return np.arange(len(self.xy)) - self.start[:-1][self.chain]

    @cached_property
    def last(self) -> NDArray[np.int64]:
        """Place of the last point of its chain, for each point."""
        return self.size[self.chain] - 1

    @cached_property
    def chainage_m(self) -> NDArray[np.float64]:
        """Length along its chain from the first point to each [m]."""
        along: NDArray[np.float64] = _kernels.chainages(self.xy, self.start)
        return along

    @cached_property
    def length_m(self) -> NDArray[np.float64]:
        """Length of each chain [m]."""
        length: NDArray[np.float64] = self.chainage_m[self.start[1:] - 1]
        return length

    @cached_property
    def step_m(self) -> NDArray[np.float64]:
        """Mean step of each chain, above 0 [m]."""
        return np.asarray(np.maximum(self.length_m / np.maximum(self.size - 1, 1), 1e-6))

    def moved(self, xy: NDArray[np.float64]) -> Chains:
        """Return the same chains with their points at other places."""
        return Chains(xy, self.start)

    def shifted(self, steps: int | NDArray[np.int64]) -> NDArray[np.int64]:
        """Index of the point that lies so many places on, at most the last or first of its chain.

        Parameters
        ----------
        steps : for all, or int64 (points,); negative ones lead back.
        """
        return self.start[:-1][self.chain] + np.clip(self.place + steps, 0, self.last)

    def change(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Change per point along each chain: mean of that before and that after."""
        ahead, behind = self.shifted(1), self.shifted(-1)
        changed: NDArray[np.float64] = (values[ahead] - values[behind]) / np.maximum(
            ahead - behind, 1
        )
        return changed

    def smoothed(self, sigma: float) -> Chains:
        """Smooth by a bell of `sigma` places; the ends stay where they are."""
        reach = int(_BELL_REACH * sigma + 0.5)
        padded = self.size + 2 * reach
        first = np.cumsum(padded) - padded
        chain = np.repeat(np.arange(len(padded)), padded)
        place = np.arange(int(padded.sum())) - first[chain] - reach
        begin, last = self.start[:-1][chain], self.size[chain] - 1
        # mirrored through the end points, so that these do not move
        inside = np.clip(place, 0, last)
        mirrored = np.clip(2 * inside - place, 0, last)
        values = self.xy[begin + inside]
        out = place != inside
        values[out] = 2 * values[out] - self.xy[(begin + mirrored)[out]]
        smooth = ndimage.gaussian_filter1d(values, sigma, axis=0, truncate=_BELL_REACH)
        return self.moved(np.ascontiguousarray(smooth[~out]))

    def running_mean(
        self, values: NDArray[np.float64], reach: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """Mean over `reach` places of each chain to both sides of what is not NaN; NaN stays."""
        means: NDArray[np.float64] = _kernels.running_means(values, self.start, reach)
        return means

    def at(
        self,
        where: NDArray[np.float64],
        values: NDArray[np.float64],
        chain: NDArray[np.int64],
        wanted: NDArray[np.float64],
    ) -> NDArray[np.float64]:
        """Values between points of chains.

        Parameters
        ----------
        where : float64 (points,); rises along each chain.
        values : float64 (points,)
        chain, wanted : (wanted,); the chain and where on it, within its first and last.
        """
        span = 1.0 + np.max(where, initial=0.0)
        offset = span * np.arange(len(self.size))
        before = np.searchsorted(where + offset[self.chain], wanted + offset[chain], side="right")
        end = self.start[1:][chain] - 1
        before = np.clip(before - 1, self.start[:-1][chain], end)
        after = np.minimum(before + 1, end)
        wide = where[after] - where[before]
        slope = (values[after] - values[before]) / np.where(wide > 0, wide, 1.0)
        found: NDArray[np.float64] = slope * (wanted - where[before]) + values[before]
        return found

    def evenly(self, step_m: float) -> Chains:
        """Chains along the same way with points at even steps of at most so much [m]."""
        count = np.maximum(np.ceil(self.length_m / step_m).astype(np.int64), 1) + 1
        start = np.concatenate([[0], np.cumsum(count)])
        chain = np.repeat(np.arange(len(count)), count)
        place = np.arange(len(chain)) - start[:-1][chain]
        along = place * (self.length_m / (count - 1))[chain]
        along[start[1:] - 1] = self.length_m
        xy = [self.at(self.chainage_m, self.xy[:, k], chain, along) for k in (0, 1)]
        return Chains(np.column_stack(xy), start)
