"""Whether plants thrive where they stand: sun, cold, wetness, and what else is there."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.spatial import cKDTree

from brimline.sun.path import ANGLES_RAD, BEARINGS_RAD

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.planting.plants import Plant

# hours of sun a day in the growing season: six are full, three part (common practice, no source)
SUN_H: Final = {"full": 6.0, "part": 3.0, "shade": 0.0}
_LEAVES_AT: Final = 2 / 3  # of its height: where a plant is asked for its sun
_REACH: Final = 4.0  # shade is looked for within so many heights of the tallest plant
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


def unsuited(plant: Plant, place: GrowingPlace) -> list[tuple[str, str]]:
    """Return flag codes and words of what will not suit a plant there."""
    found = []
    least = min(SUN_H[word] for word in plant.sun)
    left = place.sun_h - place.lost_h
    if left < least:
        taken = f", {place.lost_h:.1f} h of it taken by plants" if place.lost_h >= 0.1 else ""
        found.append(
            ("little-sun", f"{max(left, 0):.1f} h of sun a day{taken}; it wants {least:.0f} h")
        )
    if "full" not in plant.sun and "part" not in plant.sun and left >= SUN_H["full"]:
        found.append(("much-sun", f"{left:.1f} h of sun a day; it is a plant of shade"))
    if place.wetness and place.wetness not in plant.water:
        wants = " or ".join(plant.water)
        if place.wetness == "wet":
            found.append(("wet-feet", f"the ground stays wet; it wants {wants} ground"))
        elif place.wetness == "dry" and plant.water == ("wet",):
            found.append(("dry-ground", f"the ground sheds water; it wants {wants} ground"))
    if plant.frost_limit_c > place.coldest_c:
        text = f"the coldest night of a year is {place.coldest_c:.0f} °C on average; "
        found.append(("frost-tender", text + f"it bears {plant.frost_limit_c:.0f} °C"))
    elif place.in_cold_air and plant.frost_limit_c > place.coldest_c - _COLDER_C:
        text = f"cold air pools here, below the {place.coldest_c:.0f} °C of the coldest night; "
        found.append(("cold-hollow", text + f"it bears {plant.frost_limit_c:.0f} °C"))
    if place.depth_m < plant.root_depth_m:
        text = f"{place.depth_m:.1f} m of soil; it roots {plant.root_depth_m:.1f} m deep"
        found.append(("shallow-soil", text))
    return found


def crowded(places: NDArray[np.float64], plants: Sequence[Plant]) -> NDArray[np.bool_]:
    """Tell which plants stand nearer to one of their own layer than either bears."""
    found = np.zeros(len(plants), dtype=bool)
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
        found[mine[np.unique(pairs[near])]] = True
    return found
