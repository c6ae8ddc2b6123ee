"""What of a run is compared, as plain typed values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import shapely
    from numpy.typing import NDArray

    from brimline.grid import Elevation


@dataclass(frozen=True, slots=True)
class RunIntake:
    """An intake; the spread of its catchment over the survey's error is None where not tried."""

    intake_id: int
    name: str
    area_m2: float
    area_low_m2: float | None
    area_high_m2: float | None
    shape: shapely.Point


@dataclass(frozen=True, slots=True)
class RunLine:
    """A line of a layer; one that falls has no one level."""

    layer: str
    line_id: str
    level_m: float | None
    shape: shapely.LineString


@dataclass(frozen=True, slots=True)
class RunElement:
    """An element as designed."""

    element_id: str
    kind: str
    storage_m3: float
    spill_level_m: float
    spills_to: str
    flags: tuple[str, ...]
    footprint_m2: float
    shape: shapely.Geometry

    @property
    def outline(self) -> shapely.Geometry:
        """Ground that it takes; a line is as wide as its footprint says."""
        if self.shape.geom_type in {"Polygon", "MultiPolygon"}:
            return self.shape
        length = self.shape.length
        width = self.footprint_m2 / length if length > 0 else 1.0
        return self.shape.buffer(max(width, 0.1) / 2, cap_style="flat" if length > 0 else "round")


@dataclass(frozen=True, slots=True, eq=False)
class SiteRun:
    """A run of a site.

    Parameters
    ----------
    elevation_m : float32 (rows, cols) on the grid on which runs are compared [m].
    error_m, correlation_m : of its survey [m].
    line_layers : layers of lines that the run made, those without lines among them.
    flow_direction : uint8 (rows, cols); None where the run went not so far.
    buildings : name, empty where it has none, and outline.
    cost : of the works, in the site's currency; None where nothing was priced.
    """

    elevation_m: Elevation
    error_m: float
    correlation_m: float
    intakes: tuple[RunIntake, ...] = ()
    lines: tuple[RunLine, ...] = ()
    line_layers: frozenset[str] = frozenset()
    elements: tuple[RunElement, ...] = ()
    flow_direction: NDArray[np.uint8] | None = None
    buildings: tuple[tuple[str, shapely.Geometry], ...] = ()
    cost: float | None = None
