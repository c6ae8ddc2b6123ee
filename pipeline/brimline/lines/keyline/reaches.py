"""Straight reaches of a long profile: where it bends, and how sure that is against noise.

The profile is fitted by a broken line. Breaks are sought one after another while the line departs
from the profile by more than a small part of its fall and the best break is surer than chance, all
places looked at allowed for; then each must hold its own again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage
from scipy.special import ndtr

from brimline.lines.keyline.breaks import _kernels

if TYPE_CHECKING:
    from numpy.typing import NDArray

_CHANCE = 0.05  # of one break too many in a straight profile
_STRAIGHT = 0.03  # a reach that bends by less than this part of the whole fall is straight
_MOST = 12  # breaks in one valley
_SWEEPS = 3
_FEWEST = 5  # stations between which a break is judged
_FINE = 41  # places tried for a break between its neighbours


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise along a profile: alike over a distance, less so with exp(-distance / alike).

    Parameters
    ----------
    sigma_m : standard deviation [m].
    alike_m : distance over which the correlation falls to 1/e [m].
    """

    sigma_m: float
    alike_m: float

    def rho(self, step_m: float) -> float:
        """Correlation of the noise of two places so far apart."""
        return float(np.exp(-step_m / self.alike_m)) if self.alike_m > 0 else 0.0

    def drawn(
        self, stations: int, step_m: float, random: np.random.Generator
    ) -> NDArray[np.float64]:
        """Draw noise at stations so far apart: white noise under a bell as wide, float64 [m]."""
        wide = max(self.alike_m / np.sqrt(np.pi) / step_m, 1e-3)  # same length times variance
        margin = int(4 * wide) + 1
        white = random.normal(size=stations + 2 * margin)
        # a bell of white noise has the variance 1/(2 sqrt(pi) width)
        scale = self.sigma_m * np.sqrt(max(2 * np.sqrt(np.pi) * wide, 1.0))
        calm = ndimage.gaussian_filter1d(white, wide)[margin : margin + stations]
        return np.asarray(scale * calm, dtype=np.float64)

    def long_run(self) -> float:
        """Return what decides over distances beyond `alike_m`: variance times distance [m³]."""
        return self.sigma_m**2 * max(self.alike_m, 1e-9)


@dataclass(frozen=True, slots=True, eq=False)
class ProfileReaches:
    """A profile as straight reaches.

    Parameters
    ----------
    breaks_m : float64 (k,); chainages where the slope changes [m].
    slopes : float64 (k + 1,); rise per metre of each reach; negative falls.
    sure : float64 (k,); how sure each break is, 0 to 1.
    """

    breaks_m: NDArray[np.float64]
    slopes: NDArray[np.float64]
    sure: NDArray[np.float64]


def hinges(s: NDArray[np.float64], at: NDArray[np.float64]) -> NDArray[np.float64]:
    """One column for each place: 0 up to it, then rising with slope 1."""
    return np.maximum(s[:, None] - at[None, :], 0.0)


