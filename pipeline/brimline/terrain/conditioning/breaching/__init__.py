"""Cutting through what dams water in the survey, where that is cheap."""

from brimline.terrain.conditioning.breaching.limited import breach

__all__ = ["breach"]
