"""Exactly where a floor turns from steep to gentle, once it is known that it does.

Where two reaches meet, each straight or evenly bent, the turn is their *break*. Where the floor is
one curve, convex above and concave below, it has an *inflection* besides, where the curve goes over
from the one to the other; the floor is steepest there. A floor that bends evenly all the way turns
nowhere in particular.

A profile that was smoothed has its breaks rounded off by a bell that is known; what is fitted to it
is rounded off by the same bell.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from brimline.lines.keyline.reaches import Noise, rougher

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Columns = Callable[[NDArray[np.float64], float], NDArray[np.float64]]

_TRIED = 60  # places tried in one pass
_PASSES = 3  # each pass looks closer around the best place of the one before
_MARGIN = 0.12  # part of a window at either end where no turn is sought
_ROUNDS = 20  # of moving a window until the turn lies in its middle
_STILL = 0.02  # steps of the profile below which a window counts as still
_NEAR = 0.035  # part of a window by which moving it may shift a break
_WIDE = 0.75  # half-width of the window on an inflection, in lengths of the steep reach
_CLEARLY = 10.0  # gain in squared misfit over noise that decides for one description
_FEWEST = 8  # stations that a window must hold


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """A description fitted to a window: where its joint lies and what it leaves."""

    place_m: float
    residual_m: NDArray[np.float64]

    @property
    def misfit_m2(self) -> float:
        return float(np.square(self.residual_m).sum())


def break_place(
    s: NDArray[np.float64], z: NDArray[np.float64], noise: Noise, *, smooth_m: float = 0.0
) -> float | None:
    """Chainage at which two reaches meet; None where the floor bends evenly.

    Two straight reaches are fitted, two evenly bent ones (parabolas with a break between), and one
    even bend without a break. The simplest stands unless another fits clearly better than noise
    explains. Bent reaches are fitted again in a window that has the break in its middle, so that a
    break which the ground itself rounds off is found in the middle of its rounding.

    Parameters
    ----------
    s, z : float64 (n,); chainage at even steps and level [m], from the break above to that below.
    noise : what the levels are uncertain by.
    smooth_m : standard deviation of the bell that the profile was smoothed by [m].
    """
    straight, bent = _best(s, z, _straight, smooth_m), _best(s, z, _bent, smooth_m)
    if straight is None or bent is None:
        return None
    middle = float(s.mean())
    even = _Fit(middle, _least_squares(_even(s - middle)[None], z)[1][0])
    noise = rougher(noise, bent.residual_m, float(s[1] - s[0]))
    if _clearly(even, bent, s, noise):
        if not _clearly(straight, bent, s, noise):
            return straight.place_m
        centred = _centred(s, z, bent.place_m, np.inf, _bent, smooth_m)
        near = centred is not None and abs(centred.place_m - bent.place_m) < _NEAR * np.ptp(s)
        return centred.place_m if centred is not None and near else bent.place_m
    return None if _clearly(straight, even, s, noise) else straight.place_m


def inflection(
    s: NDArray[np.float64],
    z: NDArray[np.float64],
    steep: tuple[float, float],
    bends: tuple[float, float],
    *,
    smooth_m: float = 0.0,
) -> float | None:
    """Chainage where a floor bends over from convex to concave; None where it breaks instead.

    Within a window around the steep reach the floor is described once as a curve, convex above and
    concave below with one slope between, and once as three straight reaches; whichever fits better
    is taken. The window is moved until the inflection lies in its middle.

    Parameters
    ----------
    s, z : float64 (n,); chainage at even steps and level [m] of the whole floor.
    steep : chainages of both ends of the steep reach [m].
    bends : chainages of the first convex and the last concave break around it [m].
    smooth_m : standard deviation of the bell that the profile was smoothed by [m].
    """
    middle, length = 0.5 * (steep[0] + steep[1]), steep[1] - steep[0]
    half = max(_WIDE * length, 0.5 * (bends[1] - bends[0]))
    centred = _centred(s, z, middle, half, _curve, smooth_m, _bends_over)
    if centred is None or abs(centred.place_m - middle) > length:
        return None
    here = _window(s, centred.place_m, half)
    curve = _best(s[here], z[here], _curve, smooth_m, _bends_over)
    if curve is None:
        return None
    broken = _three_straight(s[here], z[here], smooth_m)
    return curve.place_m if curve.misfit_m2 < broken.misfit_m2 else None


def slopes_beside(
    s: NDArray[np.float64], z: NDArray[np.float64], place_m: float, *, smooth_m: float = 0.0
) -> tuple[float, float]:
    """Rise per metre of the two straight reaches that fit best above and below a place."""
    found, _ = _least_squares(_straight(s - place_m, smooth_m)[None], z)
    return float(found[0, 1]), float(found[0, 1] + found[0, 2])


def _clearly(one: _Fit, other: _Fit, s: NDArray[np.float64], noise: Noise) -> bool:
    """Whether the other fits clearly better; stations that share their noise count once."""
    step_m = float(s[1] - s[0])
    apart = min(1.0, step_m / (2 * noise.alike_m)) if noise.alike_m > 0 else 1.0
    return (one.misfit_m2 - other.misfit_m2) * apart > _CLEARLY * noise.sigma_m**2


def _ramp(t: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
    """max(t, 0), rounded off by a bell."""
    if sigma == 0:
        return np.maximum(t, 0)
    u = t / sigma
    return np.asarray(t * special.ndtr(u) + sigma * np.exp(-0.5 * u * u) / np.sqrt(2 * np.pi))


def _bowl(t: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
    """max(t, 0)², rounded off by a bell."""
    if sigma == 0:
        return np.maximum(t, 0) ** 2
    return np.asarray(t * _ramp(t, sigma) + sigma**2 * special.ndtr(t / sigma))


def _straight(t: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
    return np.stack([np.ones_like(t), t, _ramp(t, sigma)], axis=-1)


def _bent(t: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
    up, down = _bowl(-t, sigma), _bowl(t, sigma)
    return np.stack([np.ones_like(t), t, _ramp(t, sigma), up, down], axis=-1)


def _curve(t: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
    return np.stack([np.ones_like(t), t, _bowl(-t, sigma), _bowl(t, sigma)], axis=-1)


def _even(t: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.stack([np.ones_like(t), t, t * t], axis=-1)


def _bends_over(found: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which fits of `_curve` are convex above and concave below."""
    return np.asarray((found[:, 2] < 0) & (found[:, 3] > 0))


