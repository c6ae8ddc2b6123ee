"""The design storm over the designed surface as shallow water, beside the cascade's levels."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from brimline.cascade.overland import OverlandElement, run_over
from brimline.config import Proof
from brimline.design import StandingWalls, everywhere_walled
from brimline.elements import Kind
from brimline.engine.stage import Stage
from brimline.errors import Problem, Severity
from brimline.stages._frames import positions, table_of
from brimline.stages._plan import BUILT, ground_of_design

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.cascade.overland import Overland
    from brimline.design import DesignedGround
    from brimline.engine.stage import Given, Made, Reporter

_TOLD_M: Final = 0.10  # difference of levels above which a person should look


def _run(given: Given, report: Reporter) -> Made:
    params = given.params("proof", Proof)
    site = ground_of_design(given)
    if not site.dug:
        nowhere = np.full(given.grid.shape, np.nan, dtype=np.float32)
        return {"flood_depth_m": nowhere, "flood_speed_m_s": nowhere.copy(),
                "flood_levels": table_of([], "flood_levels")}  # fmt: skip
    fine = everywhere_walled(given.value("walls", StandingWalls), site, params.flood_refine)
    storm = given.facts("storms")["design"]
    depth_mm = np.array(storm["depth_mm"])
    done = run_over(
        fine.design_m,
        fine.dug_by,
        {site.label_of(name): _basin(site, name, depth_mm) for name in site.dug},
        cell_m=fine.grid.cell_m,
        roughness=params.roughness,
        step_s=storm["step_s"],
        rain_mm=depth_mm,
        after_s=3600 * params.after_h,
        burns=[positions(line, fine.grid) for line in given.frame("culverts").geometry],
        progress=lambda share: report.advanced(share, "rain on the designed surface"),
    )
    peaks = given.frame("elements").set_index("element_id")["peak_level_m"]
    rows = _rows(site, done, peaks)
    _tell(rows, report)
    return {
        "flood_depth_m": _coarse(done.depth_m, params.flood_refine),
        "flood_speed_m_s": _coarse(done.speed_m_s, params.flood_refine),
        "flood_levels": table_of(rows, "flood_levels"),
    }


def _basin(site: DesignedGround, name: str, depth_mm: NDArray[np.float64]) -> OverlandElement:
    element = site.design.network.element(name)
    start_m = element.start_level_m
    return OverlandElement(
        site.design.arrivals.excess_mm(name, depth_mm),
        element.soak.design_mm_per_h,
        start_m if np.isfinite(start_m) else None,
    )


def _rows(site: DesignedGround, done: Overland, peaks: pd.Series[float]) -> list[dict[str, Any]]:
    rows = []
    for label, flood_m in done.peak_level_m.items():
        name = site.ready.elements[label - 1]
        element, peak = site.element(name), peaks.get(name)
        if element is None or peak is None or pd.isna(peak) or element.kind is Kind.DRAIN:
            continue  # a drain's level in the cascade is that of its upper end
        rows.append(
            {
                "element_id": name,
                "cascade_peak_m": float(peak),
                "flood_peak_m": flood_m,
                "difference_m": flood_m - float(peak),
                "speed_m_s": done.speeds_m_s[label],
            }
        )
    return rows


def _tell(rows: list[dict[str, Any]], report: Reporter) -> None:
    far = [row for row in rows if abs(row["difference_m"]) > _TOLD_M]
    if far:
        names = ", ".join(f"{row['element_id']} {row['difference_m']:+.2f} m" for row in far)
        report.problem(
            Problem(
                Severity.NOTICE,
                f"shallow-water flow and the cascade differ in their highest level: {names}",
                "a pipe is not in the flood; a cell that is wide beside the sill holds it up: make"
                " proof.flood_refine greater",
                "flood_levels",
            )
        )


def _coarse(fine: NDArray[np.float32], factor: int) -> NDArray[np.float32]:
    """Greatest value in each cell of the run's grid; NaN where none is known."""
    rows, cols = fine.shape
    parts = fine.reshape(rows // factor, factor, cols // factor, factor)
    most = np.where(np.isnan(parts), -np.inf, parts).max(axis=(1, 3))
    return np.where(np.isinf(most), np.float32(np.nan), most).astype(np.float32)


STAGE = Stage(
    name="flooding",
    version=2,
    title="the design storm as shallow water on the designed surface",
    needs=(*BUILT, "elements", "storms", "culverts"),
    makes=("flood_depth_m", "flood_speed_m_s", "flood_levels"),
    run=_run,
    tables=("proof", "earthworks"),
)
