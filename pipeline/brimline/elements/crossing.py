"""Where a track crosses water: a dip, a culvert of one barrel or several, or a ford."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import shapely

from brimline.elements.pipe import Pipe, smallest_pipe
from brimline.rainfall import rational_peak_m3_s

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Grid
    from brimline.rainfall import Storm

# common practice, no source: smaller pipes block, more barrels catch what floats between them
_SIZES_MM: Final = (300, 375, 450, 525, 600, 750, 900, 1050, 1200)
_MOST_BARRELS: Final = 3
_FALL: Final = 0.02  # of a barrel, where nothing else says
_PEAK_S: Final = 600.0  # small catchments answer to the most intense ten minutes
_EVEN: Final = 1.02  # of the mean: rain no harder than that was spread evenly
_BANKS_M: Final = 2.0  # of the length of a barrel beyond the track
_ROUGHNESS: Final = 0.024  # corrugated metal or plastic, as stocked for tracks


@dataclass(frozen=True, slots=True)
class WaterCrossing:
    """What carries a track over water, or water over a track.

    Parameters
    ----------
    way : "dip" lets little water run across, "culvert" takes it beneath, "ford" is what is left
        where no stocked pipes pass the peak: a ford or a bridge, which is designed on its own.
    barrels : of a culvert, beside each other; 0 none.
    diameter_mm : inside, of each; None where there is none.
    """

    way: Literal["dip", "culvert", "ford"]
    barrels: int = 0
    diameter_mm: int | None = None


def crossing_of(peak_m3_s: float, dip_m3_s: float, length_m: float) -> WaterCrossing:
    """Choose what a track takes where it crosses a flow path.

    A culvert passes the peak with no water above its crown (headwater over diameter 1), under the
    lesser of inlet control and the full barrel; the fewest barrels of the smallest stocked size.

    Parameters
    ----------
    peak_m3_s : of the design storm [m³/s].
    dip_m3_s : up to which a dip is enough [m³/s].
    length_m : of the barrel [m].

    References
    ----------
    FHWA HDS-5 (2012), chart 2, scale 3: corrugated pipe projecting from fill; see `pipe`.
    """
    if peak_m3_s <= dip_m3_s:
        return WaterCrossing("dip")
    pipe = Pipe(0.0, -_FALL * length_m, 1.0, length_m, _ROUGHNESS, "corrugated-projecting")
    for barrels in range(1, _MOST_BARRELS + 1):
        for size_mm in _SIZES_MM:
            if smallest_pipe(pipe, peak_m3_s / barrels, size_mm / 1000, sizes_mm=(size_mm,)):
                return WaterCrossing("culvert", barrels, size_mm)
    return WaterCrossing("ford")


@dataclass(frozen=True, slots=True)
class TrackCrossing:
    """Where a track crosses a flow path; fields are named as columns of track_crossings.

    Parameters
    ----------
    built : what carries one over the other.
    even : whether the storm is spread evenly, so that its peak is told too low.
    """

    crossing_id: str
    track_id: str
    chainage_m: float
    point: shapely.Point
    area_m2: float
    peak_m3_s: float
    built: WaterCrossing
    even: bool

    @property
    def flags(self) -> tuple[str, ...]:
        """Codes of the flag catalogue."""
        ford = ("needs-ford",) if self.built.way == "ford" else ()
        return (*ford, "mean-rain") if self.even else ford


@dataclass(frozen=True, slots=True, eq=False)
class FlowsToCross:
    """What runs where tracks are laid.

    Parameters
    ----------
    lines : of the flow paths.
    area_m2 : float (rows, cols), ground that drains to each cell [m²].
    runoff_coefficient : of that ground, for the rational method.
    dip_m3_s : up to which a dip is enough [m³/s].
    apart_m : one crossing for what is met twice so near [m].
    """

    lines: Sequence[shapely.LineString] | NDArray[np.object_]
    area_m2: NDArray[np.floating]
    grid: Grid
    storm: Storm
    runoff_coefficient: float
    dip_m3_s: float
    apart_m: float

    def along(self, track_id: str, line: shapely.LineString, width_m: float) -> list[TrackCrossing]:
        """Return where a track crosses flow paths, and what each crossing takes."""
        paths = np.asarray(self.lines)
        met = shapely.get_parts(shapely.intersection(paths[shapely.intersects(paths, line)], line))
        met = met[shapely.get_type_id(met) == 0]
        hardest = self.storm.hardest_mm_per_h(_PEAK_S)
        found: list[TrackCrossing] = []
        for at in sorted({round(float(line.project(point)), 2) for point in met}):
            if found and at - found[-1].chainage_m < self.apart_m:
                continue
            point = line.interpolate(at)
            area_m2 = self._gathered_m2(point)
            peak = rational_peak_m3_s(self.runoff_coefficient, hardest, area_m2)
            built = crossing_of(peak, self.dip_m3_s, width_m + _BANKS_M)
            found.append(
                TrackCrossing(
                    f"{track_id} {len(found) + 1}", track_id, at, point, area_m2, peak, built,
                    hardest <= _EVEN * self.storm.mean_mm_per_h,
                )
            )  # fmt: skip
        return found

    def _gathered_m2(self, point: shapely.Point) -> float:
        """Most that drains through a cell beside a point [m²]."""
        row, col = (int(each) for each in self.grid.cell(point.x, point.y))
        near = self.area_m2[max(0, row - 1) : row + 2, max(0, col - 1) : col + 2]
        return float(np.nanmax(near)) if np.isfinite(near).any() else math.nan
