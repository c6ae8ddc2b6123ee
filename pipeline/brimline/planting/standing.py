"""Whether plants thrive where they stand: sun, cold, wetness, and what else is there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.spatial import cKDTree

from brimline.planting.plants import WETNESS
from brimline.sun.path import ANGLES_RAD, BEARINGS_RAD

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.planting.plants import Plant

# hours of sun a day in the growing season: six are full, three part (common practice, no source)
SUN_H: Final = {"full": 6.0, "part": 3.0, "shade": 0.0}
_LEAVES_AT: Final = 2 / 3  # of its height: where a plant is asked for its sun
_REACH: Final = 4.0  # shade is looked for within so many heights of the tallest plant
# of its rooting depth: the upper half gives a plant 70 % of its water, by quarters 40, 30, 20 and
# 10 % (the extraction pattern of irrigation guides; value from memory)
_LEAST_ROOTED: Final = 0.5
_COLDER_C: Final = 3.0  # than the station, that a hollow may be (common practice, no source)
_CROWDED: Final = 0.6  # of the smaller spacing: nearer than that two plants of a layer crowd


@dataclass(frozen=True, slots=True)
class Shade:
    """What plants take from each other, once grown.

    Parameters
    ----------
    lost_h : float64 (plants,) hours of sun a day that others take [h].
    by : int64 (plants,) the plant that takes most, -1 where none does.
    """

    lost_h: NDArray[np.float64]
    by: NDArray[np.int64]


def shade_between(
    places: NDArray[np.float64],
    ground_m: NDArray[np.float64],
    plants: Sequence[Plant],
    hours: NDArray[np.float64],
    *,
    let_through: float,
) -> Shade:
    """Hours of sun that grown plants take from each other.

    A crown is a cylinder from the ground to its height, which lets a share of the sun through. A
    plant is asked at two thirds of its height; one that stands under a crown has it on all sides.

    Parameters
    ----------
    places : float64 (plants, 2) map coordinates [m].
    ground_m : float64 (plants,) level of the ground there [m].
    hours : float64 (sectors, codes) hours a day that the sun stands in a sector above a height,
        of the period that is asked for.
    let_through : share of the sun that a crown lets through.
    """
    count = len(plants)
    lost, by = np.zeros(count), np.full(count, -1, dtype=np.int64)
    if count < 2:
        return Shade(lost, by)
    height = np.array([plant.height_m for plant in plants])
    radius = np.array([plant.crown_m / 2 for plant in plants])
    top = ground_m + height
    asked = ground_m + _LEAVES_AT * height
    near = cKDTree(places).query_ball_point(places, _REACH * float(height.max()))
    per_rad = (len(ANGLES_RAD) - 1) / ANGLES_RAD[-1]
    taken = hours[:, :1] - hours  # (sectors, codes): what a skyline of that height takes
    sectors = np.arange(len(BEARINGS_RAD))
    for one in range(count):
        others = np.array(
            [other for other in near[one] if other != one and top[other] > asked[one]]
        )
        if not others.size:
            continue
        east, north = (places[others] - places[one]).T
        away = np.hypot(east, north)
        under = away <= radius[others]
        rise = np.arctan2(top[others] - asked[one], np.maximum(away - radius[others], 1e-9))
        rise = np.where(under, math.pi / 2, rise)
        half = np.where(under, math.pi, np.arcsin(np.clip(radius[others] / away.clip(1e-9), 0, 1)))
        turn = np.abs(
            (BEARINGS_RAD - np.arctan2(east, north)[:, None] + math.pi) % (2 * math.pi) - math.pi
        )
        codes = np.where(turn <= half[:, None], rise[:, None] * per_rad + 0.5, 0.0).astype(np.int64)
        alone = taken[sectors, codes].sum(axis=1)
        lost[one] = (1 - let_through) * taken[sectors, codes.max(axis=0)].sum()
        if alone.max() > 0:
            by[one] = others[int(alone.argmax())]
    return Shade(lost, by)


@dataclass(frozen=True, slots=True)
class GrowingPlace:
    """What one plant finds where it stands.

    Parameters
    ----------
    sun_h : hours of sun a day in the growing season, other plants not counted [h]; NaN unknown.
    lost_h : hours that other plants of the plan take once grown [h].
    wetness : of `plants.WETNESS`; empty unknown.
    coldest_c : mean of the coldest night of each year [°C]; NaN unknown.
    depth_m : of soil, where somebody dug or it is heaped or dug away [m]; NaN unknown.
    in_cold_air : cold air pools there.
    """

    sun_h: float
    lost_h: float
    wetness: str
    coldest_c: float
    depth_m: float = math.nan
    in_cold_air: bool = False


def lacking(
    plant: Plant,
    sun_h: NDArray[np.floating] | float,
    wetness: NDArray[np.uint8] | int,
    coldest_c: float,
    depth_m: NDArray[np.floating] | float,
    in_cold_air: NDArray[np.bool_] | bool,  # noqa: FBT001 - of ground, no switch
) -> dict[str, NDArray[np.bool_]]:
    """Tell by flag code on which ground a plant lacks what it wants, as far as is known.

    Parameters
    ----------
    sun_h : hours of sun a day in the growing season [h]; NaN unknown.
    wetness : place among `plants.WETNESS`, anything else unknown.
    coldest_c : mean of the coldest night of each year [°C]; NaN unknown.
    depth_m : of soil [m]; NaN unknown.
    in_cold_air : cold air pools there.
    """
    tender = plant.frost_limit_c > coldest_c
    barely = not tender and plant.frost_limit_c > coldest_c - _COLDER_C
    sun, wet, depth, cold = np.broadcast_arrays(sun_h, wetness, depth_m, in_cold_air)
    of_shade = "full" not in plant.sun and "part" not in plant.sun
    found = {
        "little-sun": sun < min(SUN_H[word] for word in plant.sun),
        "much-sun": of_shade & (sun >= SUN_H["full"]),
        "wet-feet": (wet == WETNESS.index("wet")) & ("wet" not in plant.water),
        "dry-ground": (wet == WETNESS.index("dry")) & (plant.water == ("wet",)),
        "frost-tender": np.full(sun.shape, tender),
        "cold-hollow": cold & barely,
        "shallow-soil": depth < _LEAST_ROOTED * plant.root_depth_m,
    }
    return {code: np.asarray(where, dtype=np.bool_) for code, where in found.items()}


def unsuited(plant: Plant, place: GrowingPlace) -> list[tuple[str, str]]:
    """Return flag codes and words of what will not suit a plant there."""
    left, wants = place.sun_h - place.lost_h, " or ".join(plant.water)
    taken = f", {place.lost_h:.1f} h of it taken by plants" if place.lost_h >= 0.1 else ""
    least, bears = min(SUN_H[word] for word in plant.sun), f"it bears {plant.frost_limit_c:.0f} °C"
    night = f"{place.coldest_c:.0f} °C"
    words = {
        "little-sun": f"{max(left, 0):.1f} h of sun a day{taken}; it wants {least:.0f} h",
        "much-sun": f"{left:.1f} h of sun a day; it is a plant of shade",
        "wet-feet": f"the ground stays wet; it wants {wants} ground",
        "dry-ground": f"the ground sheds water; it wants {wants} ground",
        "frost-tender": f"the coldest night of a year is {night} on average; {bears}",
        "cold-hollow": f"cold air pools here, below the {night} of the coldest night; {bears}",
        "shallow-soil": f"{place.depth_m:.1f} m of soil; it roots {plant.root_depth_m:.1f} m deep",
    }
    wet = WETNESS.index(place.wetness) if place.wetness else len(WETNESS)
    told = lacking(plant, left, wet, place.coldest_c, place.depth_m, place.in_cold_air)
    return [(code, words[code]) for code, where in told.items() if where]


@dataclass(frozen=True, slots=True)
class Suits:
    """How much of some ground suits a plant.

    Parameters
    ----------
    share : of the ground that lacks nothing it wants, as far as is known.
    lacks : flag code of what most of the rest lacks; empty where all suits.
    """

    share: float
    lacks: str


def suits(lacks: Mapping[str, NDArray[np.bool_]]) -> Suits:
    """Sum up what `lacking` tells of some ground."""
    bad = np.any(list(lacks.values()), axis=0)
    counts = {code: int(where.sum()) for code, where in lacks.items()}
    most = max(counts, key=lambda code: counts[code])
    return Suits(1.0 - float(bad.mean()), most if counts[most] else "")


def crowded(
    places: NDArray[np.float64], plants: Sequence[Plant]
) -> list[tuple[tuple[str, str], ...]]:
    """Find plants that stand nearer to one of their own layer than either bears.

    Returns
    -------
    For each plant the flag code with how near it stands, or nothing.
    """
    nearest_m = np.full(len(plants), np.inf)
    for layer in {plant.layer for plant in plants}:
        mine = np.array([at for at, plant in enumerate(plants) if plant.layer == layer])
        spacing = np.array([plants[at].spacing_m for at in mine])
        if len(mine) < 2:
            continue
        pairs = cKDTree(places[mine]).query_pairs(
            _CROWDED * float(spacing.max()), output_type="ndarray"
        )
        apart = np.linalg.norm(places[mine[pairs[:, 0]]] - places[mine[pairs[:, 1]]], axis=1)
        near = apart < _CROWDED * np.minimum(spacing[pairs[:, 0]], spacing[pairs[:, 1]])
        np.minimum.at(nearest_m, mine[pairs[near]], apart[near][:, np.newaxis])
    return [
        (
            (
                "crowded",
                f"{apart:.1f} m from the next of its layer; it wants {plant.spacing_m:.1f} m",
            ),
        )
        if np.isfinite(apart)
        else ()
        for apart, plant in zip(nearest_m.tolist(), plants, strict=True)
    ]
