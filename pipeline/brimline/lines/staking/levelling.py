"""Levels as the person at the instrument reads them: from a benchmark, on a rod."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from brimline.lines.staking.stakes import said

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brimline.lines.staking.stakes import Stake


@dataclass(frozen=True, slots=True)
class Instrument:
    """A level set up beside a benchmark.

    Parameters
    ----------
    benchmark : its name on site.
    benchmark_m : its level in the survey's datum [m].
    above_m : height of the line of sight over it, the reading of a rod on it (backsight) [m].
    rod_m : length of the rod [m].

    Raises
    ------
    ValueError
        If the line of sight is not above the benchmark, or the rod has no length.
    """

    benchmark: str
    benchmark_m: float
    above_m: float
    rod_m: float = 5.0

    def __post_init__(self) -> None:
        if not (self.above_m > 0 and self.rod_m > 0):
            raise ValueError(
                f"the line of sight and the rod need heights above 0 m, got {self.above_m} m and "
                f"{self.rod_m} m"
            )

    @property
    def sight_m(self) -> float:
        """Level of the line of sight: benchmark and backsight [m]."""
        return self.benchmark_m + self.above_m


@dataclass(frozen=True, slots=True)
class Reading:
    """What the rod shows at a stake.

    Parameters
    ----------
    above_benchmark_m : level to build to over the benchmark; negative is below it [m].
    rod_m : reading of a rod that stands at the level to build to [m].
    rod_ground_m : reading to expect of a rod on the surveyed ground [m].
    in_reach : False where either reading is off the rod: move the instrument.
    """

    stake: Stake
    above_benchmark_m: float
    rod_m: float
    rod_ground_m: float
    in_reach: bool

    @property
    def flags(self) -> tuple[str, ...]:
        """Those of the stake, and whether the rod cannot be read."""
        return (*self.stake.flags, *(() if self.in_reach else ("off-rod",)))

    @property
    def say(self) -> str:
        """What the crew must do first, in words."""
        return said(self.flags)


def readings(stakes: Iterable[Stake], instrument: Instrument) -> list[Reading]:
    """Rod readings for stakes: line of sight less level (height-of-instrument method).

    Banks are read at the level that they are built to, before they settle.
    """
    found = []
    for stake in stakes:
        wanted_m = stake.design_m if math.isnan(stake.build_m) else stake.build_m
        on_build = instrument.sight_m - wanted_m
        on_ground = instrument.sight_m - stake.ground_m
        lowest, highest = sorted((on_build, on_ground))
        in_reach = lowest >= 0 and highest <= instrument.rod_m
        found.append(
            Reading(stake, wanted_m - instrument.benchmark_m, on_build, on_ground, in_reach)
        )
    return found
