"""How banks are built, and which places are looked at."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BankRules:
    """The banks that are tried, and what a place must hold.

    Parameters
    ----------
    depths_m : depths of water at the bank's middle that are tried, rising [m].
    over_m : crest over the water when full: freeboard and head of the spill way [m].
    top_m : width of the crest [m].
    upstream, downstream : batters, run per metre of rise.
    settlement_share : allowance of fill for settling (about 10 % of height; a course derived from
        FAO Irrigation and Drainage Paper 64).
    half_lengths_m : lengths from the middle after which a bank turns up the slope where the ground
        has not come up to its crest; each is tried [m].
    wing_m : longest wing after that turn [m].
    reach_m : farthest that water may reach from the bank [m].
    ways : directions tried, even steps of a half turn.
    path_area_m2 : ground that must gather in a valley floor where banks are tried [m²].
    bench_reach_m : banks on hillsides are tried where the slope is gentlest within this [m].
    steepest_pct : and no steeper than this [%].
    least_m3 : places that hold less are passed over [m³].
    most : number of places.

    Raises
    ------
    ValueError
        If a number is out of range.
    """

    depths_m: tuple[float, ...] = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0)
    over_m: float = 0.6
    top_m: float = 3.0
    upstream: float = 3.0
    downstream: float = 2.0
    settlement_share: float = 0.1
    half_lengths_m: tuple[float, ...] = (20.0, 60.0)
    wing_m: float = 60.0
    reach_m: float = 250.0
    ways: int = 16
    path_area_m2: float = 5000.0
    bench_reach_m: float = 25.0
    steepest_pct: float = 20.0
    least_m3: float = 100.0
    most: int = 12

    def __post_init__(self) -> None:
        depths = self.depths_m
        if not depths or depths[0] <= 0 or list(depths) != sorted(set(depths)):
            raise ValueError(f"depths_m must rise and be above 0 m, got {depths}")
        if min(self.over_m, self.top_m, self.upstream, self.downstream, self.settlement_share) < 0:
            raise ValueError("over_m, top_m, batters and settlement_share must not be negative")
        if not self.half_lengths_m or min(*self.half_lengths_m, self.reach_m) <= 0:
            raise ValueError("half_lengths_m and reach_m must be above 0 m")
        if self.ways < 2 or self.most < 1 or self.wing_m < 0:
            raise ValueError(
                f"needs 2 ways, 1 place and wings not negative: {self.ways}, {self.most},"
                f" {self.wing_m}"
            )

    @property
    def batters(self) -> float:
        """Sum of both batters."""
        return self.upstream + self.downstream


def fill_m3(
    height_m: float, length_m: float, *, top_m: float, batters: float, straight_valley: bool = True
) -> float:
    """Fill of a bank across a straight V valley, or along level ground [m³].

    L (C H / 2 + S H² / 6) across a V, L (C H + S H² / 2) along level ground; C the crest's width,
    S the sum of both batters. FAO Irrigation and Drainage Paper 64 (Stephens 2010) rounds the V up
    to 0.216 H L (2 C + H S) (value from memory).
    """
    if straight_valley:
        return length_m * (top_m * height_m / 2 + batters * height_m**2 / 6)
    return length_m * (top_m * height_m + batters * height_m**2 / 2)
