"""Where water comes from: subcatchments, flow paths, intakes, and how sure that is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.report.palette import CELLS
from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.report.ramps import RAMPS
from brimline.units import shown

if TYPE_CHECKING:
    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results


def sources(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the ground of each intake and the paths that water takes to it."""
    cells = results.layer("subcatchments")
    paths = results.layer("flow_paths")
    if cells is None and paths is None:
        return None
    sheet = Sheet(results, frame)
    if cells is not None:
        colours = [CELLS[int(number) % len(CELLS)] for number in cells["intake_id"]]
        sheet.areas(cells.geometry.to_numpy(), colours, 0.45)
        sheet.draw("subcatchments", unfilled=True)
    for name in ("hollows", "flow_paths", "longest_paths", "culverts", "boundary"):
        sheet.draw(name)
    sheet.draw("intakes", label=True)
    if cells is not None:
        _area_labels(sheet)
    threshold = results.parameter("drainage", "path_area_m2")
    area = shown("area", results.units)
    from_area = (
        f" Flow paths begin where {area.text(float(threshold))} of ground gathers; they are drawn "
        "heavier with each stream order."
        if paths is not None and threshold is not None
        else ""
    )
    return Plate(
        "sources",
        "Where water comes from",
        sheet.svg("sources"),
        "Map of the ground that drains to each intake, with flow paths and intakes.",
        "Each tint is the ground that reaches one intake before any other." + from_area,
    )


def chance(results: Results, frame: MapFrame) -> Plate | None:
    """Draw how sure it is, within the survey's error, that ground drains to an intake."""
    values = results.raster("catchment_chance")
    if values is None:
        return None
    sheet = Sheet(results, frame, ramp=RAMPS["catchment_chance"], values=values)
    for name in ("flow_paths", "subcatchments", "boundary"):
        sheet.draw(name, unfilled=True)
    sheet.draw("intakes", label=True)
    return Plate(
        "chance",
        "How sure the catchments are",
        sheet.svg("chance"),
        "Map of the share of possible survey surfaces on which each place drains to an intake.",
        "Many surfaces could lie under the survey; a few hundred were drawn. The colour tells on"
        " how many of them the ground drains to an intake: dark is sure, pale is doubtful.",
    )


def _area_labels(sheet: Sheet) -> None:
    cells = sheet.results.layer("subcatchments")
    if cells is None:
        return
    area = shown("area", sheet.results.units)
    for shape, own in zip(cells.geometry, cells["own_area_m2"], strict=True):
        sheet.label_inside(shape, area.text(float(own)))
