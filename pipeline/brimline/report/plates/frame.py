"""The ground that the map plates show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from brimline.report.results import Results

_SITE: Final = ("boundary", "subcatchments", "intakes", "elements")
_MARGIN: Final = 0.04
_LEAST_SHARE: Final = 0.6  # of the longer side that the shorter one has at least


@dataclass(frozen=True, slots=True)
class MapFrame:
    """The rectangle of ground that every map plate of a report shows."""

    west: float
    south: float
    east: float
    north: float

    @classmethod
    def around(
        cls, results: Results, names: tuple[str, ...] = _SITE, margin: float = _MARGIN
    ) -> MapFrame:
        """Return the ground of some layers, as far as the grid goes; without any, all of it.

        Parameters
        ----------
        margin : around them, as a share of the longer side.
        """
        extents = [
            layer.total_bounds for name in names if (layer := results.layer(name)) is not None
        ]
        west, south, east, north = results.grid.bounds
        if extents:
            boxes = np.array(extents)
            low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
            room = margin * float((high - low).max())
            short = np.maximum(_LEAST_SHARE * (high - low).max() - (high - low), 0) / 2
            low, high = low - short - room, high + short + room
            west, south = max(west, low[0]), max(south, low[1])
            east, north = min(east, high[0]), min(north, high[1])
        return cls(float(west), float(south), float(east), float(north))

    def grown(self, times: float) -> MapFrame:
        """Return the frame made so much larger about its middle."""
        dx = (times - 1) * self.width_m / 2
        dy = (times - 1) * (self.north - self.south) / 2
        return MapFrame(self.west - dx, self.south - dy, self.east + dx, self.north + dy)

    @property
    def width_m(self) -> float:
        """From west to east [m]."""
        return self.east - self.west

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north [m]."""
        return self.west, self.south, self.east, self.north
