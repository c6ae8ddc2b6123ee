"""Plates that help to choose: where ponds pay."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.report.plates.plate import Plate
from brimline.report.plates.sheet import Sheet
from brimline.units import counted, shown

if TYPE_CHECKING:
    from brimline.report.plates.frame import MapFrame
    from brimline.report.results import Results


def pond_sites(results: Results, frame: MapFrame) -> Plate | None:
    """Draw the places where a bank holds most water for its earth."""
    sites = results.layer("pond_sites")
    if sites is None or not len(sites):
        return None
    sheet = Sheet(results, frame)
    sheet.draw("contours", only="Index contour")
    for name in ("flow_paths", "keep_out", "boundary", "pond_banks"):
        sheet.draw(name)
    sheet.draw("pond_sites", label=True)
    volume, best = shown("volume", results.units), sites.iloc[0]
    seldom = int((sites["fills_pct"] < 50).sum())
    return Plate(
        "pond-sites",
        "Where ponds would pay",
        sheet.svg("pond-sites"),
        "Map of places for ponds with their banks, numbered from the best, over flow paths.",
        f"{counted(len(sites), 'place')} where a bank holds most for its earth; {best['site_id']}"
        f" holds {volume.text(float(best['storage_m3']))}, {best['storage_per_earth']:.1f} times"
        f" its fill. "
        + (f"{seldom} would fill in fewer than half of the years. " if seldom else "")
        + "Proposals from the survey alone: ground, law and who lives below decide.",
    )
