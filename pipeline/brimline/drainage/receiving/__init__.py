"""The ground that drains to drawn shapes, and the way of water from one shape on."""

from brimline.drainage.receiving.receiving import (
    Received,
    received,
    way_down,
    way_to,
    ways_below,
)

__all__ = ["Received", "received", "way_down", "way_to", "ways_below"]
