"""Where the spoil goes: into the element's own mound, into another's, onto a named stockpile.

Earth is counted in three states: in place (bank), loose (on the lorry and the stockpile), and
compacted (in the fill). Volumes of `Earth` are in place where they are cut and compacted where they
are filled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.terrain.earthwork.volumes import Earth

Place = tuple[float, float]
HaulKind = Literal["own fill", "other fill", "stockpile", "no place", "borrow"]

_ENOUGH_M3 = 1e-9


@dataclass(frozen=True, slots=True)
class Soil:
    """How earth changes its volume, and what is taken off first.

    Parameters
    ----------
    loose_per_bank : loose volume of a volume in place; 1.1 for sand to 1.4 for clay (common
        practice, no source: have it tested where it matters).
    compacted_per_bank : compacted volume of a volume in place; 0.9 is usual for loam (common
        practice, no source).
    topsoil_m : thickness of topsoil, stripped wherever earth is moved [m].
    respread_m : thickness of topsoil put back on what is heaped up, part of its design height [m].

    Raises
    ------
    ValueError
        If a ratio is not above 0 or a thickness is negative.
    """

    loose_per_bank: float = 1.25
    compacted_per_bank: float = 0.9
    topsoil_m: float = 0.0
    respread_m: float = 0.0

    def __post_init__(self) -> None:
        if not (self.loose_per_bank > 0 and self.compacted_per_bank > 0):
            raise ValueError("loose_per_bank and compacted_per_bank must be above 0")
        if not (self.topsoil_m >= 0 and self.respread_m >= 0):
            raise ValueError("topsoil_m and respread_m must be 0 m or more")


@dataclass(frozen=True, slots=True)
class Work:
    """The earth of one element.

    Parameters
    ----------
    place : where it lies, for hauls; map coordinates [m].
    """

    element_id: str
    earth: Earth
    place: Place = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Stockpile:
    """A named place for spoil that no fill needs."""

    name: str
    place: Place = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Need:
    """What an element gives and takes, all in place [m³].

    Parameters
    ----------
    topsoil_m3 : stripped from all ground that it moves.
    respread_m3 : of that, put back on its fill; the rest is left over.
    spoil_m3 : dug below the topsoil.
    fill_m3 : needed for what is heaped up, the place of stripped topsoil included.
    """

    topsoil_m3: float
    respread_m3: float
    spoil_m3: float
    fill_m3: float


@dataclass(frozen=True, slots=True)
class Haul:
    """Earth that moves from one place to another.

    Parameters
    ----------
    kind : own fill, other fill, stockpile, no place
        (spoil for which no stockpile is named), or borrow (fill that has to be brought;
        `from_id` is empty).
    bank_m3, loose_m3 : its volume in place and on the way [m³].
    distance_m : straight from place to place [m].
    """

    from_id: str
    to_id: str
    kind: HaulKind
    bank_m3: float
    loose_m3: float
    distance_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Spoil:
    """The mass balance of a site.

    Parameters
    ----------
    needs : by element.
    hauls : own fills first, then other fills, stockpiles, borrow.
    topsoil_left_m3 : stripped and not put back, in place [m³].
    """

    needs: dict[str, Need]
    hauls: tuple[Haul, ...]
    topsoil_left_m3: float = field(default=0.0)

    def total_m3(self, kind: HaulKind) -> float:
        """Volume of one kind of haul, in place [m³]."""
        return sum(haul.bank_m3 for haul in self.hauls if haul.kind == kind)


def need_of(earth: Earth, soil: Soil) -> Need:
    """Work out what an element gives and takes.

    Topsoil comes off both where is cut and where is filled: it shortens the cut below it, and
    deepens the fill above. What is put back on the fill stands for part of it.
    """
    topsoil_m3 = soil.topsoil_m * (earth.cut_m2 + earth.fill_m2)
    stripped_of_cut_m3 = min(soil.topsoil_m * earth.cut_m2, earth.cut_m3)
    respread_m3 = min(soil.respread_m * earth.fill_m2, topsoil_m3, earth.fill_m3)
    fill_m3 = earth.fill_m3 + soil.topsoil_m * earth.fill_m2 - respread_m3
    return Need(
        topsoil_m3,
        respread_m3,
        earth.cut_m3 - stripped_of_cut_m3,
        fill_m3 / soil.compacted_per_bank,
    )


def balanced(works: Sequence[Work], soil: Soil, stockpiles: Sequence[Stockpile] = ()) -> Spoil:
    """Send spoil to its own mound first, then to the nearest fill that lacks it, then away.

    Topsoil goes into no fill: it settles, rots and leaks, and every mound here holds water back.
    What is short is borrowed.

    Parameters
    ----------
    works : one for each element, in the order of building: of two fills equally near, the one
        built first is served first.
    stockpiles : where the rest goes, the nearest one; "no place" where none is named.

    Raises
    ------
    ValueError
        If two works have the same element.
    """
    if len({work.element_id for work in works}) != len(works):
        raise ValueError("each element must be named once")
    needs = {work.element_id: need_of(work.earth, soil) for work in works}
    spare = {name: need.spoil_m3 for name, need in needs.items()}
    lacking = {name: need.fill_m3 for name, need in needs.items()}
    places = {work.element_id: work.place for work in works}
    hauls: list[Haul] = []

    def move(source: str, target: str, kind: HaulKind, bank_m3: float, far_m: float) -> None:
        if bank_m3 > _ENOUGH_M3:
            loose_m3 = bank_m3 * soil.loose_per_bank
            hauls.append(Haul(source, target, kind, bank_m3, loose_m3, far_m))

    def fill(source: str, target: str, kind: HaulKind, far_m: float) -> None:
        amount = min(spare[source], lacking[target])
        spare[source] -= amount
        lacking[target] -= amount
        move(source, target, kind, amount, far_m)

    for name in needs:
        fill(name, name, "own fill", 0.0)
    pairs = [
        (math.dist(places[source], places[target]), place, source, target)
        for place, target in enumerate(needs)
        for source in needs
        if spare[source] > _ENOUGH_M3 and lacking[target] > _ENOUGH_M3
    ]
    for far_m, _, source, target in sorted(pairs):
        fill(source, target, "other fill", far_m)
    for name in needs:
        piles = sorted((math.dist(places[name], pile.place), pile.name) for pile in stockpiles)
        far_m, pile = piles[0] if piles else (0.0, "")
        move(name, pile, "stockpile" if piles else "no place", spare[name], far_m)
    for name in needs:
        move("", name, "borrow", lacking[name], 0.0)
    left_m3 = sum(need.topsoil_m3 - need.respread_m3 for need in needs.values())
    return Spoil(needs, tuple(hauls), left_m3)
