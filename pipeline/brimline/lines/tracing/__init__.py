"""Tracing one level in each labelled piece of ground, all pieces in one go."""

from brimline.lines.tracing.pieces import lengths_m, traced

__all__ = ["lengths_m", "traced"]
