"""Flow directions and accumulation tile by tile, joined at the seams."""

from brimline.drainage.flow.seams.accumulation import (
    TileLinks,
    accumulate_tile,
    entering,
    solve_inflows,
    tile_links,
)
from brimline.drainage.flow.seams.directions import (
    HALO,
    FlatDistances,
    RimFlats,
    direct_tile,
    flat_distances,
    outlet_keys,
    rim_flats,
)

__all__ = [
    "HALO",
    "FlatDistances",
    "RimFlats",
    "TileLinks",
    "accumulate_tile",
    "direct_tile",
    "entering",
    "flat_distances",
    "outlet_keys",
    "rim_flats",
    "solve_inflows",
    "tile_links",
]
