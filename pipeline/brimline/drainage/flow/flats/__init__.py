"""Flats drained by a gradient away from higher and towards lower ground."""

from brimline.drainage.flow.flats.drain import drain_flats

__all__ = ["drain_flats"]
