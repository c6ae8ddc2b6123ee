"""Keypoints: where the floor of a primary valley turns from steep to gentle."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely

from brimline.lines.keyline.profile import ValleyProfile, floor_profile, profile_noise
from brimline.lines.keyline.reaches import ProfileReaches, straight_reaches
from brimline.lines.keyline.turns import break_place, inflection, slopes_beside
from brimline.lines.sample import checked_on_grid, levels_of, surface_at

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid
    from brimline.lines.keyline.reaches import Noise
    from brimline.lines.relief import ValleyLine

Turn = Literal["break", "inflection"]
Kind = Literal["break", "inflection", "given", "level"]

_MOST_STATIONS = 300  # of the profile that reaches are sought in; turns are placed on all
_REACH_SMOOTHINGS = 3.0  # shortest reach, in standard deviations of the smoothing
_REACH_CELLS = 8.0  # or in cells
_LEVEL_PCT = 0.5  # a floor that rises less than this is level
_DRAWS = 30  # floors drawn for how sure a keypoint is
_GIVEN_SMOOTH_M = 5.0  # along it
_GIVEN_REACH_M = 50.0  # of the floor above and below a given keypoint


@dataclass(frozen=True, slots=True)
class Keypoint:
    """Where a valley's floor turns from steep to gentle.

    Parameters
    ----------
    keypoint_id : number, from 1, valley by valley and down each valley.
    valley_id : the valley; 0 for a given point that lies in none.
    point : on the valley line.
    level_m : of the smoothed survey surface there [m].
    slope_above_pct, slope_below_pct : fall of the floor over the straight reach above and below.
    confidence : share of floors that the survey's error leaves possible on which a keypoint lies
        within `near_m` of this one; 1 of a given point.
    kind : how it was placed: at a break or at an inflection of the floor, or given by a person.
    """

    keypoint_id: int
    valley_id: int
    point: shapely.Point
    level_m: float
    slope_above_pct: float
    slope_below_pct: float
    confidence: float
    kind: Kind


@dataclass(frozen=True, slots=True)
class _Turn:
    chainage_m: float
    above_pct: float
    below_pct: float
    sure: float
    kind: Kind

    @property
    def falls_on(self) -> bool:
        """The floor falls above and does not rise below: no hollow, which has another meaning."""
        return self.above_pct > 0 and self.below_pct > -_LEVEL_PCT

    @property
    def drop_pct(self) -> float:
        return self.above_pct - self.below_pct


def find_keypoints(
    surface: Elevation,
    grid: Grid,
    valleys: Sequence[ValleyLine],
    *,
    smooth_m: float,
    noise_m: float,
    correlation_m: float,
    profile_smooth_m: float = 10.0,
    min_confidence: float = 0.8,
    min_drop_pct: float = 2.0,
    min_separation_m: float = 100.0,
    turn: Turn = "break",
    primary_only: bool = True,
    near_m: float = 10.0,
) -> tuple[Keypoint, ...]:
    """Find where the floors of valleys turn from steep to gentle.

    The profile of a primary valley, from the head of its line downwards, is divided into straight
    reaches (`reaches`). A turn is where a steeper reach gives way to a gentler one. Of turns closer
    than `min_separation_m` with no steepening between them, the one with the largest drop in slope
    stands. Each is then placed exactly (`turns`), by one of two readings of "inflection of the long
    profile" (common practice, no source):

    ``break``
        Where the steep reach meets the gentle one: the point that best divides the floor into the
        two, which need not be straight. It is the default because it does what a keypoint is for:
        below it the floor is gentler than the ridges beside it, so that lines parallel to the
        keyline fall from the valley to the ridges on both sides of it.
    ``inflection``
        Where a floor that is one curve goes over from convex to concave, the steepest place; floors
        that break have their break. Just below it the floor is still at its steepest, and lines
        below the keyline tend to fall into the valley.

    The two are the same where a short steep reach breaks at both ends, and grow apart with its
    length.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]
        The survey, smoothed by a bell of `smooth_m`.
    grid : where the cells are.
    valleys : of the same surface.
    smooth_m : standard deviation of the smoothing that `surface` has had [m].
    noise_m : standard error (RMSE) of a level of the survey [m].
    correlation_m : distance over which that error stays alike [m].
    profile_smooth_m : smoothing of the long profile; reaches shorter than three times this do not
        count [m].
    min_confidence : turns that survey noise alone could bend a straight floor to, with a chance
        above 1 less this, are left out; 0 to 1.
    near_m : along the floor, how near counts as the same keypoint for its confidence [m].
    min_drop_pct : least drop from the slope above to the slope below [%].
    min_separation_m : see above [m].
    turn : how a turn is placed, see above.
    primary_only : leave out the part of each valley below which it is no longer a primary one.

    Raises
    ------
    GridError
        If `surface` is no elevation array on `grid`.
    ValueError
        If a number is out of range.
    """
    if not 0 <= min_confidence <= 1 or min(min_drop_pct, min_separation_m) < 0:
        raise ValueError(
            f"min_confidence must lie in 0 to 1, min_drop_pct and min_separation_m not be "
            f"negative: {min_confidence}, {min_drop_pct} %, {min_separation_m} m"
        )
    noise = profile_noise(
        noise_m=noise_m,
        correlation_m=correlation_m,
        smooth_m=smooth_m,
        profile_smooth_m=profile_smooth_m,
        cell_m=grid.cell_m,
    )
    calm = checked_on_grid(surface, grid, "surface")
    min_reach_m = max(_REACH_SMOOTHINGS * profile_smooth_m, _REACH_CELLS * grid.cell_m)
    found: list[Keypoint] = []
    for valley in valleys:
        profile = floor_profile(
            calm,
            grid,
            valley.floor,
            to_m=valley.primary_to_m if primary_only else valley.floor.to_m,
            smooth_m=smooth_m,
            profile_smooth_m=profile_smooth_m,
        )
        if profile is None or profile.chainage_m[-1] - profile.chainage_m[0] < 2 * min_reach_m:
            continue

        def turns_of(floor: ValleyProfile) -> list[_Turn]:
            told = _turns(floor, noise, turn, min_reach_m, min_drop_pct, min_separation_m)
            return [one for one in told if one.sure >= min_confidence]

        told = turns_of(profile)
        shares = shares_again(profile, noise, turns_of, told, near_m=near_m, seed=valley.valley_id)
        for one, share in zip(told, shares, strict=True):
            found.append(_keypoint(len(found) + 1, valley, one, share, calm, grid))
    return tuple(found)


def shares_again(
    profile: ValleyProfile,
    noise: Noise,
    turns_of: Callable[[ValleyProfile], Sequence[_Turn]],
    told: Sequence[_Turn],
    *,
    near_m: float,
    seed: int,
) -> list[float]:
    """Share of floors on which each turn is found again, within a distance, 0 to 1.

    The parametric bootstrap: what is found on the told floor with the survey's noise added once
    more departs from what was told as that departs from the truth.

    References
    ----------
    Efron & Tibshirani (1993), An Introduction to the Bootstrap, chapter 6 (citation from memory)
    """
    if not told:
        return []
    random = np.random.default_rng(seed)
    again = np.zeros(len(told))
    for _ in range(_DRAWS):
        level_m = profile.level_m + noise.drawn(len(profile.chainage_m), profile.step_m, random)
        drawn = turns_of(replace(profile, level_m=level_m))
        for place, one in enumerate(told):
            again[place] += any(abs(other.chainage_m - one.chainage_m) <= near_m for other in drawn)
    return [float(share) for share in again / _DRAWS]


def given_keypoint(
    surface: Elevation,
    grid: Grid,
    valleys: Sequence[ValleyLine],
    point: shapely.Point,
    *,
    keypoint_id: int = 1,
) -> Keypoint:
    """Take a keypoint that a person chose, as it stands.

    It belongs to the nearest valley line; slopes are those of the floor over as much as 50 m above
    and below. It is not moved.

    Raises
    ------
    ValueError
        If the point lies outside the data.
    """
    level = float(surface_at(surface, grid, point.x, point.y))
    if not np.isfinite(level):
        raise ValueError(f"the keypoint at {point.x:.1f}, {point.y:.1f} lies outside the elevation")
    above = below = float("nan")
    valley_id = 0
    if valleys:
        away = shapely.distance([valley.line for valley in valleys], point)
        valley = valleys[int(np.argmin(away))]
        valley_id = valley.valley_id
        along = valley.floor.nearest_m((point.x, point.y))
        profile = floor_profile(
            surface,
            grid,
            valley.floor,
            to_m=valley.floor.to_m,
            smooth_m=0.0,
            profile_smooth_m=_GIVEN_SMOOTH_M,
        )
        if profile is not None:
            above = _fall_pct(profile, along - _GIVEN_REACH_M, along)
            below = _fall_pct(profile, along, along + _GIVEN_REACH_M)
    return Keypoint(keypoint_id, valley_id, point, level, above, below, 1.0, "given")


def _fall_pct(profile: ValleyProfile, upper_m: float, lower_m: float) -> float:
    ends = np.clip([upper_m, lower_m], profile.chainage_m[0], profile.chainage_m[-1])
    if ends[1] - ends[0] < profile.step_m:
        return float("nan")
    levels = np.interp(ends, profile.chainage_m, profile.level_m)
    return float(100 * (levels[0] - levels[1]) / (ends[1] - ends[0]))


def _keypoint(
    keypoint_id: int,
    valley: ValleyLine,
    turn: _Turn,
    confidence: float,
    surface: Elevation,
    grid: Grid,
) -> Keypoint:
    point = shapely.Point(valley.floor.at(turn.chainage_m)[0])
    return Keypoint(
        keypoint_id=keypoint_id,
        valley_id=valley.valley_id,
        point=point,
        level_m=float(levels_of(surface, grid, point.x, point.y)),
        slope_above_pct=turn.above_pct,
        slope_below_pct=turn.below_pct,
        confidence=confidence,
        kind=turn.kind,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Divided:
    """A profile and the straight reaches that it was divided into."""

    profile: ValleyProfile
    noise: Noise
    reaches: ProfileReaches
    min_reach_m: float

    def end_m(self, place: int) -> float:
        """Chainage of a break; of the profile's ends for -1 and the number of breaks [m]."""
        s, breaks = self.profile.chainage_m, self.reaches.breaks_m
        if place < 0:
            return float(s[0])
        return float(breaks[place] if place < len(breaks) else s[-1])

    def slopes_pct(self, place: int) -> tuple[float, float]:
        """Fall of the reaches above and below a break [%]."""
        above, below = self.reaches.slopes[place : place + 2]
        return float(-100 * above), float(-100 * below)


