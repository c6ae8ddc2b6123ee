"""The ground of each element as triangles to build to, for machine guidance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import ndimage

from brimline.config import Earthworks, Staking
from brimline.engine.stage import Stage
from brimline.io.frames import conformed, empty
from brimline.layers import table
from brimline.stages._plan import BUILT, ground_of_design
from brimline.stages._survey_error import SUPPORT, survey_lacks
from brimline.terrain.triangles import triangulated

if TYPE_CHECKING:
    from brimline.engine.stage import Given, Made, Reporter

_RIM_CELLS = 2  # of untouched ground around the work, so that the machine sees where it ends


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("stakes", Staking)
    site, refine = ground_of_design(given), given.params("earthworks", Earthworks).refine
    points, faces = [], []
    for place, name in enumerate(() if survey_lacks(given) else site.ready.elements):
        report.advanced(place / len(site.ready.elements), f"triangles of {name}")
        piece = site.ready.around(place + 1, factor=refine, built=True)
        mine = (piece.dug_by == place + 1) | (piece.heaped_by == place + 1)
        if not mine.any():
            continue
        shown = ndimage.binary_dilation(mine, iterations=_RIM_CELLS, structure=np.ones((3, 3)))
        level = np.where(shown, piece.design_m, np.nan)
        mesh = triangulated(level, piece.grid, params.surface_error_m)
        points.append(
            pd.DataFrame({"element_id": name, "x_m": mesh.x, "y_m": mesh.y, "z_m": mesh.z})
        )
        columns = dict(zip(("one", "two", "three"), mesh.faces.T.astype(np.int64), strict=True))
        faces.append(pd.DataFrame({"element_id": name, **columns}))
    return {
        "surface_points": _joined(points, "surface_points"),
        "surface_faces": _joined(faces, "surface_faces"),
    }


def _joined(parts: list[pd.DataFrame], name: str) -> pd.DataFrame:
    declared = table(name)
    if not parts:
        return pd.DataFrame(empty(declared))
    return pd.DataFrame(conformed(pd.concat(parts, ignore_index=True), declared))


STAGE = Stage(
    name="surfaces",
    version=1,
    title="triangles to build to",
    needs=(*BUILT, SUPPORT),
    makes=("surface_points", "surface_faces"),
    run=_run,
    tables=("stakes", "earthworks"),
)
