"""Every plate, in the order of the report."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.report.plates import as_built, building, cascade, ground, lines, storms, water, year
from brimline.report.plates.frame import MapFrame

if TYPE_CHECKING:
    from collections.abc import Callable

    from brimline.report.plates.plate import Plate
    from brimline.report.results import Results

_MAKERS: Final[tuple[Callable[[Results, MapFrame], Plate | None], ...]] = (
    as_built.plan,
    as_built.levels,
    ground.base,
    ground.slope,
    water.sources,
    water.chance,
    lines.level_lines,
    lines.key_lines,
    cascade.plan,
    cascade.diagram,
    storms.levels,
    year.year,
    building.earthworks,
    building.flood,
    building.staging,
)


def album(results: Results, told: Callable[[str], None] = lambda _: None) -> tuple[Plate, ...]:
    """Return the plates that the run's layers allow.

    Parameters
    ----------
    told : hears the title of each plate.
    """
    frame = MapFrame.around(results)
    found = []
    for make in _MAKERS:
        plate = make(results, frame)
        if plate is not None:
            told(plate.title)
            found.append(plate)
    return tuple(found)