def _least_squares(
    base: NDArray[np.float64], z: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Coefficients (p, k) and residuals (p, n) of `z` (n,) on many bases (p, n, k)."""
    q, r = np.linalg.qr(base)
    part = np.einsum("pnk,n->pk", q, z)
    found = np.linalg.solve(r, part[..., None])[..., 0]
    return found, z - np.einsum("pnk,pk->pn", q, part)


def _best(
    s: NDArray[np.float64],
    z: NDArray[np.float64],
    columns: Columns,
    smooth_m: float,
    allowed: Callable[[NDArray[np.float64]], NDArray[np.bool_]] | None = None,
) -> _Fit | None:
    """Fit a description with its joint at the best place; None where it fits at none."""
    margin = _MARGIN * (s[-1] - s[0])
    low, high = s[0] + margin, s[-1] - margin
    best: _Fit | None = None
    for _ in range(_PASSES):
        places = np.linspace(low, high, _TRIED)
        found, residual = _least_squares(columns(s - places[:, None], smooth_m), z)
        misfit = np.einsum("pn,pn->p", residual, residual)
        if allowed is not None:
            misfit = np.where(allowed(found), misfit, np.inf)
        least = int(misfit.argmin())
        if np.isfinite(misfit[least]) and (best is None or misfit[least] < best.misfit_m2):
            best = _Fit(float(places[least]), residual[least])
        if best is None:
            return None
        step = 2 * (high - low) / _TRIED
        low, high = best.place_m - step, best.place_m + step
    return best


def _window(s: NDArray[np.float64], middle: float, half: float) -> NDArray[np.bool_]:
    """Stations around a place, equally far to both sides."""
    half = min(half, middle - s[0], s[-1] - middle)
    return np.abs(s - middle) <= half


def _centred(
    s: NDArray[np.float64],
    z: NDArray[np.float64],
    middle: float,
    half: float,
    columns: Columns,
    smooth_m: float,
    allowed: Callable[[NDArray[np.float64]], NDArray[np.bool_]] | None = None,
) -> _Fit | None:
    """Move a window until the joint fitted in it lies in its middle; None if it runs off."""
    fit: _Fit | None = None
    for _ in range(_ROUNDS):
        here = _window(s, middle, half)
        if here.sum() < _FEWEST:
            return None
        fit = _best(s[here], z[here], columns, smooth_m, allowed)
        if fit is None or abs(fit.place_m - middle) < _STILL * (s[1] - s[0]):
            return fit
        middle = 0.5 * (middle + fit.place_m)
    return fit


def _three_straight(s: NDArray[np.float64], z: NDArray[np.float64], smooth_m: float) -> _Fit:
    """Fit the best three straight reaches."""
    at = np.linspace(s[0], s[-1], 26)[2:-2]
    first, second = np.triu_indices(len(at), 1)
    hinges = [_ramp(s - at[ends][:, None], smooth_m) for ends in (first, second)]
    straight = [np.broadcast_to(part, hinges[0].shape) for part in (np.ones_like(s), s - s.mean())]
    _, residual = _least_squares(np.stack([*straight, *hinges], axis=-1), z)
    least = int(np.einsum("pn,pn->p", residual, residual).argmin())
    return _Fit(float(at[second[least]]), residual[least])
