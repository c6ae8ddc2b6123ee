"""Light and cold on the surface."""

from brimline.sun.light import Sunlight, skylines, sunlight
from brimline.sun.path import SunPath, sun_path

__all__ = ["SunPath", "Sunlight", "skylines", "sun_path", "sunlight"]
