"""What was built judged against what was designed: levels, sills, storage, the cascade with them.

A surveyed surface or surveyed points become `Differences` from the design; `judge_works` holds them
against the levels asked for, by tolerances and by what the survey errs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline._lazy import lazily

if TYPE_CHECKING:
    from brimline.as_built.differences import (
        Differences,
        FoundLevel,
        FromPoints,
        FromSurface,
        points_change,
        surface_change,
        without,
    )
    from brimline.as_built.elements import DesignedWorks, SillBuilt, bottom_places, elements_built
    from brimline.as_built.findings import BuiltFinding
    from brimline.as_built.judging import JudgedElement, Judgement, Trial, judge_works
    from brimline.as_built.levels import (
        SURVEY_ERROR_M,
        Asked,
        CheckedLevel,
        SillLine,
        SillVerdict,
        Tolerances,
        Verdict,
        checked,
        decided,
        sill_verdict,
    )
    from brimline.as_built.shift import SurveyShift, off_alike, shift_of_points, shift_of_surface
    from brimline.as_built.storage import (
        PoolCells,
        drain_as_built,
        element_as_built,
        stages_as_built,
        standing_water_m,
    )

__all__ = [
    "SURVEY_ERROR_M",
    "Asked",
    "BuiltFinding",
    "CheckedLevel",
    "DesignedWorks",
    "Differences",
    "FoundLevel",
    "FromPoints",
    "FromSurface",
    "JudgedElement",
    "Judgement",
    "PoolCells",
    "SillBuilt",
    "SillLine",
    "SillVerdict",
    "SurveyShift",
    "Tolerances",
    "Trial",
    "Verdict",
    "bottom_places",
    "checked",
    "decided",
    "drain_as_built",
    "element_as_built",
    "elements_built",
    "judge_works",
    "off_alike",
    "points_change",
    "shift_of_points",
    "shift_of_surface",
    "sill_verdict",
    "stages_as_built",
    "standing_water_m",
    "surface_change",
    "without",
]

_HOMES: Final = {
    "Asked": "levels",
    "BuiltFinding": "findings",
    "CheckedLevel": "levels",
    "DesignedWorks": "elements",
    "Differences": "differences",
    "FoundLevel": "differences",
    "FromPoints": "differences",
    "FromSurface": "differences",
    "JudgedElement": "judging",
    "Judgement": "judging",
    "PoolCells": "storage",
    "SURVEY_ERROR_M": "levels",
    "SillBuilt": "elements",
    "SillLine": "levels",
    "SillVerdict": "levels",
    "SurveyShift": "shift",
    "Tolerances": "levels",
    "Trial": "judging",
    "Verdict": "levels",
    "bottom_places": "elements",
    "checked": "levels",
    "decided": "levels",
    "drain_as_built": "storage",
    "element_as_built": "storage",
    "elements_built": "elements",
    "judge_works": "judging",
    "off_alike": "shift",
    "points_change": "differences",
    "shift_of_points": "shift",
    "shift_of_surface": "shift",
    "sill_verdict": "levels",
    "stages_as_built": "storage",
    "standing_water_m": "storage",
    "surface_change": "differences",
    "without": "differences",
}

__getattr__ = lazily(__name__, _HOMES)
