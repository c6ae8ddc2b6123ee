"""A design's earth: what is dug and heaped up, how well that is known, and where it goes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import shapely

from brimline.cascade.rows import outlet_word
from brimline.elements import Kind, RaisedBed
from brimline.elements.building import (
    Quantity,
    earth_quantities,
    fitting_quantities,
    over_bank_quantities,
    sill_quantities,
)
from brimline.elements.pond import longest_side_m
from brimline.errors import Problem, Severity
from brimline.terrain.earthwork import (
    Earth,
    Work,
    balanced,
    earth_by_label,
    earth_by_sections,
    sections_across,
    volume_error_m3,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from brimline.design.earth import DesignedGround
    from brimline.design.roofs import SizedDownpipe
    from brimline.elements.building import Building
    from brimline.grid import Elevation
    from brimline.terrain.earthwork import SectionVolumes, Soil, Spoil, Stockpile
    from brimline.terrain.shaping import Shaped

_MOUNDS: Final = frozenset({Kind.SWALE, Kind.DRAIN})  # formed along a line
_DIFFER_PCT: Final = 5.0  # between cells and sections, above which a person should look
_DIFFER_M3: Final = 2.0
_SHORT_M3: Final = 1.0  # of fill that is told of


@dataclass(frozen=True, slots=True)
class DugElement:
    """The earth of one element: its fields are the columns of the table `earth_volumes`.

    Parameters
    ----------
    built_m3 : fill before it settles.
    cut_error_m3, fill_error_m3 : standard errors, by the survey and between cells and sections.
    """

    element_id: str
    cut_m3: float
    fill_m3: float
    built_m3: float
    cut_sections_m3: float
    fill_sections_m3: float
    sections: int
    cut_error_m3: float
    fill_error_m3: float
    cut_m2: float
    fill_m2: float
    deepest_m: float
    highest_m: float
    topsoil_m3: float
    respread_m3: float
    spoil_m3: float
    fill_needed_m3: float
    flags: tuple[str, ...]

    def doubts(self) -> list[Problem]:
        """Say where volumes by cells and by sections differ more than they should."""
        return [
            Problem(
                Severity.NOTICE,
                f"{self.element_id}: its {word} is {one:.1f} m³ by cells and {other:.1f} m³ by"
                " sections",
                "make earthworks.section_interval_m smaller, or refine greater",
                "earth_volumes",
            )
            for word, one, other in (
                ("cut", self.cut_m3, self.cut_sections_m3),
                ("fill", self.fill_m3, self.fill_sections_m3),
            )
            if abs(one - other) > max(_DIFFER_M3, _DIFFER_PCT / 100 * max(one, other))
        ]


@dataclass(frozen=True, slots=True, eq=False)
class DugDesign:
    """A design dug and heaped up.

    Parameters
    ----------
    design_m : float32 (rows, cols), the designed surface, banks settled [m].
    as_built : earth of each element before it settles.
    elements : in the order of their numbers.
    """

    site: DesignedGround
    design_m: Elevation
    as_built: Mapping[str, Earth]
    elements: tuple[DugElement, ...]
    spoil: Spoil

    @property
    def headline(self) -> dict[str, float]:
        """Sums over the site [m³]."""
        spoil = self.spoil
        return {
            "cut_m3": sum(one.cut_m3 for one in self.elements),
            "fill_m3": sum(one.fill_m3 for one in self.elements),
            "to_stockpile_m3": spoil.total_m3("stockpile") + spoil.total_m3("no place"),
            "borrow_m3": spoil.total_m3("borrow"),
            "topsoil_left_m3": spoil.topsoil_left_m3,
        }

    def flags_of(self, name: str) -> tuple[str, ...]:
        """Return the flags of an element or a pad."""
        return next(one.flags for one in self.elements if one.element_id == name)

    def told(self) -> list[Problem]:
        """Say what could not be made, is measured doubtfully, has no foot, and what is short."""
        unmade = [
            Problem(Severity.WARNING, f"{name}: {why}", "mend its row in the plan", "drawn_pads")
            for name, why in self.site.unmade.items()
        ]
        open_ended = [
            Problem(
                Severity.WARNING,
                f"{name}: a batter meets no ground and was cut off",
                "make it steeper than the ground, or move the element to flatter ground",
                "earth_volumes",
            )
            for name in self.site.ready.open_ended
        ]
        doubts = [doubt for one in self.elements for doubt in one.doubts()]
        return [*unmade, *doubts, *open_ended, *self._short()]

    def _short(self) -> list[Problem]:
        """Say how much fill is short, where, and what a pit for it would take."""
        brought = [one for one in self.spoil.hauls if one.kind == "borrow"]
        short = {one.to_id: one.bank_m3 for one in brought}
        if (total_m3 := sum(short.values())) < _SHORT_M3:
            return []
        loose_m3 = sum(one.loose_m3 for one in brought)
        each = ", ".join(f"{name} {m3:.0f} m³" for name, m3 in short.items() if m3 >= _SHORT_M3)
        text = (
            f"fill is short by {total_m3:.0f} m³, measured in place before it is dug"
            f" ({loose_m3:.0f} m³ loose): {each or 'a little of several'}"
        )
        mend = (
            f"win it from a borrow pit, which 1 m deep below the topsoil takes {total_m3:.0f} m² of"
            " ground; behind a dam and below its water it makes the pond deeper by as much. It is"
            " billed as brought from elsewhere"
        )
        return [Problem(Severity.NOTICE, text, mend, "spoil_hauls")]


def dug(
    site: DesignedGround,
    soil: Soil,
    stockpiles: Sequence[Stockpile],
    *,
    refine: int,
    interval_m: float,
    error_m: float,
    correlation_m: float,
) -> DugDesign:
    """Measure a design's earth by cells and by sections, and find a place for its spoil.

    Parameters
    ----------
    refine : parts of a cell's side that it is measured by.
    interval_m : between sections [m].
    error_m : standard error of the survey's levels [m].
    correlation_m : distance over which these errors are alike [m].
    """
    settled, built = (site.ready.surface(factor=refine, built=after) for after in (False, True))
    by_cells, as_built = earth_of(settled), earth_of(built)
    works = [Work(name, as_built[name], middle_of(site, name)) for name in _top_down(site)]
    spoil = balanced(works, soil, stockpiles)
    homeless = frozenset(haul.from_id for haul in spoil.hauls if haul.kind == "no place")
    found = []
    for name, cells in by_cells.items():
        sections: SectionVolumes = earth_by_sections(
            sections_across(site.ready, site.label_of(name), site.ground, interval_m=interval_m)
        )
        cut_error_m3, fill_error_m3 = _errors_m3(site, name, cells, error_m, correlation_m)
        need = spoil.needs[name]
        found.append(
            DugElement(
                name, cells.cut_m3, cells.fill_m3, as_built[name].fill_m3,
                sections.cut_m3, sections.fill_m3, sections.sections,
                math.hypot(cut_error_m3, cells.cut_m3 - sections.cut_m3),
                math.hypot(fill_error_m3, cells.fill_m3 - sections.fill_m3),
                cells.cut_m2, cells.fill_m2, cells.deepest_m, cells.highest_m,
                need.topsoil_m3, need.respread_m3, need.spoil_m3, need.fill_m3,
                flags_of_earth(name, site.ready.open_ended, homeless),
            )
        )  # fmt: skip
    return DugDesign(site, settled.design_m, as_built, tuple(found), spoil)


def earth_of(shaped: Shaped) -> dict[str, Earth]:
    """Measure a surface's earth by the cells of its refined blocks, by element."""
    count = len(shaped.elements)
    total = [Earth()] * count
    for piece in shaped.pieces:
        here = earth_by_label(
            piece.ground_m, piece.design_m, piece.grid.cell_area_m2, piece.dug_by,
            piece.heaped_by, count,
        )  # fmt: skip
        total = [one + other for one, other in zip(total, here, strict=True)]
    return dict(zip(shaped.elements, total, strict=True))


