"""The long profile of a valley's floor, on the survey, with what is known of its noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.lines.keyline.reaches import Noise
from brimline.lines.relief.courses import levels_at, smoothed_along

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid
    from brimline.lines.relief import Course

_A_BELL = 3.0  # stations in a standard deviation: what lies between them follows from them


@dataclass(frozen=True, slots=True, eq=False)
class ValleyProfile:
    """Levels along a valley's floor.

    Parameters
    ----------
    chainage_m : float64 (n,); length along the course, at even steps [m].
    level_m : float64 (n,) [m].
    smooth_m : standard deviation of the bell that the levels were smoothed by along it [m].
    """

    chainage_m: NDArray[np.float64]
    level_m: NDArray[np.float64]
    smooth_m: float = 0.0

    @property
    def step_m(self) -> float:
        """Distance between stations [m]."""
        return float(self.chainage_m[1] - self.chainage_m[0])

    def thinned(self, most: int) -> ValleyProfile:
        """Return every so many stations, so that there are no more than `most`."""
        return self._every(-(-len(self.chainage_m) // most))

    def without_repetition(self) -> ValleyProfile:
        """Return as many stations as the bell that smoothed them leaves something to say."""
        return self._every(max(1, int(self.smooth_m / (_A_BELL * self.step_m))))

    def _every(self, number: int) -> ValleyProfile:
        return ValleyProfile(self.chainage_m[::number], self.level_m[::number], self.smooth_m)


def floor_profile(
    surface: Elevation,
    grid: Grid,
    floor: Course,
    *,
    to_m: float,
    smooth_m: float,
    profile_smooth_m: float,
) -> ValleyProfile | None:
    """Read the profile of a valley line at steps of about a cell; None if too little is known.

    The hillside above the head is left out: where it meets the floor is no turn of the floor.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; the survey, smoothed as stated.
    floor : course of the valley.
    to_m : chainage at which the profile ends [m].
    smooth_m : standard deviation of the smoothing that `surface` has had [m].
    profile_smooth_m : of the bell by which the profile is smoothed besides [m].
    """
    count = int((to_m - floor.from_m) / grid.cell_m) + 1
    if count < 2:
        return None
    s = np.linspace(floor.from_m, to_m, count)
    z = levels_at(surface, grid, floor.at(s))
    known = np.flatnonzero(np.isfinite(z))
    if known.size < 2:
        return None
    inside = slice(int(known[0]), int(known[-1]) + 1)
    z = np.interp(s, s[known], z[known])
    s, z = s[inside], z[inside]
    z = smoothed_along(z, profile_smooth_m / float(s[1] - s[0]))
    return ValleyProfile(s, z, float(np.hypot(smooth_m, profile_smooth_m)))


def profile_noise(
    *,
    noise_m: float,
    correlation_m: float,
    smooth_m: float,
    profile_smooth_m: float,
    cell_m: float,
) -> Noise:
    """Work out what a survey's noise leaves on a profile of the smoothed surface.

    The noise is taken to be alike over `correlation_m` in the shape of a bell (or over a cell where
    that is larger); a bell of `smooth_m` takes its share off and widens what is left. The widened
    bell is passed on as an exponential with the same length times variance.

    Parameters
    ----------
    noise_m : standard error of a level [m].
    correlation_m : distance over which the error stays alike [m]; 0 is independent from cell to
        cell.
    smooth_m : standard deviation of the bell that the surface was smoothed by [m].
    profile_smooth_m : of the bell that the profile was smoothed by [m].
    cell_m : side of a cell [m].

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    if not noise_m > 0 or not cell_m > 0 or min(correlation_m, smooth_m, profile_smooth_m) < 0:
        raise ValueError(
            f"noise_m and cell_m must be above 0 m, the others not negative: noise_m {noise_m}, "
            f"cell_m {cell_m}, correlation_m {correlation_m}, smooth_m {smooth_m}, "
            f"profile_smooth_m {profile_smooth_m}"
        )
    alike2 = max(correlation_m**2, cell_m**2 / (2 * np.pi))
    wide2 = alike2 + 2 * smooth_m**2
    long2 = wide2 + 2 * profile_smooth_m**2
    sigma_m = noise_m * np.sqrt(alike2 / wide2) * (wide2 / long2) ** 0.25
    return Noise(sigma_m=float(sigma_m), alike_m=float(np.sqrt(long2 * np.pi / 2)))
