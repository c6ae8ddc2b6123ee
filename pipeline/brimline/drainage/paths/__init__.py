"""Flow paths from joint to joint, and their order."""

from brimline.drainage.paths.segments import (
    ChannelCells,
    FlowPaths,
    channel_cells,
    flow_paths,
    joined_cells,
    paths_along,
)

__all__ = [
    "ChannelCells",
    "FlowPaths",
    "channel_cells",
    "flow_paths",
    "joined_cells",
    "paths_along",
]
