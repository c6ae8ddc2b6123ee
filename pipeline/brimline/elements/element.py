"""One element as the cascade sees it, whatever its shape."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol

from brimline.elements.soak import SEALED, Soak

if TYPE_CHECKING:
    from brimline.elements.storage import StageTable


class Kind(StrEnum):
    """What an element is."""

    SWALE = "swale"
    DRAIN = "drain"
    POND = "pond"
    BASIN = "basin"
    TANK = "tank"


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing about an element's own shape that a person must look at.

    Parameters
    ----------
    flag : code of the flag catalogue.
    text : what was found, with values and units.
    """

    flag: str
    text: str


class Shape(Protocol):
    """What a person draws or a design aid sizes: dimensions that make an element."""

    @property
    def element_id(self) -> str:
        """Name of the element, unique in a cascade."""
        ...

    def element(self) -> Element:
        """Work out the element from the dimensions."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Element:
    """An element's storage, levels and ground.

    Parameters
    ----------
    element_id : name, unique in a cascade.
    stages : storage, surface and soaking area by level.
    spill_level_m : level at which it is full and meant to spill [m].
    crest_level_m : level above which water runs over its brim, uncontrolled [m].
    brim_length_m : length of brim that water would run over [m].
    freeboard_m : height that must stay dry below the crest [m].
    footprint_m2 : ground that it takes [m²].
    soak : soakage through its floor.
    start_level_m : water level before the storm; the floor where left out [m].
    kept_share : share of its storage that a pump or a hand keeps it filled to before a storm.
    empties : whether it is meant to drain down after a storm (a pond that holds water is not).
    embankment_height_m : greatest height of fill over the ground below it [m].
    held_above_ground_m3 : volume to the crest that only fill holds back [m³].
    ground_slope_pct : slope of the ground that it stands on [%].
    form : its kind in plain words, such as "rain garden".
    cautions : what its own shape gives to look at.
    shape : the dimensions that made it, for changing one and working it out again.

    Raises
    ------
    ValueError
        If the levels do not rise from floor to spill level to crest.
    """

    element_id: str
    kind: Kind
    stages: StageTable
    spill_level_m: float
    crest_level_m: float
    brim_length_m: float
    freeboard_m: float = 0.0
    footprint_m2: float = 0.0
    soak: Soak = SEALED
    start_level_m: float = -math.inf
    empties: bool = True
    embankment_height_m: float = 0.0
    held_above_ground_m3: float = 0.0
    ground_slope_pct: float = 0.0
    form: str = ""
    cautions: tuple[Caution, ...] = ()
    shape: Shape | None = field(default=None, repr=False)
    kept_share: float = 0.0

    def __post_init__(self) -> None:
        if not self.floor_m < self.spill_level_m <= self.crest_level_m:
            raise ValueError(
                f"{self.element_id}: levels must rise from floor {self.floor_m} m to spill level "
                f"{self.spill_level_m} m to crest {self.crest_level_m} m"
            )
        if not (self.brim_length_m > 0 and self.freeboard_m >= 0):
            raise ValueError(
                f"{self.element_id}: the brim must have a length and the freeboard be 0 m or "
                f"more, got {self.brim_length_m} m and {self.freeboard_m} m"
            )

    @property
    def floor_m(self) -> float:
        """Level of the floor [m]."""
        return self.stages.floor_m

    @property
    def storage_m3(self) -> float:
        """Volume from the floor to the spill level [m³]."""
        return float(self.stages.storage_at(self.spill_level_m))

    @property
    def brim_storage_m3(self) -> float:
        """Volume from the floor to the crest [m³]."""
        return float(self.stages.storage_at(self.crest_level_m))

    @property
    def highest_safe_m(self) -> float:
        """Level that leaves the freeboard dry [m]."""
        return self.crest_level_m - self.freeboard_m

    def changed(self, dimension: str, value: float) -> Element:
        """Return the element with one dimension of its shape changed and all worked out again.

        Raises
        ------
        ValueError
            If it was not made from a shape, or the shape has no such dimension.
        """
        if self.shape is None or not hasattr(self.shape, dimension):
            raise ValueError(f"{self.element_id} has no dimension {dimension} to change")
        made: Element = replace(self.shape, **{dimension: value}).element()  # type: ignore[type-var]
        return made.kept_full(self.kept_share)

    def kept_full(self, share: float) -> Element:
        """Return the element no less full before a storm than a share of its storage, 0 to 1."""
        if share <= 0:
            return self
        kept_m = float(self.stages.level_at(share * self.storage_m3))
        return replace(self, start_level_m=max(self.start_level_m, kept_m), kept_share=share)
