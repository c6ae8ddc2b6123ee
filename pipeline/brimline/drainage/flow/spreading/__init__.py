"""Accumulation where a cell's water spreads over more than one receiver, for hillslopes."""

from brimline.drainage.flow.spreading.methods import dinf_accumulation, mfd_accumulation
from brimline.drainage.flow.spreading.wetness import wetness_index

__all__ = ["dinf_accumulation", "mfd_accumulation", "wetness_index"]
