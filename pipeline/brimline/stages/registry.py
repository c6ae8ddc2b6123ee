"""Every stage of a run."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Final

from brimline.engine import KnownParts, Stage, declared_from, plain_of
from brimline.io.paths import is_levels, is_points

if TYPE_CHECKING:
    from brimline.config import Settings

_ALWAYS: Final = (
    "site",
    "plan",
    "support",
    "raised",
    "standing",
    "terrain",
    "sinks",
    "conditioning",
    "flow",
    "paths",
    "snapping",
    "near",
    "hollows",
    "catchments",
    "audit",
    "contours",
    "storm",
    "swales",
    "drains",
    "keylines",
    "works",
    "weather",
    "ponds",
    "year",
    "obstructions",
    "sun",
    "wind",
    "soil",
    "springs",
    "planting",
    "reading",
    "tracks",
    "earthworks",
    "hazards",
    "high_end",
    "stakes",
    "surfaces",
    "building",
    "proof",
    "advice",
)


def stages_for(settings: Settings, known: KnownParts | None = None) -> tuple[Stage, ...]:
    """Return the stages of a site; their order follows from what each needs and makes.

    Parameters
    ----------
    known : remembers the declarations, so that a stage's module is loaded where the stage runs;
        None loads all of them.
    """
    wanted = [*_ALWAYS]
    single, inputs = is_levels(Path(settings.inputs.elevation[0])), settings.inputs
    # nobody takes levels on a roof
    objects = inputs.walls is not None or (inputs.surfaces is not None and not single)
    if single:
        wanted.append("levels")
    if objects:
        wanted.append("bare_ground")
    if settings.survey.realisations:
        wanted.append("certainty")
    if settings.proof.rain_on_grid:
        wanted.append("flooding")
    if settings.search.free:
        wanted.append("search")
    if settings.sensitivity.on:
        wanted.append("sensitivity")
    if settings.inputs.as_built is not None:
        wanted.append("as_built")
    if inputs.notes is not None:
        wanted.append("notes")
    cloud = is_points(Path(settings.inputs.elevation[0]))
    if cloud:
        wanted.append("measured")
    if cloud and settings.terrain.canopy:
        wanted.append("canopy")
    of = "OF_LEVELS" if single else "OF_POINTS" if cloud else ""
    first = "_WITH_OBJECTS" if objects else ""
    first = f"{of}{first}".strip("_") or "STAGE"
    places = [("survey", first), *((module, "STAGE") for module in wanted)]
    if known is None:
        return tuple(_declared(*place) for place in places)
    plain = known.recall("stages", places, lambda: [plain_of(_declared(*at)) for at in places])
    return tuple(Stage(**declared_from(one)) for one in plain)


def _declared(module: str, name: str) -> Stage:
    stage: Stage = getattr(import_module(f"brimline.stages.{module}"), name)
    return stage
