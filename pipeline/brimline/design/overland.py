"""A storm over a designed surface as shallow water, beside the levels of the cascade."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.cascade.overland import OverlandElement, run_over
from brimline.elements import Kind
from brimline.errors import Problem, Severity

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from numpy.typing import NDArray

    from brimline.cascade.overland import Overland
    from brimline.design.earth import DesignedGround
    from brimline.rainfall import Storm
    from brimline.terrain.shaping import Everywhere

_TOLD_M: Final = 0.10  # difference of levels above which a person should look


@dataclass(frozen=True, slots=True)
class FloodLevel:
    """Highest water of an element; fields are named as columns of flood_levels.

    Parameters
    ----------
    cascade_peak_m, flood_peak_m : as the cascade has it, and as shallow water [m].
    """

    element_id: str
    cascade_peak_m: float
    flood_peak_m: float
    speed_m_s: float

    @property
    def difference_m(self) -> float:
        """How much higher it is as shallow water [m]."""
        return self.flood_peak_m - self.cascade_peak_m


def rain_over(
    site: DesignedGround,
    fine: Everywhere,
    storm: Storm,
    *,
    roughness: float,
    after_h: float,
    burns: Sequence[NDArray[np.float64]],
    progress: Callable[[float], None],
) -> Overland:
    """Let a storm run over a design; see `run_over`.

    Parameters
    ----------
    fine : the whole of its ground.
    """
    return run_over(
        fine.design_m,
        fine.dug_by,
        {site.label_of(name): _element(site, name, storm) for name in site.dug},
        cell_m=fine.grid.cell_m,
        roughness=roughness,
        step_s=storm.step_s,
        rain_mm=storm.depth_mm,
        after_s=3600 * after_h,
        burns=burns,
        progress=progress,
    )


def _element(site: DesignedGround, name: str, storm: Storm) -> OverlandElement:
    element = site.design.network.element(name)
    start_m = element.start_level_m
    return OverlandElement(
        site.design.arrivals.excess_mm(name, storm.depth_mm),
        element.soak.design_mm_per_h,
        start_m if math.isfinite(start_m) else None,
    )


def flood_levels(
    site: DesignedGround, done: Overland, peaks_m: Mapping[str, float]
) -> list[FloodLevel]:
    """Set the levels of the flood beside those of the cascade, where both are known.

    Parameters
    ----------
    peaks_m : highest level of each element in the cascade [m].
    """
    found = []
    for label, flood_m in done.peak_level_m.items():
        name = site.ready.elements[label - 1]
        element, peak_m = site.element(name), peaks_m.get(name, math.nan)
        if element is None or math.isnan(peak_m) or element.kind is Kind.DRAIN:
            continue  # a drain's level in the cascade is that of its upper end
        found.append(FloodLevel(name, peak_m, flood_m, done.speeds_m_s[label]))
    return found


def floods_told(levels: Sequence[FloodLevel]) -> list[Problem]:
    """Say where the two differ by more than a person should leave at that."""
    far = [one for one in levels if abs(one.difference_m) > _TOLD_M]
    if not far:
        return []
    names = ", ".join(f"{one.element_id} {one.difference_m:+.2f} m" for one in far)
    return [
        Problem(
            Severity.NOTICE,
            f"shallow-water flow and the cascade differ in their highest level: {names}",
            "a pipe is not in the flood; a cell that is wide beside the sill holds it up: make"
            " proof.flood_refine greater",
            "flood_levels",
        )
    ]


def greatest_of(fine: NDArray[np.float32], factor: int) -> NDArray[np.float32]:
    """Greatest value in each cell that was split into parts; NaN where none is known."""
    rows, cols = fine.shape
    parts = fine.reshape(rows // factor, factor, cols // factor, factor)
    most = np.where(np.isnan(parts), -np.inf, parts).max(axis=(1, 3))
    return np.where(np.isinf(most), np.float32(np.nan), most).astype(np.float32)