def _top_down(site: DesignedGround) -> list[str]:
    """In the order of building: pads first, which are ground for all else."""
    names = site.ready.elements
    return sorted(names, key=lambda name: (name not in site.pads, -site.level_of(name), name))


def middle_of(site: DesignedGround, name: str) -> tuple[float, float]:
    """Return where the earth of an element is hauled from and to."""
    middle = site.shape_of(name).centroid
    return middle.x, middle.y


def flags_of_earth(
    name: str, open_ended: Iterable[str], homeless: Iterable[str]
) -> tuple[str, ...]:
    """Return why a person must look at the earth of an element.

    Parameters
    ----------
    open_ended : elements with a batter that meets no ground.
    homeless : elements with spoil that has no place.
    """
    codes = {"open-batter": open_ended, "spoil-no-place": homeless}
    return tuple(code for code, names in codes.items() if name in names)


def _errors_m3(
    site: DesignedGround, name: str, earth: Earth, error_m: float, correlation_m: float
) -> tuple[float, float]:
    """Return standard errors of an element's cut and fill that the survey brings [m³]."""
    shape = site.shape_of(name)
    length_m = longest_side_m(shape) if isinstance(shape, shapely.Polygon) else shape.length
    cut_m3, fill_m3 = (
        volume_error_m3(error_m, area_m2, length_m, correlation_m)
        for area_m2 in (earth.cut_m2, earth.fill_m2)
    )
    return cut_m3, fill_m3


