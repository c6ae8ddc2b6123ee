"""Where a track crosses water: a dip, a culvert of one barrel or several, or a ford."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from brimline.elements.pipe import Pipe, smallest_pipe

# common practice, no source: smaller pipes block, more barrels catch what floats between them
_SIZES_MM: Final = (300, 375, 450, 525, 600, 750, 900, 1050, 1200)
_MOST_BARRELS: Final = 3
_FALL: Final = 0.02  # of a barrel, where nothing else says
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
