"""Flow paths from joint to joint, and their order."""

from brimline.drainage.paths.segments import FlowPaths, flow_paths

__all__ = ["FlowPaths", "flow_paths"]
