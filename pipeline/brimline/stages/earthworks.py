"""Elements dug and heaped up: the designed surface, the earth, and where the spoil goes."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

import pandas as pd
import shapely

from brimline.config import Earthworks, Survey
from brimline.design import StandingWalls
from brimline.elements import Kind, RaisedBed
from brimline.elements.building import (
    Quantity,
    earth_quantities,
    fitting_quantities,
    sill_quantities,
)
from brimline.elements.pond import longest_side_m
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.inputs.rules import soil_as_dug
from brimline.layers.flags import joined
from brimline.stages._frames import frame_of, table_of
from brimline.stages._plan import BUILT, ground_of_design
from brimline.stages._survey_error import SUPPORT, survey_error_m
from brimline.terrain.earthwork import (
    Earth,
    Soil,
    Stockpile,
    Work,
    balanced,
    earth_by_label,
    earth_by_sections,
    sections_across,
    volume_error_m3,
)

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from brimline.design import DesignedGround
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.terrain.earthwork import Haul, Need, SectionVolumes, Spoil
    from brimline.terrain.shaping import Shaped

_MOUNDS: Final = frozenset({Kind.SWALE, Kind.DRAIN})  # formed along a line
_DIFFER_PCT: Final = 5.0  # between cells and sections, above which a person should look
_DIFFER_M3: Final = 2.0


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("earthworks", Earthworks)
    site, walls = ground_of_design(given), given.value("walls", StandingWalls)
    for name, why in site.unmade.items():
        report.problem(
            Problem(Severity.WARNING, f"{name}: {why}", "mend its row in the plan", "drawn_pads")
        )
    settled = site.ready.surface(factor=params.refine)
    report.advanced(0.4, "measuring the earth")
    soil = soil_as_dug(params)
    by_cells = _earth(settled)
    as_built = _earth(site.ready.surface(factor=params.refine, built=True))
    by_sections = {
        name: earth_by_sections(
            sections_across(
                site.ready, site.label_of(name), site.ground, interval_m=params.section_interval_m
            )
        )
        for name in site.ready.elements
    }
    works = [Work(name, as_built[name], _middle(site, name)) for name in _top_down(site, by_cells)]
    spoil = balanced(works, soil, _stockpiles(given))
    flags = _flags(site, spoil, by_cells, by_sections, report)
    return {
        "design_surface": walls.put_on(settled.design_m, site.ready.dem),
        "pads": _pad_rows(site, flags, given),
        "earth_volumes": _volume_rows(
            by_cells, as_built, by_sections, spoil.needs, flags, _errors(site, given, by_cells)
        ),
        "spoil_hauls": table_of([asdict(haul) for haul in spoil.hauls], "spoil_hauls"),
        "quantities": _quantities(site, given, as_built, spoil, soil, params),
        "earthworks": {"headline": _headline(by_cells, spoil)},
    }


def _earth(shaped: Shaped) -> dict[str, Earth]:
    count = len(shaped.elements)
    total = [Earth()] * count
    for piece in shaped.pieces:
        here = earth_by_label(
            piece.ground_m, piece.design_m, piece.grid.cell_area_m2, piece.dug_by,
            piece.heaped_by, count,
        )  # fmt: skip
        total = [one + other for one, other in zip(total, here, strict=True)]
    return dict(zip(shaped.elements, total, strict=True))


def _top_down(site: DesignedGround, names: Mapping[str, Earth]) -> list[str]:
    """In the order of building: pads first, which are ground for all else."""
    return sorted(names, key=lambda name: (name not in site.pads, -site.level_of(name), name))


def _middle(site: DesignedGround, name: str) -> tuple[float, float]:
    middle = site.shape_of(name).centroid
    return middle.x, middle.y


def _stockpiles(given: Given) -> list[Stockpile]:
    return [
        Stockpile(
            row.name if isinstance(row.name, str) and row.name else f"stockpile {number}",
            (row.geometry.x, row.geometry.y),
        )
        for number, row in enumerate(given.frame("stockpiles").itertuples(index=False), start=1)
    ]


def _flags(
    site: DesignedGround,
    spoil: Spoil,
    by_cells: Mapping[str, Earth],
    by_sections: Mapping[str, SectionVolumes],
    report: Reporter,
) -> dict[str, str]:
    homeless = {haul.from_id for haul in spoil.hauls if haul.kind == "no place"}
    codes = {
        name: [
            *(["open-batter"] if name in site.ready.open_ended else []),
            *(["spoil-no-place"] if name in homeless else []),
        ]
        for name in site.ready.elements
    }
    for name, cells in by_cells.items():
        sections = by_sections[name]
        for word, one, other in (
            ("cut", cells.cut_m3, sections.cut_m3),
            ("fill", cells.fill_m3, sections.fill_m3),
        ):
            if abs(one - other) > max(_DIFFER_M3, _DIFFER_PCT / 100 * max(one, other)):
                report.problem(
                    Problem(
                        Severity.NOTICE,
                        f"{name}: its {word} is {one:.1f} m³ by cells and {other:.1f} m³ by"
                        " sections",
                        "make earthworks.section_interval_m smaller, or refine greater",
                        "earth_volumes",
                    )
                )
    for name in site.ready.open_ended:
        report.problem(
            Problem(
                Severity.WARNING,
                f"{name}: a batter meets no ground and was cut off",
                "make it steeper than the ground, or move the element to flatter ground",
                "earth_volumes",
            )
        )
    return {name: joined(found) for name, found in codes.items()}


def _errors(
    site: DesignedGround, given: Given, earth: Mapping[str, Earth]
) -> dict[str, tuple[float, float]]:
    """Return standard errors of each element's cut and fill that the survey brings [m³]."""
    error_m, alike_m = survey_error_m(given), given.params("survey", Survey).correlation_m
    found = {}
    for name, one in earth.items():
        shape = site.shape_of(name)
        outlined = isinstance(shape, shapely.Polygon)
        length_m = longest_side_m(shape) if outlined else shape.length
        cut_m3, fill_m3 = (
            volume_error_m3(error_m, area_m2, length_m, alike_m)
            for area_m2 in (one.cut_m2, one.fill_m2)
        )
        found[name] = cut_m3, fill_m3
    return found


