"""Making a surface that water can leave: fill, breach, burn, and kept sinks."""

from brimline.terrain.conditioning.filling import fill

__all__ = ["fill"]
