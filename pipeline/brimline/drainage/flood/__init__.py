"""Water moving over ground in a storm, by the shallow-water equations without advection."""

from brimline.drainage.flood.ground import FloodGround, Inflow, Rain
from brimline.drainage.flood.solver import Flood, flood

__all__ = ["Flood", "FloodGround", "Inflow", "Rain", "flood"]
