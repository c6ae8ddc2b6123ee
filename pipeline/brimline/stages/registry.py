"""Every stage of a run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from brimline.io.levels import is_levels
from brimline.stages import (
    advice,
    as_built,
    audit,
    bare_ground,
    building,
    catchments,
    certainty,
    conditioning,
    contours,
    drains,
    earthworks,
    flooding,
    flow,
    hazards,
    high_end,
    hollows,
    keylines,
    levels,
    notes,
    paths,
    plan,
    planting,
    ponds,
    proof,
    raised,
    reading,
    sensitivity,
    site,
    snapping,
    soil,
    springs,
    stakes,
    standing,
    storm,
    sun,
    support,
    surfaces,
    survey,
    swales,
    terrain,
    tracks,
    weather,
    wind,
    works,
    year,
)

if TYPE_CHECKING:
    from brimline.config import Settings
    from brimline.engine import Stage

_ALWAYS: Final = (
    site,
    plan,
    support,
    raised,
    standing,
    terrain,
    hollows,
    conditioning,
    flow,
    paths,
    snapping,
    catchments,
    audit,
    contours,
    storm,
    swales,
    drains,
    keylines,
    works,
    weather,
    ponds,
    year,
    sun,
    wind,
    soil,
    springs,
    planting,
    reading,
    tracks,
    earthworks,
    hazards,
    high_end,
    stakes,
    surfaces,
    building,
    proof,
    advice,
)


def stages_for(settings: Settings) -> tuple[Stage, ...]:
    """Return the stages of a site; their order follows from what each needs and makes."""
    wanted = [*_ALWAYS]
    single, inputs = is_levels(Path(settings.inputs.elevation[0])), settings.inputs
    # nobody takes levels on a roof
    objects = inputs.walls is not None or (inputs.surfaces is not None and not single)
    if single:
        wanted.append(levels)
    if objects:
        wanted.append(bare_ground)
    if settings.survey.realisations:
        wanted.append(certainty)
    if settings.proof.rain_on_grid:
        wanted.append(flooding)
    if settings.sensitivity.on:
        wanted.append(sensitivity)
    if settings.inputs.as_built is not None:
        wanted.append(as_built)
    if inputs.notes is not None:
        wanted.append(notes)
    first = {
        (False, False): survey.STAGE,
        (True, False): survey.OF_LEVELS,
        (False, True): survey.WITH_OBJECTS,
        (True, True): survey.OF_LEVELS_WITH_OBJECTS,
    }[single, objects]
    return (first, *(module.STAGE for module in wanted))
