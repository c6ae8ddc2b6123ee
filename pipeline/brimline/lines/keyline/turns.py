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

from brimline.lines.keyline.breaks._kernels import (
    BENT,
    CURVE,
    FAR,
    PER_SIGMA,
    STRAIGHT,
    best_joint,
)
from brimline.lines.keyline.reaches import Noise, rougher

if TYPE_CHECKING:
    from numpy.typing import NDArray

_TRIED = 60  # places tried in one pass
_PASSES = 3  # each pass looks closer around the best place of the one before
_MARGIN = 0.12  # part of a window at either end where no turn is sought
_ROUNDS = 20  # of moving a window until the turn lies in its middle
_STILL = 0.02  # steps of the profile below which a window counts as still
_NEAR = 0.035  # part of a window by which moving it may shift a break
_WIDE = 0.75  # half-width of the window on an inflection, in lengths of the steep reach
_CLEARLY = 10.0  # gain in squared misfit over noise that decides for one description
_FEWEST = 8  # stations that a window must hold
_NODES = np.linspace(-FAR, FAR, 2 * int(PER_SIGMA * FAR) + 1)  # standard deviations
_SHARE, _HEIGHT = special.ndtr(_NODES), np.exp(-0.5 * _NODES**2) / np.sqrt(2 * np.pi)
_BELL = np.column_stack([_SHARE, _HEIGHT, _NODES * _SHARE + _HEIGHT])


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """A description fitted to a window.

    Parameters
    ----------
    place_m : chainage of its joint [m].
    residual_m : float64 (n,); what it leaves of the profile [m].
    without_m : float64 (n,); what it leaves without the joint [m].
    """

    place_m: float
    residual_m: NDArray[np.float64]
    without_m: NDArray[np.float64]

    @property
    def misfit_m2(self) -> float:
        return _misfit_m2(self.residual_m)


def _misfit_m2(residual_m: NDArray[np.float64]) -> float:
    return float(np.square(residual_m).sum())


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
    s, z = np.ascontiguousarray(s), np.ascontiguousarray(z)
    straight, bent = _best(s, z, STRAIGHT, smooth_m), _best(s, z, BENT, smooth_m)
    if straight is None or bent is None:
        return None
    even_m2 = _misfit_m2(bent.without_m)  # two bent reaches without a break are one even bend
    step_m = float(s[1] - s[0])
    noise = rougher(noise, bent.residual_m, step_m)
    if _clearly(even_m2 - bent.misfit_m2, step_m, noise):
        if not _clearly(straight.misfit_m2 - bent.misfit_m2, step_m, noise):
            return straight.place_m
        centred = _centred(s, z, bent.place_m, np.inf, BENT, smooth_m)
        near = centred is not None and abs(centred.place_m - bent.place_m) < _NEAR * np.ptp(s)
        return centred.place_m if centred is not None and near else bent.place_m
    better = _clearly(straight.misfit_m2 - even_m2, step_m, noise)
    return None if better else straight.place_m


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
    centred = _centred(s, z, middle, half, CURVE, smooth_m)
    if centred is None or abs(centred.place_m - middle) > length:
        return None
    here = _window(s, centred.place_m, half)
    curve = _best(s[here], z[here], CURVE, smooth_m)
    if curve is None:
        return None
    broken_m2 = _three_straight_m2(s[here], z[here], smooth_m)
    return curve.place_m if curve.misfit_m2 < broken_m2 else None


def slopes_beside(
    s: NDArray[np.float64], z: NDArray[np.float64], place_m: float, *, smooth_m: float = 0.0
) -> tuple[float, float]:
    """Rise per metre of the two straight reaches that fit best above and below a place."""
    t = s - place_m
    base = np.column_stack([np.ones_like(t), t, _ramp(t, smooth_m)])
    (_, above, change), *_ = np.linalg.lstsq(base, z, rcond=None)
    return float(above), float(above + change)


def _clearly(gain_m2: float, step_m: float, noise: Noise) -> bool:
    """Whether so much less misfit is clearly better; stations that share their noise count once."""
    apart = min(1.0, step_m / (2 * noise.alike_m)) if noise.alike_m > 0 else 1.0
    return gain_m2 * apart > _CLEARLY * noise.sigma_m**2


def _ramp(t: NDArray[np.float64], sigma: float) -> NDArray[np.float64]:
    """max(t, 0), rounded off by a bell."""
    if sigma == 0:
        return np.maximum(t, 0)
    u = t / sigma
    return np.asarray(t * special.ndtr(u) + sigma * np.exp(-0.5 * u * u) / np.sqrt(2 * np.pi))


def _best(
    s: NDArray[np.float64], z: NDArray[np.float64], kind: int, smooth_m: float
) -> _Fit | None:
    """Fit a description with its joint at the best place; None where it fits at none."""
    margin_m = _MARGIN * float(s[-1] - s[0])
    fit = _Fit(*best_joint(s, z, float(smooth_m), _BELL, kind, _TRIED, _PASSES, margin_m))
    return fit if np.isfinite(fit.place_m) else None


def _window(s: NDArray[np.float64], middle: float, half: float) -> NDArray[np.bool_]:
    """Stations around a place, equally far to both sides."""
    half = min(half, middle - s[0], s[-1] - middle)
    return np.abs(s - middle) <= half


def _centred(
    s: NDArray[np.float64],
    z: NDArray[np.float64],
    middle: float,
    half: float,
    kind: int,
    smooth_m: float,
) -> _Fit | None:
    """Move a window until the joint fitted in it lies in its middle; None if it runs off."""
    fit: _Fit | None = None
    for _ in range(_ROUNDS):
        here = _window(s, middle, half)
        if here.sum() < _FEWEST:
            return None
        fit = _best(s[here], z[here], kind, smooth_m)
        if fit is None or abs(fit.place_m - middle) < _STILL * (s[1] - s[0]):
            return fit
        middle = 0.5 * (middle + fit.place_m)
    return fit


def _three_straight_m2(s: NDArray[np.float64], z: NDArray[np.float64], smooth_m: float) -> float:
    """Squared misfit of the best three straight reaches."""
    at = np.linspace(s[0], s[-1], 26)[2:-2]
    first, second = np.triu_indices(len(at), 1)
    hinges = [_ramp(s - at[ends][:, None], smooth_m) for ends in (first, second)]
    straight = [np.broadcast_to(part, hinges[0].shape) for part in (np.ones_like(s), s - s.mean())]
    q, _ = np.linalg.qr(np.stack([*straight, *hinges], axis=-1))
    residual = z - np.einsum("pnk,pk->pn", q, np.einsum("pnk,n->pk", q, z))
    return float(np.einsum("pn,pn->p", residual, residual).min())
