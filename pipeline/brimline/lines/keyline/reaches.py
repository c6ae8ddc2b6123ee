"""Straight reaches of a long profile: where it bends, and how sure that is against noise.

The profile is fitted by a broken line. Breaks are sought one after another while the line departs
from the profile by more than a small part of its fall and the best break is surer than chance, all
places looked at allowed for; then each must hold its own again.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

if TYPE_CHECKING:
    from numpy.typing import NDArray

_CHANCE = 0.05  # of one break too many in a straight profile
_STRAIGHT = 0.03  # a reach that bends by less than this part of the whole fall is straight
_MOST = 12  # breaks in one valley
_SWEEPS = 3
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

    def whitened(self, values: NDArray[np.float64], step_m: float) -> NDArray[np.float64]:
        """Values as multiples of independent unit noise; along the first axis, `step_m` apart."""
        rho = float(np.exp(-step_m / self.alike_m)) if self.alike_m > 0 else 0.0
        result = np.array(values, dtype=np.float64)
        result[1:] = (values[1:] - rho * values[:-1]) / np.sqrt(1 - rho * rho)
        return result / self.sigma_m

    def long_run(self) -> float:
        """Return what decides over distances beyond `alike_m`: variance times distance [m³]."""
        return self.sigma_m**2 * max(self.alike_m, 1e-9)


@dataclass(frozen=True, slots=True, eq=False)
class Reaches:
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
    """How far each column alone, beside the base, explains `z`.

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
    bound = stats.norm.sf(score) + path / (2 * np.pi) * np.exp(-0.5 * score * score)
    return float(min(2 * bound, 1.0))


def straight_reaches(
    s: NDArray[np.float64], z: NDArray[np.float64], noise: Noise, *, min_reach_m: float
) -> Reaches:
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
    step_m = float(s[1] - s[0])
    z = z - z.mean()
    breaks = _forward(s, z, noise, step_m, min_reach_m)
    breaks = _settled(s, z, noise, step_m, breaks, min_reach_m)
    noise = rougher(noise, z - broken_line(s, z, breaks)[0], step_m)
    while True:
        chances = np.array(
            [
                _chance_of(s, z, noise, step_m, breaks, min_reach_m, place)
                for place in range(len(breaks))
            ]
        )
        if not chances.size or chances.max() < _CHANCE:
            break
        breaks = np.delete(breaks, int(chances.argmax()))
        breaks = _settled(s, z, noise, step_m, breaks, min_reach_m)
    _, slopes = broken_line(s, z, breaks)
    return Reaches(breaks_m=breaks, slopes=slopes, sure=1.0 - chances)


def broken_line(
    s: NDArray[np.float64], z: NDArray[np.float64], breaks: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Least-squares broken line with given breaks: its levels and the slope of each reach."""
    base = np.column_stack([np.ones_like(s), s, hinges(s, breaks)])
    found, *_ = np.linalg.lstsq(base, z, rcond=None)
    return base @ found, np.cumsum(found[1:])


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


def _places(low: float, high: float, min_reach_m: float, count: int) -> NDArray[np.float64]:
    if high - low <= 2 * min_reach_m:
        return np.empty(0)
    return np.linspace(low + min_reach_m, high - min_reach_m, count)


def _forward(
    s: NDArray[np.float64],
    z: NDArray[np.float64],
    noise: Noise,
    step_m: float,
    min_reach_m: float,
) -> NDArray[np.float64]:
    """Add the best break until it is no better than chance."""
    breaks: NDArray[np.float64] = np.empty(0)
    white_z = noise.whitened(z, step_m)
    while len(breaks) < _MOST:
        if np.abs(z - broken_line(s, z, breaks)[0]).max() <= _STRAIGHT * np.ptp(z):
            break
        ends = np.concatenate([[s[0]], breaks, [s[-1]]])
        at = np.concatenate(
            [_places(a, b, min_reach_m, max(3, int((b - a) / step_m))) for a, b in pairwise(ends)]
        )
        if not at.size:
            break
        base = np.column_stack([np.ones_like(s), s, hinges(s, breaks)])
        score, unit = gains(
            noise.whitened(base, step_m), noise.whitened(hinges(s, at), step_m), white_z
        )
        best = int(np.abs(score).argmax())
        if chance(float(abs(score[best])), unit) >= _CHANCE:
            break
        breaks = np.sort(np.append(breaks, at[best]))
        breaks = _settled(s, z, noise, step_m, breaks, min_reach_m)
    return breaks


def _settled(
    s: NDArray[np.float64],
    z: NDArray[np.float64],
    noise: Noise,
    step_m: float,
    breaks: NDArray[np.float64],
    min_reach_m: float,
) -> NDArray[np.float64]:
    """Move each break in turn to its best place between its neighbours."""
    white_z = noise.whitened(z, step_m)
    breaks = breaks.copy()
    for _ in range(_SWEEPS if len(breaks) > 1 else 1):
        for place in range(len(breaks)):
            low = breaks[place - 1] if place else s[0]
            high = breaks[place + 1] if place + 1 < len(breaks) else s[-1]
            at = _places(low, high, min_reach_m, _FINE)
            if not at.size:
                continue
            others = np.delete(breaks, place)
            base = np.column_stack([np.ones_like(s), s, hinges(s, others)])
            score, _ = gains(
                noise.whitened(base, step_m), noise.whitened(hinges(s, at), step_m), white_z
            )
            breaks[place] = at[int(np.abs(score).argmax())]
    return breaks


def _chance_of(
    s: NDArray[np.float64],
    z: NDArray[np.float64],
    noise: Noise,
    step_m: float,
    breaks: NDArray[np.float64],
    min_reach_m: float,
    place: int,
) -> float:
    """Chance that noise alone makes a break as clear as this one between its neighbours."""
    low = breaks[place - 1] if place else s[0]
    high = breaks[place + 1] if place + 1 < len(breaks) else s[-1]
    here = (s >= low) & (s <= high)
    if here.sum() < 5:
        return 1.0
    part = s[here]
    at = _places(low, high, min_reach_m, 2 * _FINE)
    if not at.size:
        at = breaks[place : place + 1]
    base = np.column_stack([np.ones_like(part), part])
    score, unit = gains(
        noise.whitened(base, step_m),
        noise.whitened(hinges(part, at), step_m),
        noise.whitened(z[here], step_m),
    )
    return chance(float(np.abs(score).max()), unit)
