"""The ground that the map plates show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from brimline.report.results import Results

_MARGIN: Final = 0.04  # of the longer side


@dataclass(frozen=True, slots=True)
class MapFrame:
    """The rectangle of ground that every map plate of a report shows."""

    west: float
    south: float
    east: float
    north: float

    @classmethod
    def around(cls, results: Results) -> MapFrame:
        """Return the site with all ground that drains to it, as far as the grid goes."""
        extents = [
            layer.total_bounds
            for name in ("boundary", "subcatchments", "intakes", "elements")
            if (layer := results.layer(name)) is not None
        ]
        west, south, east, north = results.grid.bounds
        if extents:
            boxes = np.array(extents)
            low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
            margin = _MARGIN * float((high - low).max())
            west, south = max(west, low[0] - margin), max(south, low[1] - margin)
            east, north = min(east, high[0] + margin), min(north, high[1] + margin)
        return cls(float(west), float(south), float(east), float(north))

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north [m]."""
        return self.west, self.south, self.east, self.north
