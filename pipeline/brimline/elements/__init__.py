"""One element at a time: its shape, its storage, its sill, its earthworks."""

from brimline.elements.basin import FILLS, Basin, FillKind, FillLayer, rain_garden
from brimline.elements.bed import RaisedBed
from brimline.elements.dam import Dam
from brimline.elements.drain import Drain
from brimline.elements.element import Caution, Element, Kind, Shape
from brimline.elements.outlet import Outlet, discharge_m3_s, flow_m3_s
from brimline.elements.pipe import Orifice, Pipe
from brimline.elements.pond import Pond
from brimline.elements.profile import Mound
from brimline.elements.rating import Rating
from brimline.elements.section import Parabola, Section, Trapezoid, vee
from brimline.elements.sill import Sill, width_for_m
from brimline.elements.soak import SEALED, Soak
from brimline.elements.storage import StageTable, sampled, vertical
from brimline.elements.swale import Swale
from brimline.elements.tank import Pit, Tank
from brimline.elements.uneven_sill import built_sill

__all__ = [
    "FILLS",
    "SEALED",
    "Basin",
    "Caution",
    "Dam",
    "Drain",
    "Element",
    "FillKind",
    "FillLayer",
    "Kind",
    "Mound",
    "Orifice",
    "Outlet",
    "Parabola",
    "Pipe",
    "Pit",
    "Pond",
    "RaisedBed",
    "Rating",
    "Section",
    "Shape",
    "Sill",
    "Soak",
    "StageTable",
    "Swale",
    "Tank",
    "Trapezoid",
    "built_sill",
    "discharge_m3_s",
    "flow_m3_s",
    "rain_garden",
    "sampled",
    "vee",
    "vertical",
    "width_for_m",
]