def _volume_rows(
    by_cells: Mapping[str, Earth],
    as_built: Mapping[str, Earth],
    by_sections: Mapping[str, SectionVolumes],
    needs: Mapping[str, Need],
    flags: Mapping[str, str],
    errors: Mapping[str, tuple[float, float]],
) -> pd.DataFrame:
    records = []
    for name, cells in by_cells.items():
        sections, need = by_sections[name], needs[name]
        cut_error_m3, fill_error_m3 = errors[name]
        records.append(
            {
                "element_id": name,
                "cut_m3": cells.cut_m3,
                "fill_m3": cells.fill_m3,
                "built_m3": as_built[name].fill_m3,
                "cut_sections_m3": sections.cut_m3,
                "fill_sections_m3": sections.fill_m3,
                "sections": sections.sections,
                "cut_error_m3": math.hypot(cut_error_m3, cells.cut_m3 - sections.cut_m3),
                "fill_error_m3": math.hypot(fill_error_m3, cells.fill_m3 - sections.fill_m3),
                "cut_m2": cells.cut_m2,
                "fill_m2": cells.fill_m2,
                "deepest_m": cells.deepest_m,
                "highest_m": cells.highest_m,
                "topsoil_m3": need.topsoil_m3,
                "respread_m3": need.respread_m3,
                "spoil_m3": need.spoil_m3,
                "fill_needed_m3": need.fill_m3,
                "flag": flags[name],
            }
        )
    return table_of(records, "earth_volumes")


