"""Conditioning tile by tile: what a tile tells of itself, and what all tiles together settle."""

from brimline.terrain.conditioning.seams.breaching import breach_cuts, breach_halo
from brimline.terrain.conditioning.seams.filling import (
    TileSpills,
    fill_tile,
    solve_spills,
    tile_spills,
)
from brimline.terrain.conditioning.seams.nodata import (
    enclosed_marked,
    outside_rings,
    tile_nodata,
)

__all__ = [
    "TileSpills",
    "breach_cuts",
    "breach_halo",
    "enclosed_marked",
    "fill_tile",
    "outside_rings",
    "solve_spills",
    "tile_nodata",
    "tile_spills",
]
