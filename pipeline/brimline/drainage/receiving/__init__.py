"""The ground that drains to drawn shapes, and the way of water from one shape on."""

from brimline.drainage.receiving.receiving import (
    Received,
    distance_below_m,
    received,
    way_down,
    way_to,
)

__all__ = ["Received", "distance_below_m", "received", "way_down", "way_to"]