def quantities_of(
    done: DugDesign,
    soil: Soil,
    how: Building,
    downpipes: Iterable[SizedDownpipe],
    *,
    stone_m: float,
    apron_m: float,
) -> list[Quantity]:
    """Return amounts of the bill; those of stakes are not among them.

    Parameters
    ----------
    stone_m, apron_m : thickness of stone on sills, and its length beyond the bank [m].
    """
    found = [
        quantity
        for name in done.site.ready.elements
        for quantity in earth_quantities(
            name, done.as_built[name], done.spoil.needs[name], soil, done.spoil.hauls
        )
    ]
    found += fittings_of(done.site, how, stone_m=stone_m, apron_m=apron_m)
    for pipe in downpipes:
        note = f"{pipe.row.form} {pipe.diameter_mm:g} mm"
        found.append(Quantity(pipe.led.to_id, "downpipe", pipe.length_m, note))
    return found


def fittings_of(
    site: DesignedGround, how: Building, *, stone_m: float, apron_m: float
) -> list[Quantity]:
    """Return amounts of the bill that are neither earth nor downpipes.

    Parameters
    ----------
    stone_m, apron_m : as for `quantities_of`.
    """
    found: list[Quantity] = []
    network = site.design.network
    for name in site.ready.elements:
        element = site.element(name)
        if element is not None and element.kind in _MOUNDS:
            found.append(Quantity(name, "form", site.shape_of(name).length))
    for one in site.design.placed:
        found += fitting_quantities(one.element)
    for trench in site.trenches:
        note = f"trench of {trench.name}"
        found += trench.measured(site.ground).quantities(trench.element_id, note)
    if stone_m:
        found += _sill_stone(site, how, stone_m, apron_m)
    for tank in network.elements:
        if tank.kind is Kind.TANK and not isinstance(tank.shape, RaisedBed):
            holds_m3 = float(tank.stages.storage_at(network.spill_level_m(tank.element_id)))
            found.append(Quantity(tank.element_id, "tank", 1.0, f"{holds_m3:g} m³"))
    for link, line in zip(site.design.links, site.design.lines, strict=True):
        diameter_m = getattr(link.outlet, "diameter_m", None)
        spout = isinstance(network.element(link.from_id).shape, RaisedBed)
        if outlet_word(link.outlet) in ("pipe", "orifice") and diameter_m is not None and not spout:
            found.append(Quantity(link.from_id, "pipe", line.length, f"{1000 * diameter_m:g} mm"))
    return found


def _sill_stone(
    site: DesignedGround, how: Building, stone_m: float, apron_m: float
) -> list[Quantity]:
    found: list[Quantity] = []
    for name, sills in site.sills.items():
        if name not in site.dug:
            continue
        crest_m = site.design.network.element(name).crest_level_m
        for sill in sills:
            found += over_bank_quantities(name, sill, crest_m, how, stone_m, apron_m)
        for dip in site.dips.get(name, ()):
            found += sill_quantities(
                name, dip.width_m, dip.line.length, stone_m, note="dip in a path"
            )
    return found
