"""The drawings of the report: each is made where the run holds what it needs."""

from brimline.report.plates.album import album
from brimline.report.plates.plate import Plate

__all__ = ["Plate", "album"]