def _turns(
    profile: ValleyProfile,
    noise: Noise,
    rule: Turn,
    min_reach_m: float,
    min_drop_pct: float,
    min_separation_m: float,
) -> list[_Turn]:
    """List the turns from steep to gentle down a profile."""
    profile = profile.without_repetition()
    thin = profile.thinned(_MOST_STATIONS)
    reaches = straight_reaches(thin.chainage_m, thin.level_m, noise, min_reach_m=min_reach_m)
    divided = _Divided(profile, noise, reaches, min_reach_m)
    turns: list[_Turn] = []
    for run in _concave_runs(reaches):
        standing = _standing(reaches, run, min_separation_m)
        for place in standing:
            turn = None
            if rule == "inflection" and place == standing[0]:
                turn = _inflection(divided, run, place)
            turn = turn or _break(divided, run, standing, place)
            if turn is not None and turn.drop_pct >= min_drop_pct and turn.falls_on:
                turns.append(turn)
    return turns


def _concave_runs(reaches: ProfileReaches) -> list[list[int]]:
    """Group breaks from steep to gentle that follow each other with no steepening between."""
    runs: list[list[int]] = []
    gentler = np.diff(reaches.slopes) > 0
    for place in np.flatnonzero(gentler):
        if runs and runs[-1][-1] == place - 1:
            runs[-1].append(int(place))
        else:
            runs.append([int(place)])
    return runs


