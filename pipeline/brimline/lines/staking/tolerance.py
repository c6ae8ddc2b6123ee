"""How level must it be: what building must keep, and the error at which the element still works.

Each answer is the least of several margins, and says which one it is. They follow from the levels
of the cascade: water must leave where it is meant to, and reach what it is meant to reach.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence


class Tolerance(NamedTuple):
    """An error of level and what fails beyond it.

    Parameters
    ----------
    error_m : either way [m]; 0 where the design itself leaves no margin.
    because : what fails first, in plain words.
    """

    error_m: float
    because: str


@dataclass(frozen=True, slots=True)
class BuildLimits:
    """How far a built level may be off, by what is built [m]; common practice, no source.

    Parameters
    ----------
    storage_pct : by how much storage may fall short of the design [%].
    """

    sill_m: float = 0.02
    floor_m: float = 0.03
    crest_m: float = 0.05
    edge_m: float = 0.10
    storage_pct: float = 5.0

    def of(self, role: str) -> float:
        """Return the limit of a stake's role: sill, sill2, floor, crest, edge [m]."""
        known = {"floor": self.floor_m, "crest": self.crest_m, "edge": self.edge_m}
        return self.sill_m if role.startswith("sill") else known.get(role, self.floor_m)


ANY_ERROR: Final = Tolerance(math.inf, "")  # a level that nothing hangs on


def sill_tolerance(
    spill_level_m: float,
    peak_level_m: float,
    overtops_at_m: float,
    *,
    feeder_levels_m: Sequence[float] = (),
    receiver_level_m: float = -math.inf,
    other_sills_m: Sequence[float] = (),
) -> Tolerance:
    """Error of a sill that still sends the water the right way.

    Too high, it lifts the peak to where water leaves elsewhere, or drowns the sills of elements
    that feed it; too low, it falls to the level of what it spills to, or takes water that another
    sill should have. Two sills may err against each other, so their difference counts half.

    Parameters
    ----------
    spill_level_m : of this sill [m].
    peak_level_m : highest water in the design storm [m].
    overtops_at_m : settled crest, or the ground around an end, over which water would leave [m].
    feeder_levels_m : spill levels of elements that spill to this one [m].
    receiver_level_m : spill level of the element that it spills to [m].
    other_sills_m : levels of the element's other sills [m].
    """
    margins = [
        Tolerance(
            overtops_at_m - max(peak_level_m, spill_level_m), "water would run over the crest"
        ),
        Tolerance((spill_level_m - receiver_level_m) / 2, "it would not fall to the next element"),
    ]
    margins += [
        Tolerance((feeder_m - spill_level_m) / 2, "it would drown the element above")
        for feeder_m in feeder_levels_m
    ]
    margins += [
        Tolerance(abs(other_m - spill_level_m) / 2, "water would take the other sill first")
        for other_m in other_sills_m
    ]
    return _least(margins)


def crest_tolerance(crest_level_m: float, peak_level_m: float) -> Tolerance:
    """Error of a mound's settled crest: a place lower than the peak is where it breaks."""
    return _least([Tolerance(crest_level_m - peak_level_m, "water would run over the low place")])


def floor_tolerance(spill_level_m: float, floor_level_m: float) -> Tolerance:
    """Error of a level floor: a high place above the sill parts the water in two."""
    return _least(
        [Tolerance(spill_level_m - floor_level_m, "a high place would hold water back behind it")]
    )


def fall_tolerance(fall_between_m: float) -> Tolerance:
    """Error of a graded floor: two stakes that err against each other must not turn its fall.

    Parameters
    ----------
    fall_between_m : fall from one stake to the next [m].
    """
    return _least([Tolerance(fall_between_m / 2, "water would stand between two stakes")])


def storage_error_m(
    storage_m3: float, storage_pct: float, area_m2: float, *, spread_m: float = 0.0
) -> float:
    """Error of a sill or a whole floor that costs no more than a share of the storage [m].

    A sill too low loses the water surface times the error; a floor too high its own area times the
    error, and what lies over its rising sides: the root of a e + s e² = share x storage.

    Parameters
    ----------
    area_m2 : water surface for a sill, floor for a floor [m²].
    spread_m : by how much the area grows with each metre over the floor, halved [m].
    """
    if not storage_m3 > 0 or not math.isfinite(storage_m3) or not area_m2 + spread_m > 0:
        return math.inf
    lost_m3 = storage_pct / 100 * storage_m3
    root = math.sqrt(area_m2**2 + 4 * spread_m * lost_m3)
    return 2 * lost_m3 / (area_m2 + root)


def _least(margins: Sequence[Tolerance]) -> Tolerance:
    """Return the smallest margin; no margin is an error of 0."""
    error_m, because = min(margins, key=lambda margin: margin.error_m)
    return Tolerance(max(error_m, 0.0), because)
