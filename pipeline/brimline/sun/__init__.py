"""Light, wind and cold on the surface."""

from brimline.sun.light import Sunlight, skylines, sunlight
from brimline.sun.path import SunPath, sun_path
from brimline.sun.shelter import shelter_deg

__all__ = ["SunPath", "Sunlight", "shelter_deg", "skylines", "sun_path", "sunlight"]
