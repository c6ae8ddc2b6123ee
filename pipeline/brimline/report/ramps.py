"""Colour ramps of the rasters; their sources stand at the top of `palette`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

YL_OR_BR: Final = (
    "#ffffe5", "#fff7bc", "#fee391", "#fec44f", "#fe9929", "#ec7014", "#cc4c02", "#993404",
    "#662506",
)  # fmt: skip
BLUES: Final = (
    "#f7fbff", "#deebf7", "#c6dbef", "#9ecae1", "#6baed6", "#4292c6", "#2171b5", "#08519c",
    "#08306b",
)  # fmt: skip
YL_GN_BU: Final = (
    "#ffffd9", "#edf8b1", "#c7e9b4", "#7fcdbb", "#41b6c4", "#1d91c0", "#225ea8", "#253494",
    "#081d58",
)  # fmt: skip
BR_BG: Final = (
    "#543005", "#8c510a", "#bf812d", "#dfc27d", "#f6e8c3", "#f5f5f5", "#c7eae5", "#80cdc1",
    "#35978f", "#01665e", "#003c30",
)  # fmt: skip
PU_OR: Final = (
    "#7f3b08", "#b35806", "#e08214", "#fdb863", "#fee0b6", "#f7f7f7", "#d8daeb", "#b2abd2",
    "#8073ac", "#542788", "#2d004b",
)  # fmt: skip
VIRIDIS: Final = (
    "#440154", "#482878", "#3e4a89", "#31688e", "#26828e", "#1f9e89", "#35b779", "#6ece58",
    "#b5de2b", "#fde725",
)  # fmt: skip
CIVIDIS: Final = (
    "#00224e", "#123570", "#3b496c", "#575d6d", "#707173", "#8a8678", "#a59c74", "#c3b369",
    "#e1cc55", "#fee838",
)  # fmt: skip


_WHEEL: Final = (
    "#7b93c9", "#6fa8b9", "#83b48f", "#b3b36c", "#d8a45f", "#da8a74", "#c67f9d", "#a086bd",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Ramp:
    """Classes of a raster: class i holds values from ``breaks[i]`` to below ``breaks[i + 1]``.

    Parameters
    ----------
    breaks : rising lower limits; a value below the first one is not drawn.
    colours : one a class.
    source : set that the colours are from.
    """

    raster: str
    breaks: tuple[float, ...]
    colours: tuple[str, ...]
    source: str

    def classes(self, values: NDArray[Any]) -> NDArray[np.uint8]:
        """Return the class of each value, 255 where there is none."""
        found = np.searchsorted(np.asarray(self.breaks), values, side="right") - 1
        none = (found < 0) | ~np.isfinite(values)
        return np.where(none, 255, found).astype(np.uint8)

    def rgb(self) -> NDArray[np.uint8]:
        """Return the colours as uint8 (classes, 3)."""
        return np.array([rgb(colour) for colour in self.colours], dtype=np.uint8)


def rgb(colour: str) -> tuple[int, int, int]:
    """Return red, green and blue, 0 to 255, of ``#rrggbb``."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


RAMPS: Final[dict[str, Ramp]] = {
    ramp.raster: ramp
    for ramp in (
        # limits of the trade: about 15 % for swales, 20 % with care, none above 30 %
        Ramp(
            "slope_pct", (0, 2, 5, 10, 15, 20, 30), YL_OR_BR[:4] + YL_OR_BR[5:8],
            "ColorBrewer YlOrBr",
        ),
        Ramp(
            "contributing_area_m2", (200.0, 1e3, 5e3, 2e4, 1e5), BLUES[3:8], "ColorBrewer Blues"
        ),
        Ramp(
            "level_error_m", (0.0, 0.01, 0.02, 0.05, 0.1, 0.2), YL_OR_BR[1:7], "ColorBrewer YlOrBr"
        ),
        Ramp("canopy_m", (0.0, 0.5, 2.0, 5.0, 10.0, 20.0), YL_GN_BU[1:7], "ColorBrewer YlGnBu"),
        Ramp("void_m", (0.0, 0.5, 1.0, 2.0, 5.0, 10.0), YL_OR_BR[1:7], "ColorBrewer YlOrBr"),
        Ramp("ground_points", (0.0, 1.0, 2.0, 4.0, 8.0, 16.0), BLUES[2:8], "ColorBrewer Blues"),
        # six hours are called full sun, three to six part shade (common practice, no source)
        Ramp("sun_h", (0.0, 1.0, 3.0, 6.0, 8.0, 10.0, 12.0, 14.0),
             CIVIDIS[:2] + CIVIDIS[3:4] + CIVIDIS[5:], "cividis"),
        Ramp("sun_mj_m2", (0.0, 4.0, 8.0, 12.0, 15.0, 18.0, 21.0, 24.0),
             CIVIDIS[:2] + CIVIDIS[3:4] + CIVIDIS[5:], "cividis"),
        # eighths of the compass, so that north-west lies beside north
        Ramp("aspect_deg", tuple(45.0 * eighth for eighth in range(8)), _WHEEL,
             "hues evenly around, of one lightness"),
        # a barrier stands 3° high at 20 of its heights, 6° at 10, 11° at 5
        Ramp("shelter_deg", (-1e9, 0.0, 1.5, 3.0, 6.0, 11.0), PU_OR[1:4] + PU_OR[6:9],
             "ColorBrewer PuOr"),
        Ramp("soil_depth_m", (0.0, 0.2, 0.4, 0.6, 0.8, 1.2), YL_OR_BR[1:7], "ColorBrewer YlOrBr"),
        Ramp(
            "soil_loss_t_ha", (0.0, 1.0, 2.0, 5.0, 11.0, 25.0), YL_OR_BR[1:7],
            "ColorBrewer YlOrBr",
        ),
        Ramp("deposit_t_ha", (1.0, 2.0, 5.0, 11.0, 25.0), PU_OR[6:11], "ColorBrewer PuOr"),
        Ramp("wetness", (4, 6, 8, 10, 12), YL_GN_BU[2:7], "ColorBrewer YlGnBu"),
        Ramp("soil_wetness", (0, 6, 7, 8, 9, 10, 11), YL_GN_BU[0:7], "ColorBrewer YlGnBu"),
        Ramp(
            "catchment_chance", (0.02, 0.2, 0.4, 0.6, 0.8, 0.98), VIRIDIS[8:2:-1] , "viridis"
        ),
        Ramp(
            "curvature", (-1e9, -0.02, -0.01, -0.004, 0.004, 0.01, 0.02), BR_BG[1:3] + BR_BG[3:4]
            + BR_BG[5:6] + BR_BG[7:10], "ColorBrewer BrBG",
        ),
        Ramp(
            "change_m",
            (-1e9, -1.0, -0.5, -0.2, 0.0, 0.2, 0.5, 1.0),
            PU_OR[1:5] + PU_OR[6:10],
            "ColorBrewer PuOr",
        ),
        Ramp("flood_depth_m", (0.02, 0.1, 0.2, 0.5, 1.0), BLUES[3:8], "ColorBrewer Blues"),
        Ramp("flood_speed_m_s", (0.1, 0.3, 0.6, 1.0, 1.5), YL_OR_BR[2:7], "ColorBrewer YlOrBr"),
    )
}  # fmt: skip


def stretched(raster: str, low: float, high: float) -> Ramp:
    """Return ten even classes of cividis between two values, for a raster without fixed classes."""
    step = max(high - low, 1e-9) / len(CIVIDIS)
    return Ramp(
        raster, tuple(low + step * place for place in range(len(CIVIDIS))), CIVIDIS, "cividis"
    )
