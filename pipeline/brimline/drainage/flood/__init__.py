"""Water moving over ground in a storm, by the shallow-water equations without advection."""

from brimline.drainage.flood.solver import Flood, Ground, Rain, flood

__all__ = ["Flood", "Ground", "Rain", "flood"]
