"""Stretches of lines beside a guide on which water goes from the valley to the ridge."""

from brimline.lines.keyline.working.stretches import Useful, useful_stretches

__all__ = ["Useful", "useful_stretches"]
