"""Every plate, in the order of the report."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Final

from brimline.report.plates.frame import MapFrame

if TYPE_CHECKING:
    from brimline.report.plates.plate import Plate
    from brimline.report.results import Results

# module and function of each: what draws is loaded when something is drawn
PLATES: Final = tuple(
    (f"brimline.report.plates.{module}", function)
    for module, function in (
        ("concept", "concept"),
        ("as_built", "plan"),
        ("as_built", "levels"),
        ("ground", "base"),
        ("ground", "slope"),
        ("reading", "aspect"),
        ("reading", "machine_ground"),
        ("light", "sun_in_winter"),
        ("light", "sun_in_season"),
        ("light", "sun_in_summer"),
        ("light", "energy"),
        ("reading", "cold_air"),
        ("light", "wind"),
        ("reading", "wetness"),
        ("reading", "soil_loss"),
        ("reading", "deposits"),
        ("reading", "soil_depth"),
        ("reading", "together"),
        ("reading", "access"),
        ("water", "sources"),
        ("water", "chance"),
        ("choosing", "pond_sites"),
        ("lines", "level_lines"),
        ("lines", "key_lines"),
        ("cascade", "plan"),
        ("cascade", "diagram"),
        ("storms", "levels"),
        ("planting", "planting"),
        ("year", "year"),
        ("sensitivity", "sensitivity"),
        ("choosing", "searched"),
        ("building", "earthworks"),
        ("building", "flood"),
        ("building", "staging"),
    )
)
CONCEPT: Final = PLATES[0]  # the client's page has it too


def plate(results: Results, frame: MapFrame, module: str, function: str) -> Plate | None:
    """Draw one of `PLATES`; None where the run lacks what it needs."""
    drawn: Plate | None = getattr(import_module(module), function)(results, frame)
    return drawn


def album(results: Results) -> tuple[Plate, ...]:
    """Return the plates that the run's layers allow."""
    frame = MapFrame.around(results)
    drawn = (plate(results, frame, *which) for which in PLATES)
    return tuple(one for one in drawn if one is not None)