def gains(
    base: NDArray[np.float64], columns: NDArray[np.float64], z: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How far each column alone, beside the base, explains `z`: the definition, told plainly.

    The search has the same of `breaks`, which takes the columns of breaks together.

    Returns
    -------
    score : float64 (columns,); the coefficient over its standard error under unit noise.
    unit : float64 (n, columns); the columns freed of the base, at length 1.
    """
    q, _ = np.linalg.qr(base)
    free = columns - q @ (q.T @ columns)
    length = np.sqrt(np.einsum("ij,ij->j", free, free))
    unit = free / np.where(length > 1e-9, length, np.inf)
    return unit.T @ (z - q @ (q.T @ z)), unit


def chance(score: float, unit: NDArray[np.float64]) -> float:
    """Upper bound for the probability that the best of many scores reaches `score` by noise alone.

    The scores are projections of unit noise on a path over the sphere, whose length says how many
    independent places were looked at. Either sign counts.

    References
    ----------
    Hotelling (1939), Tubes and spheres in n-spaces, doi:10.2307/2371512; Davies (1987), Hypothesis
    testing when a nuisance parameter is present only under the alternative,
    doi:10.1093/biomet/74.1.33, equation 3.4.
    """
    steps = np.clip(np.einsum("ij,ij->j", unit[:, 1:], unit[:, :-1]), -1.0, 1.0)
    path = float(np.arccos(steps).sum())
    return _bound(score, path)


def _bound(score: float, path: float) -> float:
    """`chance` for a path of known length [rad]."""
    bound = ndtr(-score) + path / (2 * np.pi) * np.exp(-0.5 * score * score)
    return float(min(2 * bound, 1.0))


def straight_reaches(
    s: NDArray[np.float64], z: NDArray[np.float64], noise: Noise, *, min_reach_m: float
) -> ProfileReaches:
    """Divide a profile into straight reaches.

    Parameters
    ----------
    s, z : float64 (n,); chainage at even steps and level [m].
    noise : what the levels are uncertain by; where the profile is rougher than that about its
        reaches, its own roughness is taken.
    min_reach_m : shortest reach [m].

    References
    ----------
    Muggeo (2003), Estimating regression models with unknown break-points, doi:10.1002/sim.1545
    (the broken line); Bai & Perron (1998), doi:10.2307/2998540 (one break after another, each kept
    only if it is significant).
    """
    search = _Search(np.ascontiguousarray(s), z - z.mean(), noise, min_reach_m)
    breaks = search.settled(search.forward())
    residual = _kernels.off_line(search.s, search.z, breaks)
    search = replace(search, noise=rougher(noise, residual, search.step_m))
    while True:
        chances = np.array([search.chance_of(breaks, place) for place in range(len(breaks))])
        if not chances.size or chances.max() < _CHANCE:
            break
        breaks = search.settled(np.delete(breaks, int(chances.argmax())))
    return ProfileReaches(breaks_m=breaks, slopes=_slopes(s, z, breaks), sure=1.0 - chances)


def _slopes(
    s: NDArray[np.float64], z: NDArray[np.float64], breaks: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Slope of each reach of the least-squares broken line with given breaks."""
    base = np.column_stack([np.ones_like(s), s, hinges(s, breaks)])
    found, *_ = np.linalg.lstsq(base, z, rcond=None)
    return np.cumsum(found[1:])


def rougher(noise: Noise, residual: NDArray[np.float64], step_m: float) -> Noise:
    """Take the stated noise, or what the residuals show where it weighs more over distance.

    Residuals are alike over the sum of their autocorrelation up to its first zero.
    """
    n = len(residual)
    together = np.correlate(residual, residual, mode="full")[n - 1 :]
    if together[0] == 0.0:
        return noise
    alike = together / together[0]
    ends = np.flatnonzero(alike <= 0)
    alike = alike[: ends[0]] if ends.size else alike
    shown = Noise(float(residual.std()), step_m * float(alike.sum() - 0.5))
    return shown if shown.long_run() > noise.long_run() else noise


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """A profile in which breaks are sought."""

    s: NDArray[np.float64]
    z: NDArray[np.float64]
    noise: Noise
    min_reach_m: float

    @property
    def step_m(self) -> float:
        return float(self.s[1] - self.s[0])

    @property
    def rho(self) -> float:
        """Correlation of the noise of neighbouring stations."""
        return self.noise.rho(self.step_m)

    @property
    def unit_m(self) -> float:
        """Standard deviation of what the noise adds from station to station [m]."""
        return self.noise.sigma_m * float(np.sqrt(1 - self.rho**2))

    def forward(self) -> NDArray[np.float64]:
        """Add the best break until it is no better than chance, or the line is close enough."""
        breaks: NDArray[np.float64] = np.empty(0)
        while len(breaks) < _MOST:
            miss = _kernels.off_line(self.s, self.z, breaks)
            if np.abs(miss).max() <= _STRAIGHT * np.ptp(self.z):
                break
            ends = np.concatenate([[self.s[0]], breaks, [self.s[-1]]])
            at = np.concatenate(
                [self._places(a, b, max(3, int((b - a) / self.step_m))) for a, b in pairwise(ends)]
            )
            if not at.size:
                break
            score, path = _kernels.scan(self.s, self.z, breaks, at, self.rho, 1)
            best = int(np.abs(score).argmax())
            if _bound(float(abs(score[best])) / self.unit_m, path) >= _CHANCE:
                break
            breaks = self.settled(np.sort(np.append(breaks, at[best])))
        return breaks

    def settled(self, breaks: NDArray[np.float64]) -> NDArray[np.float64]:
        """Move each break in turn to its best place between its neighbours."""
        moved: NDArray[np.float64] = _kernels.settled(
            self.s, self.z, breaks, self.rho, self.min_reach_m, _FINE, _SWEEPS
        )
        return moved

    def chance_of(self, breaks: NDArray[np.float64], place: int) -> float:
        """Chance that noise alone makes a break as clear as this one between its neighbours."""
        low, high = self._between(breaks, place)
        here = (self.s >= low) & (self.s <= high)
        if here.sum() < _FEWEST:
            return 1.0
        at = self._places(low, high, 2 * _FINE)
        if not at.size:
            at = breaks[place : place + 1]
        score, path = _kernels.scan(self.s[here], self.z[here], np.empty(0), at, self.rho, 1)
        return _bound(float(np.abs(score).max()) / self.unit_m, path)

    def _between(self, breaks: NDArray[np.float64], place: int) -> tuple[float, float]:
        low = breaks[place - 1] if place else self.s[0]
        high = breaks[place + 1] if place + 1 < len(breaks) else self.s[-1]
        return float(low), float(high)

    def _places(self, low: float, high: float, count: int) -> NDArray[np.float64]:
        if high - low <= 2 * self.min_reach_m:
            return np.empty(0)
        return np.linspace(low + self.min_reach_m, high - self.min_reach_m, count)