def _pad_rows(site: DesignedGround, flags: Mapping[str, str], given: Given) -> Any:  # noqa: ANN401
    records = [
        {
            "element_id": name,
            "level_m": plane.level_m,
            "fall_pct": plane.fall_pct,
            "falls_to_deg": plane.falls_to_deg,
            "flag": flags[name],
        }
        for name, (_, plane) in site.pads.items()
    ]
    outlines = [shapely.MultiPolygon([outline]) for outline, _ in site.pads.values()]
    return frame_of(records, outlines, "pads", given.grid)


def _quantities(
    site: DesignedGround,
    given: Given,
    earth: Mapping[str, Earth],
    spoil: Spoil,
    soil: Soil,
    params: Earthworks,
) -> dict[str, Any]:
    """Amounts of the bill as plain values; those of stakes are added later."""
    found: list[Quantity] = []
    for name in site.ready.elements:
        hauls: Sequence[Haul] = spoil.hauls
        found += earth_quantities(name, earth[name], spoil.needs[name], soil, hauls)
        element = site.element(name)
        if element is None:
            continue
        if element.kind in _MOUNDS:
            found.append(Quantity(name, "form", site.shape_of(name).length))
    for one in site.design.placed:
        found += fitting_quantities(one.element)
    for trench in site.trenches:
        note = f"trench of {trench.name}"
        found += trench.measured(site.ground).quantities(trench.element_id, note)
    if params.sill_stone_m:
        found += _sill_stone(site, params)
    for row in given.frame("elements").itertuples(index=False):
        if row.kind == "tank" and row.form != "raised bed":
            found.append(Quantity(row.element_id, "tank", 1.0, f"{row.storage_m3:g} m³"))
    for row in given.frame("overflows").itertuples(index=False):
        spout = isinstance(site.design.network.element(row.from_id).shape, RaisedBed)
        if row.outlet in ("pipe", "orifice") and not pd.isna(row.diameter_mm) and not spout:
            note = f"{row.diameter_mm:g} mm"
            found.append(Quantity(row.from_id, "pipe", row.geometry.length, note))
    for row in given.frame("downpipes").itertuples(index=False):
        note = f"{row.form} {row.diameter_mm:g} mm"
        found.append(Quantity(row.to_id, "downpipe", row.length_m, note))
    return {"rows": [asdict(one) for one in found if math.isfinite(one.amount)]}


def _sill_stone(site: DesignedGround, params: Earthworks) -> list[Quantity]:
    found: list[Quantity] = []
    for name, sills in site.sills.items():
        if name not in site.dug:
            continue
        crest_m = site.design.network.element(name).crest_level_m
        for sill in sills:
            # over the bank from toe to toe, and the apron below it
            over_m = max(crest_m - sill.level_m, 0.0)
            along_m = params.bank_top_m + 2 * params.bank_outer * over_m + params.sill_apron_m
            found += sill_quantities(
                name, sill.width_m, along_m, params.sill_stone_m, side=2.0, height_m=over_m
            )
        for dip in site.dips.get(name, ()):
            found += sill_quantities(
                name, dip.width_m, dip.line.length, params.sill_stone_m, note="dip in a path"
            )
    return found


def _headline(earth: Mapping[str, Earth], spoil: Spoil) -> dict[str, float]:
    return {
        "cut_m3": sum(one.cut_m3 for one in earth.values()),
        "fill_m3": sum(one.fill_m3 for one in earth.values()),
        "to_stockpile_m3": spoil.total_m3("stockpile") + spoil.total_m3("no place"),
        "borrow_m3": spoil.total_m3("borrow"),
        "topsoil_left_m3": spoil.topsoil_left_m3,
    }


STAGE = Stage(
    name="earthworks",
    version=3,
    title="digging and heaping up the drawn elements",
    needs=(*BUILT, "elements", "overflows", "downpipes", "stockpiles", SUPPORT),
    makes=(
        "design_surface", "earth_volumes", "spoil_hauls", "quantities",
        "earthworks", "pads",
    ),
    run=_run,
    tables=("earthworks", "survey"),
)  # fmt: skip
