"""Stakes: what a crew is told at each place, and where a level must be checked before digging."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import shapely

from brimline.errors import Problem, Severity
from brimline.lines.staking.stations import Reason
from brimline.lines.staking.tolerance import ANY_ERROR

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from shapely.geometry.base import BaseGeometry

    from brimline.lines.staking.stations import Stations
    from brimline.lines.staking.tolerance import Tolerance
    from brimline.terrain.shaping import LevelsAt

Side = Literal["", "left", "right"]

LEVEL_ON_SITE: Final = "level-on-site"  # code of the flag
_SAY: Final = {LEVEL_ON_SITE: "level on site before digging", "off-rod": "move the instrument"}
_SURE: Final = 1.96  # standard errors that 95 % of a normal error lie within


@dataclass(frozen=True, slots=True)
class Stake:
    """One stake.

    Parameters
    ----------
    stake_id : element, first letter of the role, number, and L or R beside the line.
    role : what is staked: lip, floor, crest, sill, edge.
    side, offset_m : of an offset stake, which stands clear of the digging, and its distance from
        the stake that it stands for, whose design level it has [m].
    ground_m, design_m : levels [m]; NaN where the surface has none.
    build_m : level to build to, higher than the design by what a bank settles [m].
    tolerance_m : how far it may be off: the least of what building must keep and `bears_m` [m].
    bears_m : error of level at which the element still works; infinite where any does [m].
    because : what fails beyond `bears_m`.
    reason : why it stands there.
    flags : codes of the flag catalogue.
    """

    element_id: str
    stake_id: str
    role: str
    chainage_m: float
    x: float
    y: float
    ground_m: float
    design_m: float
    build_m: float = math.nan
    tolerance_m: float = math.inf
    bears_m: float = math.inf
    because: str = ""
    side: Side = ""
    offset_m: float = 0.0
    reason: Reason = Reason.INTERVAL
    flags: tuple[str, ...] = ()

    @property
    def cut_m(self) -> float:
        """Ground less design, how deep to dig from the stake's foot; negative is fill [m]."""
        return self.ground_m - self.design_m

    @property
    def say(self) -> str:
        """What the crew must do first, in words."""
        return said(self.flags)


def said(flags: Iterable[str]) -> str:
    """Return what a crew must do first where a stake has flags, in words."""
    return "; ".join(words for code, words in _SAY.items() if code in flags)


def clear_of(stakes: Sequence[Stake], ground: BaseGeometry) -> tuple[list[Stake], list[Problem]]:
    """Set no offset stake on ground to be kept clear, and flag what the work itself has there.

    An offset stake is only a help: those on the other side, or beside the next stake, do.
    """
    if ground.is_empty or not stakes:
        return list(stakes), []
    shapely.prepare(ground)
    inside = shapely.contains_xy(ground, [s.x for s in stakes], [s.y for s in stakes])
    left_out = [s.stake_id for s, within in zip(stakes, inside, strict=True) if within and s.side]
    told = (
        [
            Problem(
                Severity.NOTICE,
                f"{', '.join(left_out)} would stand on ground to be kept clear and"
                f" {'is' if len(left_out) == 1 else 'are'} left out",
                "take the offset stakes beside the next ones, or from the other side",
                "stakes",
            )
        ]
        if left_out
        else []
    )
    return [
        replace(stake, flags=(*stake.flags, "in-setback")) if within else stake
        for stake, within in zip(stakes, inside, strict=True)
        if not (within and stake.side)
    ], told  # fmt: skip


def stakes_on(
    element_id: str,
    role: str,
    stations: Stations,
    ground: LevelsAt,
    design: LevelsAt,
    *,
    built: LevelsAt | None = None,
    tolerance: Tolerance = ANY_ERROR,
    limit_m: float = math.inf,
) -> list[Stake]:
    """Put a stake at every station.

    Parameters
    ----------
    ground, design : levels of the survey and of what is designed.
    built : levels to build to; those of the design where left out.
    tolerance : error of level at which the element still works, and what fails beyond it.
    limit_m : how far a level may be off as built, whatever the element bears [m].
    """
    x, y = stations.x, stations.y
    below, wanted = ground(x, y), design(x, y)
    done = wanted if built is None else built(x, y)
    width = max(2, len(str(len(x))))
    return [
        Stake(
            element_id,
            f"{element_id}-{_short(role)}{place + 1:0{width}}",
            role,
            float(stations.chainage_m[place]),
            float(x[place]),
            float(y[place]),
            float(below[place]),
            float(wanted[place]),
            float(done[place]),
            min(tolerance.error_m, limit_m),
            tolerance.error_m,
            tolerance.because,
            reason=Reason(int(stations.reason[place])),
        )
        for place in range(len(x))
    ]


def _short(role: str) -> str:
    """First letter, and what numbers it: F for floor, S2. for the second sill."""
    number = role.lstrip("abcdefghijklmnopqrstuvwxyz")
    return f"{role[0].upper()}{number}{'.' if number else ''}"


def offset_stakes(
    stakes: Sequence[Stake], stations: Stations, left_m: float, ground: LevelsAt
) -> list[Stake]:
    """Put stakes beside those on a line, clear of the digging.

    Parameters
    ----------
    stakes : those of `stakes_on` for the same stations.
    left_m : distance to the left of the line; negative is to its right [m].

    Raises
    ------
    ValueError
        If the distance is 0, or stakes and stations differ in number.
    """
    if left_m == 0:
        raise ValueError("an offset stake needs a distance other than 0 m")
    if len(stakes) != len(stations.x):
        raise ValueError(f"{len(stakes)} stakes do not stand at {len(stations.x)} stations")
    x, y = stations.offset(left_m)
    side: Side = "left" if left_m > 0 else "right"
    return [
        replace(
            stake, stake_id=f"{stake.stake_id}{side[0].upper()}", x=east, y=north, ground_m=level,
            side=side, offset_m=abs(left_m),
        )
        for stake, east, north, level in zip(
            stakes, x.tolist(), y.tolist(), ground(x, y).tolist(), strict=True
        )
    ]  # fmt: skip


def survey_decides_m(rmse_m: float) -> float:
    """Smallest difference of two surveyed levels that is no chance, at 95 %: 1.96 √2 σ [m].

    References
    ----------
    Brasington, Langham & Rumsby (2003), doi:10.1016/S0169-555X(02)00320-3: least detectable
    change t √(σ1² + σ2²); 0.10 and 0.10 m give 0.277 m.

    Raises
    ------
    ValueError
        If the error is negative.
    """
    if not rmse_m >= 0:
        raise ValueError(f"rmse_m must be 0 m or more, got {rmse_m}")
    return _SURE * math.sqrt(2) * rmse_m


def judged(stakes: Iterable[Stake], rmse_m: float) -> list[Stake]:
    """Flag elements with levels that the survey cannot decide: level on site before digging.

    Each is flagged once, on the stake that bears least.

    Parameters
    ----------
    rmse_m : vertical error of the survey [m].
    """
    every = list(stakes)
    tightest: dict[str, Stake] = {}
    for stake in every:
        kept = tightest.setdefault(stake.element_id, stake)
        if stake.tolerance_m < kept.tolerance_m:
            tightest[stake.element_id] = stake
    least_m = survey_decides_m(rmse_m)
    marked = {id(stake) for stake in tightest.values() if stake.tolerance_m < least_m}
    return [
        replace(stake, flags=(*stake.flags, LEVEL_ON_SITE))
        if id(stake) in marked and LEVEL_ON_SITE not in stake.flags
        else stake
        for stake in every
    ]
