"""What a person has drawn, as typed rows.

A number that is NaN and a text that is empty were left open and are designed from the ground. What
has a usual value instead (a depth, a side, a freeboard) is filled in before it comes here; `empty`
names the columns that the person left so, because these may be sized.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, ClassVar, Final

from brimline.elements.drain import PERMISSIBLE_M_S, RETARDANCE, ROUGHNESS
from brimline.errors import Problem, Severity, shown
from brimline.rainfall._checks import plain_name
from brimline.rainfall.covers import COVERS

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    import shapely
    from shapely.geometry.base import BaseGeometry

OPEN: Final = math.nan  # a number that was left empty


@dataclass(frozen=True, slots=True)
class DrawnSwale:
    """A swale, drawn where its lower lip is to be."""

    LAYER: ClassVar[str] = "drawn_swales"
    WORD: ClassVar[str] = "swale"
    name: str
    shape: shapely.LineString
    form: str
    depth_m: float
    bottom_m: float
    top_m: float
    side: float
    freeboard_m: float
    level_m: float = OPEN
    soak_mm_per_h: float = OPEN
    spills_to: str = ""
    sill_width_m: float = OPEN
    crest_level_m: float = OPEN
    empty: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnDrain:
    """A drain, drawn downhill."""

    LAYER: ClassVar[str] = "drawn_drains"
    WORD: ClassVar[str] = "drain"
    name: str
    shape: shapely.LineString
    depth_m: float
    bottom_m: float
    side: float
    lining: str
    soil: str
    freeboard_m: float
    fall_pct: float = OPEN
    spills_to: str = ""
    empty: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnPond:
    """A pond, drawn along its waterline when full; its freeboard is designed where left open."""

    LAYER: ClassVar[str] = "drawn_ponds"
    WORD: ClassVar[str] = "pond"
    name: str
    shape: shapely.Polygon
    depth_m: float
    side: float
    shelf_width_m: float
    seepage_mm_per_h: float
    start_share: float
    shelf_depth_m: float
    sheet_m: float
    edge: str
    lining: str = ""
    freeboard_m: float = OPEN
    spill_level_m: float = OPEN
    spills_to: str = ""
    sill_width_m: float = OPEN
    crest_level_m: float = OPEN
    empty: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnDam:
    """A bank across a valley, drawn along its crest; its last point is where it spills round it."""

    LAYER: ClassVar[str] = "drawn_dams"
    WORD: ClassVar[str] = "dam"
    name: str
    shape: shapely.LineString
    depth_m: float
    top_m: float
    upstream_side: float
    downstream_side: float
    freeboard_m: float
    seepage_mm_per_h: float
    start_share: float
    spill_level_m: float = OPEN
    crest_level_m: float = OPEN
    spills_to: str = ""
    sill_width_m: float = OPEN
    empty: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnBasin:
    """A basin, drawn along its waterline when full."""

    LAYER: ClassVar[str] = "drawn_basins"
    WORD: ClassVar[str] = "basin"
    name: str
    shape: shapely.Polygon
    form: str
    depth_m: float
    side: float
    void: float
    freeboard_m: float
    edge: str
    fill: str = ""
    fill_depth_m: float = OPEN
    settle_share: float = OPEN
    spill_level_m: float = OPEN
    soak_mm_per_h: float = OPEN
    spills_to: str = ""
    sill_width_m: float = OPEN
    crest_level_m: float = OPEN
    empty: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnTank:
    """A tank, and the names of the surfaces that drain to it, separated by semicolons."""

    LAYER: ClassVar[str] = "drawn_tanks"
    WORD: ClassVar[str] = "tank"
    name: str
    shape: shapely.Point
    volume_m3: float
    height_m: float
    overflow_mm: float
    start_share: float
    first_flush_mm: float
    bedding_m: float
    side: float
    base_level_m: float = OPEN
    cover_m: float = OPEN
    roofs: str = ""
    spills_to: str = ""
    empty: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnBed:
    """A raised bed over a reservoir, drawn along its inner edge."""

    LAYER: ClassVar[str] = "drawn_beds"
    WORD: ClassVar[str] = "bed"
    name: str
    shape: shapely.Polygon
    wall_m: float
    reservoir_m: float
    soil_m: float
    void: float
    overflow_mm: float
    start_share: float
    base_level_m: float = OPEN
    spills_to: str = ""
    empty: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnDownpipe:
    """A way that leads a roof, or part of it, to an element, drawn from the roof."""

    LAYER: ClassVar[str] = "drawn_downpipes"
    WORD: ClassVar[str] = "downpipe"
    name: str
    shape: shapely.LineString
    form: str
    fall_pct: float
    first_flush_mm: float
    roof: str = ""
    to_id: str = ""
    share: float = OPEN
    diameter_mm: float = OPEN
    empty: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnFeed:
    """A pump, or filling by hand, drawn from where water is taken to the store that it fills."""

    LAYER: ClassVar[str] = "drawn_feeds"
    WORD: ClassVar[str] = "feed"
    name: str
    shape: shapely.LineString
    most_m3_d: float
    below_share: float
    from_id: str = ""
    to_id: str = ""
    empty: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnPipe:
    """A pipe, drawn from the element that it leaves."""

    LAYER: ClassVar[str] = "drawn_pipes"
    WORD: ClassVar[str] = "row"
    name: str
    shape: shapely.LineString
    diameter_mm: float
    roughness: float
    bedding_m: float
    cover_m: float
    from_level_m: float = OPEN
    to_level_m: float = OPEN
    preference: float = OPEN
    trench_m: float = OPEN
    from_id: str = ""
    to_id: str = ""
    empty: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnOverflow:
    """A way over a sill, drawn from the element that it leaves."""

    LAYER: ClassVar[str] = "drawn_overflows"
    WORD: ClassVar[str] = "row"
    name: str
    shape: shapely.LineString
    form: str
    crest_level_m: float = OPEN
    sill_width_m: float = OPEN
    capacity_m3_s: float = OPEN
    preference: float = OPEN
    path_m: float = OPEN
    dip_level_m: float = OPEN
    from_id: str = ""
    to_id: str = ""
    empty: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnDischarge:
    """A place where water may leave the site; one without a name does not count as legal."""

    LAYER: ClassVar[str] = "discharge_points"
    WORD: ClassVar[str] = ""
    name: str
    shape: shapely.Point
    level_m: float = OPEN


@dataclass(frozen=True, slots=True)
class DrawnInflow:
    """Where water from outside the site arrives."""

    LAYER: ClassVar[str] = "inflow_points"
    WORD: ClassVar[str] = ""
    name: str
    shape: shapely.Point
    start_h: float
    from_mm: float
    peak_m3_s: float = OPEN
    volume_m3: float = OPEN
    area_m2: float = OPEN
    cover: str = ""
    curve_number: float = OPEN
    runoff_share: float = OPEN
    into: str = ""


@dataclass(frozen=True, slots=True)
class DrawnPad:
    """An area to bring to a plane, drawn along its edge."""

    LAYER: ClassVar[str] = "drawn_pads"
    WORD: ClassVar[str] = "pad"
    name: str
    shape: BaseGeometry
    fall_pct: float
    side: float
    level_m: float = OPEN
    falls_to_deg: float = OPEN
    only: str = ""


DrawnElement = DrawnSwale | DrawnDrain | DrawnPond | DrawnBasin | DrawnTank | DrawnBed | DrawnDam
DrawnWay = DrawnPipe | DrawnOverflow


@dataclass(frozen=True, slots=True)
class Plan:
    """All rows from which a cascade is designed."""

    swales: tuple[DrawnSwale, ...] = ()
    drains: tuple[DrawnDrain, ...] = ()
    ponds: tuple[DrawnPond, ...] = ()
    basins: tuple[DrawnBasin, ...] = ()
    tanks: tuple[DrawnTank, ...] = ()
    pipes: tuple[DrawnPipe, ...] = ()
    overflows: tuple[DrawnOverflow, ...] = ()
    discharges: tuple[DrawnDischarge, ...] = ()
    inflows: tuple[DrawnInflow, ...] = ()
    beds: tuple[DrawnBed, ...] = ()
    dams: tuple[DrawnDam, ...] = ()
    downpipes: tuple[DrawnDownpipe, ...] = ()
    feeds: tuple[DrawnFeed, ...] = ()

    def repeated_names(self) -> tuple[Problem, ...]:
        """Say which names more than one element or discharge point bears."""
        borne = Counter((*self.names, *(one.name for one in self.discharges if one.name)))
        return tuple(
            Problem(
                Severity.ERROR,
                f"{count} elements and discharge points are called {name!r}",
                "give every element and discharge point its own name",
                "plan",
            )
            for name, count in sorted(borne.items())
            if count > 1
        )

    def lost_names(self, roofs: Collection[str]) -> tuple[Problem, ...]:
        """Say which rows name something that is not drawn; a way out to it is an error.

        Parameters
        ----------
        roofs : named surfaces.
        """
        ends = {*self.names, *(one.name for one in self.discharges)}
        named: list[tuple[Severity, str, str, str, str, Collection[str]]] = []
        for row in self.elements:
            to = getattr(row, "spills_to", "")
            known = ends - {row.name}
            named.append((Severity.ERROR, row.LAYER, row.name, "spills_to", to, known))
        for tank in self.tanks:
            named += [
                (Severity.WARNING, tank.LAYER, tank.name, "roofs", word.strip(), roofs)
                for word in tank.roofs.split(";")
            ]
        ways: tuple[tuple[Sequence[Any], tuple[str, ...]], ...] = (
            ((*self.pipes, *self.overflows), ("from_id", "to_id")),
            (self.downpipes, ("to_id", "roof")),
            (self.feeds, ("from_id", "to_id")),
            (self.inflows, ("into",)),
        )
        for rows, columns in ways:
            named += [
                (Severity.WARNING, one.LAYER, one.name, column, getattr(one, column),
                 roofs if column == "roof" else ends)
                for one in rows
                for column in columns
            ]  # fmt: skip
        return tuple(
            Problem(
                severity,
                f'{name}: {column} is "{shown(to)}", which is '
                + ("itself" if to == name else "not drawn"),
                _nearest(to, known),
                f"plan, {layer}",
            )
            for severity, layer, name, column, to, known in named
            if to and to not in known
        )

    def dry_inflows(self, hydrographs: Collection[str]) -> tuple[Problem, ...]:
        """Say which inflow points bring nothing, because too little is said of them.

        Parameters
        ----------
        hydrographs : names of those that are known.
        """
        return tuple(
            Problem(
                Severity.WARNING,
                f"{row.name or 'an inflow'} brings nothing: it has neither peak_m3_s and volume_m3,"
                " nor area_m2, nor a hydrograph",
                "fill them in, or name it as in inputs.inflows",
                f"plan, {row.LAYER}",
            )
            for row in self.inflows
            if row.name not in hydrographs
            and math.isnan(row.peak_m3_s * row.volume_m3)
            and math.isnan(row.area_m2)
        )

    def lost_words(self) -> tuple[Problem, ...]:
        """Say which words of drawn rows are not known, for which the row is left out."""
        linings, covers = (*ROUGHNESS, *RETARDANCE), tuple(one.name for one in COVERS)
        words: list[tuple[DrawnDrain | DrawnInflow, str, str, tuple[str, ...]]] = []
        for drain in self.drains:
            words.append((drain, "lining", drain.lining, linings))
            words.append((drain, "soil", drain.soil, tuple(PERMISSIBLE_M_S)))
        words += [(one, "cover", plain_name(one.cover), covers) for one in self.inflows]
        return tuple(
            Problem(
                Severity.WARNING,
                f'{row.name}: {column} is "{shown(word)}", which is not known: it is left out',
                f"one of: {', '.join(known)}",
                f"plan, {row.LAYER}",
            )
            for row, column, word, known in words
            if word and word not in known
        )

    @property
    def elements(self) -> tuple[DrawnElement, ...]:
        """Rows that are elements, swales first, as they are numbered."""
        return (
            *self.swales, *self.drains, *self.ponds, *self.basins, *self.tanks, *self.beds,
            *self.dams,
        )  # fmt: skip

    @property
    def names(self) -> tuple[str, ...]:
        """Names of everything that was drawn as an element, whether it can be made or not."""
        return tuple(row.name for row in self.elements)


def _nearest(name: str, known: Collection[str]) -> str:
    near = get_close_matches(name, known, n=1)
    if near:
        return f"did you mean {near[0]}?"
    return f"there are: {shown(', '.join(sorted(known)) or 'none')}; or leave it empty"


KINDS: Final[dict[str, type[Any]]] = {
    "swales": DrawnSwale,
    "drains": DrawnDrain,
    "ponds": DrawnPond,
    "basins": DrawnBasin,
    "tanks": DrawnTank,
    "beds": DrawnBed,
    "dams": DrawnDam,
    "downpipes": DrawnDownpipe,
    "feeds": DrawnFeed,
    "pipes": DrawnPipe,
    "overflows": DrawnOverflow,
    "discharges": DrawnDischarge,
    "inflows": DrawnInflow,
}  # of the fields of `Plan`
LAYERS: Final = tuple(str(kind.LAYER) for kind in KINDS.values())  # of the drawing, for `Plan`