def _standing(reaches: ProfileReaches, run: list[int], min_separation_m: float) -> list[int]:
    """Of a run the breaks with the largest drop that lie far enough from each other."""
    drop = np.diff(reaches.slopes)
    chosen: list[int] = []
    for place in sorted(run, key=lambda k: (-drop[k], k)):
        apart = [abs(reaches.breaks_m[place] - reaches.breaks_m[other]) for other in chosen]
        if all(distance >= min_separation_m for distance in apart):
            chosen.append(place)
    return sorted(chosen)


def _break(divided: _Divided, run: list[int], standing: list[int], place: int) -> _Turn | None:
    """Put a turn where its two reaches meet, between the turns that stand beside it.

    Reaches that may bend can shift it, but not away from the breaks of the straight reaches that
    it stands for.
    """
    beside = [run[0] - 1, *standing, run[-1] + 1]
    number = beside.index(place, 1)
    low, high = divided.end_m(beside[number - 1]), divided.end_m(beside[number + 1])
    s, smooth_m = divided.profile.chainage_m, divided.profile.smooth_m
    here = (s >= low) & (s <= high)
    s, z = s[here], divided.profile.level_m[here]
    found = break_place(s, z, divided.noise, smooth_m=smooth_m)
    if found is None:
        return None
    breaks = divided.reaches.breaks_m
    own = [breaks[k] for k in run if _nearest(breaks, standing, k) == place]
    if not min(own) - divided.min_reach_m <= found <= max(own) + divided.min_reach_m:
        found = float(breaks[place])
    above, below = slopes_beside(s, z, found, smooth_m=smooth_m)
    sure = float(divided.reaches.sure[place])
    return _Turn(found, -100 * above, -100 * below, sure, "break")


def _nearest(breaks: NDArray[np.float64], standing: list[int], place: int) -> int:
    """Which of the breaks that stand another one is nearest to."""
    return min(standing, key=lambda k: (abs(breaks[k] - breaks[place]), k))


def _inflection(divided: _Divided, run: list[int], place: int) -> _Turn | None:
    """Put a turn where the floor bends over in one curve; None where it does not."""
    steeper = np.diff(divided.reaches.slopes) < 0
    crest = run[0]
    while crest > 0 and steeper[crest - 1]:
        crest -= 1
    if crest == run[0]:  # no steepening above
        return None
    found = inflection(
        divided.profile.chainage_m,
        divided.profile.level_m,
        (divided.end_m(run[0] - 1), divided.end_m(run[0])),
        (divided.end_m(crest), divided.end_m(run[-1])),
        smooth_m=divided.profile.smooth_m,
    )
    if found is None:
        return None
    above_pct, below_pct = divided.slopes_pct(place)
    return _Turn(found, above_pct, below_pct, float(divided.reaches.sure[place]), "inflection")
